//! How a scenario says what it does. Saying that the board is about to be
//! energised returns only once that is on disk; nothing here stores or shows.

use crate::clock::BenchInstant;
use crate::digest::Hashed;
use crate::event::Event;
use tokio::sync::{mpsc, oneshot};

/// Words that may wait to be heard. One is sent at a time, so this only has
/// to cover the few events between two that are waited for.
const WAITING: usize = 16;

/// Something said, for the dispatcher.
#[derive(Debug)]
pub(super) struct Said {
    /// Bench time at which it was said.
    pub(super) bench: BenchInstant,
    /// What happened.
    pub(super) event: Event,
    /// The bytes of an observation, with [`Event::Observed`].
    pub(super) observation: Option<Hashed>,
    /// Told once the event is recorded (and durable, where it must be).
    pub(super) recorded: oneshot::Sender<()>,
}

/// The dispatcher no longer listens: the run is being ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the run is being ended")]
pub(super) struct Ended;

/// The saying half.
#[derive(Clone, Debug)]
pub(super) struct Journal {
    sender: mpsc::Sender<Said>,
}

/// A journal and the half that hears it.
pub(super) fn journal() -> (Journal, mpsc::Receiver<Said>) {
    let (sender, receiver) = mpsc::channel(WAITING);
    (Journal { sender }, receiver)
}

impl Journal {
    /// Says `event` and returns once it is recorded.
    ///
    /// # Errors
    /// [`Ended`] when nobody listens any more; the caller must stop.
    pub(super) async fn say(&self, bench: BenchInstant, event: Event) -> Result<(), Ended> {
        self.send(bench, event, None).await
    }

    /// Hands over an observation's bytes under the event that names them.
    ///
    /// # Errors
    /// [`Ended`], as for [`Journal::say`].
    pub(super) async fn observed(
        &self,
        bench: BenchInstant,
        scenario: &str,
        bytes: Vec<u8>,
    ) -> Result<(), Ended> {
        let bytes = Hashed::of(bytes);
        let event = Event::Observed {
            scenario: scenario.to_owned(),
            digest: bytes.digest(),
        };
        self.send(bench, event, Some(bytes)).await
    }

    async fn send(
        &self,
        bench: BenchInstant,
        event: Event,
        observation: Option<Hashed>,
    ) -> Result<(), Ended> {
        let (recorded, heard) = oneshot::channel();
        let said = Said {
            bench,
            event,
            observation,
            recorded,
        };
        self.sender.send(said).await.map_err(|_| Ended)?;
        heard.await.map_err(|_| Ended)
    }
}
