//! The embedded model bench behind wires: one world that answers lines, served
//! on pseudo-terminals or on wires in memory. It knows no instrument and no
//! circuit; bench time moves only by exchanges and by [`ModelBench::advance`].

mod embedded;
mod lines;
mod memory;
mod pty;

#[cfg(test)]
mod accuracy_tests;
#[cfg(test)]
mod tests;

pub use embedded::world;

use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::units::{Quantity, Seconds};
use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::io::DuplexStream;

/// A world of instruments that answers lines in bench time.
pub trait Answering: Send {
    /// The present bench time.
    fn now(&self) -> BenchInstant;

    /// Lets bench time pass.
    fn advance(&mut self, span: BenchSpan);

    /// Hands `line`, without its ending, to the instrument in `role`. Gives its
    /// answer with its ending, or nothing; bench time moves by the exchange's
    /// computed cost.
    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8>;
}

/// What carries the lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Transport {
    /// Pseudo-terminals, one a role, served by a thread.
    Pty,
    /// Wires in memory, served by tasks.
    Memory,
}

/// What moves bench time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// Exchanges and [`ModelBench::advance`] alone: a run in milliseconds.
    Bench,
    /// The wall clock as well, for outside clients that wait by it.
    Wall,
}

/// A world, and what keeps its pace. Shared by everything that serves it.
#[derive(Clone)]
pub(super) struct Shared {
    world: Arc<Mutex<Box<dyn Answering>>>,
    started: Instant,
    pace: Pace,
}

impl Shared {
    /// One exchange with the instrument in `role`.
    ///
    /// At the wall's pace the world first catches up with the wall, and then
    /// the answer waits until the wall has caught up with the world: what an
    /// exchange costs on its line passes for everybody.
    fn exchange(&self, role: Role, line: &[u8]) -> Vec<u8> {
        let mut world = self.lock();
        if self.pace == Pace::Wall {
            let behind = self.wall() - world.now();
            if behind > BenchSpan::ZERO {
                world.advance(behind);
            }
        }
        let answer = world.exchange(role, line);
        let ahead = world.now() - self.wall();
        drop(world);
        if self.pace == Pace::Wall && ahead > BenchSpan::ZERO {
            std::thread::sleep(Duration::from_secs_f64(ahead.seconds().si()));
        }
        answer
    }

    /// The wall's time since the start, as bench time.
    fn wall(&self) -> BenchInstant {
        let elapsed = Seconds::new(self.started.elapsed().as_secs_f64());
        BenchInstant::ZERO + BenchSpan::from_seconds(elapsed)
    }

    /// A world that panicked stays usable for making safe.
    fn lock(&self) -> MutexGuard<'_, Box<dyn Answering>> {
        self.world.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The bench time of a model bench, apart from its wires.
#[derive(Clone)]
pub struct ModelTime(Shared);

impl ModelTime {
    /// The present bench time.
    pub fn now(&self) -> BenchInstant {
        self.0.lock().now()
    }

    /// Lets bench time pass. No exchange is open meanwhile.
    pub fn advance(&self, span: BenchSpan) {
        self.0.lock().advance(span);
    }
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
        let shared = Shared {
            world: Arc::new(Mutex::new(world)),
            started: Instant::now(),
            pace,
        };
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
        self.roles
            .contains(&role)
            .then(|| memory::serve(self.shared.clone(), role))
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
