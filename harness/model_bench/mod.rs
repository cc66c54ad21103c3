//! The embedded model bench behind wires: one world that answers lines, served
//! on pseudo-terminals or on wires in memory. It knows no instrument and no
//! circuit; bench time moves only by exchanges and by [`ModelBench::advance`].

mod embedded;
mod lines;
mod memory;
mod pace;
mod pty;

#[cfg(test)]
mod accuracy_tests;
#[cfg(test)]
mod tests;

pub use crate::model_instruments::MODEL_MARK;
pub use embedded::world;
pub use pace::{Answering, ModelTime, Pace};

use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use pace::Shared;
use std::io;
use tokio::io::DuplexStream;

/// What carries the lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Transport {
    /// Pseudo-terminals, one a role, served by a thread.
    Pty,
    /// Wires in memory, served by tasks.
    Memory,
}

/// A served model bench. Dropping it closes every wire.
pub struct ModelBench {
    shared: Shared,
    roles: Vec<Role>,
    ptys: Option<pty::Server>,
}

impl ModelBench {
    /// Serves `world` with an instrument in each of `roles`.
    ///
    /// # Errors
    /// When the system gives no pseudo-terminals.
    pub fn start(
        world: Box<dyn Answering>,
        roles: &[Role],
        transport: Transport,
        pace: Pace,
    ) -> io::Result<Self> {
        let shared = Shared::new(world, pace);
        let ptys = match transport {
            Transport::Memory => None,
            Transport::Pty => Some(pty::Server::start(shared.clone(), roles)?),
        };
        Ok(Self {
            shared,
            roles: roles.to_vec(),
            ptys,
        })
    }

    /// Takes the board off, switches everything off and on again, and puts
    /// another one on: `world` answers from now on, behind the same wires.
    pub fn put_on(&self, world: Box<dyn Answering>) {
        self.shared.replace(world);
    }

    /// Role and device path of every pseudo-terminal, in port order; empty in
    /// memory.
    pub fn paths(&self) -> &[(Role, String)] {
        self.ptys.as_ref().map_or(&[], pty::Server::paths)
    }

    /// The device path of `role`.
    pub fn path(&self, role: Role) -> Option<&str> {
        let found = self.paths().iter().find(|(r, _)| *r == role);
        found.map(|(_, path)| path.as_str())
    }

    /// A fresh wire in memory to the instrument in `role`, with or without
    /// pseudo-terminals; `None` where there is no such instrument.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn wire(&self, role: Role) -> Option<DuplexStream> {
        let there = self.roles.contains(&role) && self.shared.is_reachable(role);
        there.then(|| memory::serve(self.shared.clone(), role))
    }

    /// The present bench time.
    pub fn now(&self) -> BenchInstant {
        self.time().now()
    }

    /// Lets bench time pass.
    pub fn advance(&self, span: BenchSpan) {
        self.time().advance(span);
    }

    /// A handle to its time.
    pub fn time(&self) -> ModelTime {
        ModelTime(self.shared.clone())
    }
}
