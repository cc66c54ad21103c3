//! A world that answers lines, shared by everything that serves it, and what
//! keeps its pace. It knows no wire.

use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::units::{Quantity, Seconds};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

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

    /// Whether the port to the instrument in `role` is there. Where it is not,
    /// a wire in memory hangs up at its next line, and none is to be had.
    fn is_reachable(&self, role: Role) -> bool {
        let _ = role;
        true
    }
}

/// What moves bench time.
///
/// [`ModelBench::advance`]: super::ModelBench::advance
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// Exchanges and `ModelBench::advance` alone: a run in milliseconds.
    Bench,
    /// The wall clock as well, for outside clients that wait by it.
    Wall,
}

/// A world, and what keeps its pace. Shared by everything that serves it.
#[derive(Clone)]
pub(super) struct Shared {
    present: Arc<Mutex<Present>>,
    pub(super) pace: Pace,
}

/// A world, and when it began by the wall.
struct Present {
    world: Box<dyn Answering>,
    started: Instant,
}

impl Present {
    fn new(world: Box<dyn Answering>) -> Self {
        Self {
            world,
            started: Instant::now(),
        }
    }

    /// The wall's time since the start, as bench time.
    fn wall(&self) -> BenchInstant {
        let elapsed = Seconds::new(self.started.elapsed().as_secs_f64());
        BenchInstant::ZERO + BenchSpan::from_seconds(elapsed)
    }
}

impl Shared {
    /// `world` from now on.
    pub(super) fn new(world: Box<dyn Answering>, pace: Pace) -> Self {
        Self {
            present: Arc::new(Mutex::new(Present::new(world))),
            pace,
        }
    }

    /// Another world in its place, which begins now.
    pub(super) fn replace(&self, world: Box<dyn Answering>) {
        *self.lock() = Present::new(world);
    }

    /// One exchange with the instrument in `role`.
    ///
    /// At the wall's pace the world first catches up with the wall, and then
    /// the answer waits until the wall has caught up with the world: what an
    /// exchange costs on its line passes for everybody.
    pub(super) fn exchange(&self, role: Role, line: &[u8]) -> Vec<u8> {
        let mut present = self.lock();
        if self.pace == Pace::Wall {
            let behind = present.wall() - present.world.now();
            if behind > BenchSpan::ZERO {
                present.world.advance(behind);
            }
        }
        let answer = present.world.exchange(role, line);
        let ahead = present.world.now() - present.wall();
        drop(present);
        if self.pace == Pace::Wall && ahead > BenchSpan::ZERO {
            std::thread::sleep(Duration::from_secs_f64(ahead.seconds().si()));
        }
        answer
    }

    /// Whether the port to the instrument in `role` is there.
    pub(super) fn is_reachable(&self, role: Role) -> bool {
        self.lock().world.is_reachable(role)
    }

    /// A world that panicked stays usable for making safe.
    fn lock(&self) -> MutexGuard<'_, Present> {
        self.present.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The bench time of a model bench, apart from its wires.
#[derive(Clone)]
pub struct ModelTime(pub(super) Shared);

impl ModelTime {
    /// The present bench time.
    pub fn now(&self) -> BenchInstant {
        self.0.lock().world.now()
    }

    /// Lets bench time pass. No exchange is open meanwhile.
    pub fn advance(&self, span: BenchSpan) {
        self.0.lock().world.advance(span);
    }
}
