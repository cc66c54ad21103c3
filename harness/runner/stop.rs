//! How a run is told to stop, by a person or by what watches over this program. It
//! stops nothing: the dispatcher listens.

use tokio::sync::watch;

/// Tells runs to stop: the person pressed Ctrl-C, the machine goes down, or
/// nobody watches over this program any more.
#[derive(Clone, Debug)]
pub struct Stop {
    asked: watch::Receiver<bool>,
    lapse: Option<watch::Receiver<Option<String>>>,
}

impl Stop {
    /// A stop that the sender's `true` raises.
    pub fn new(receiver: watch::Receiver<bool>) -> Self {
        Self {
            asked: receiver,
            lapse: None,
        }
    }

    /// The same, raised as well by what `lapse` comes to say of the watching
    /// over this program.
    #[must_use]
    pub fn or_lapse(self, lapse: watch::Receiver<Option<String>>) -> Self {
        Self {
            lapse: Some(lapse),
            ..self
        }
    }

    /// Whether it is raised now.
    pub fn is_raised(&self) -> bool {
        *self.asked.borrow()
    }

    /// Waits until the person raises it.
    pub async fn raised(&mut self) {
        // A sender that is gone can no longer raise it.
        if self.asked.wait_for(|raised| *raised).await.is_err() {
            std::future::pending::<()>().await;
        }
    }

    /// What went wrong with the watching, if anything has.
    pub(super) fn lapsed(&self) -> Option<String> {
        self.lapse.as_ref()?.borrow().clone()
    }

    /// Waits until something is wrong with the watching.
    pub(super) async fn lapses(self) {
        let mut lapse = self.lapse;
        let come = match &mut lapse {
            Some(lapse) => lapse.wait_for(Option::is_some).await.is_ok(),
            None => false,
        };
        if !come {
            std::future::pending::<()>().await;
        }
    }
}
