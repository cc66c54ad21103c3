//! A bench between two boards of one sitting: its ports stay open, each
//! instrument says again who it is, and everything is off. It runs no scenario.

use super::Bench;
use super::clock::BenchClock;
use super::fault::BenchError;
use super::open::Identified;
use crate::ident::Role;
use crate::link::Port;

impl Bench {
    /// Makes the bench ready for another board, with its clock at zero.
    ///
    /// # Errors
    /// [`BenchError::Locked`] where something was found that a person must look at
    /// first, [`BenchError::Exchanged`] when another instrument answers than before,
    /// or whatever else a [`BenchError`] says. Nothing was energised then.
    pub async fn ready_again(&mut self) -> Result<(), BenchError> {
        if let Some(why) = self.locked() {
            let why = why.to_owned();
            return Err(BenchError::Locked { why });
        }
        let before = std::mem::take(&mut self.identified);
        self.identify().await?;
        if let Some(exchanged) = exchanged(&before, &self.identified) {
            return Err(exchanged);
        }
        self.start_at_rest().await?;
        if self.model.is_none() {
            // Nothing is energised, so nothing remembers an instant of before.
            self.clock = BenchClock::real();
        }
        Ok(())
    }

    /// Lets every port go and waits until the system has them back: an exchange
    /// that is under way ends first, by its own deadline at the latest.
    pub async fn release(self) {
        let sessions = self.sessions.values();
        let ports: Vec<Port> = sessions.map(|session| session.port().clone()).collect();
        drop(self);
        for port in ports {
            port.close().await;
        }
    }
}

/// The first instrument that is not the one of before. A board's own console
/// comes with the board.
fn exchanged(before: &[Identified], now: &[Identified]) -> Option<BenchError> {
    let instruments = now.iter().filter(|found| found.role != Role::Console);
    instruments.into_iter().find_map(|found| {
        let known = before.iter().find(|known| known.role == found.role)?;
        (known.identity != found.identity).then(|| BenchError::Exchanged {
            role: found.role,
            before: known.identity.escape_debug().to_string(),
            now: found.identity.escape_debug().to_string(),
        })
    })
}
