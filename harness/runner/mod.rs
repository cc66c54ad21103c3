//! One plan on one board: the order, the executor that touches the bench, and
//! the dispatcher, the only place where executor, signals, store and screens
//! meet. It prints nothing.

mod ambient;
mod dispatcher;
mod executor;
mod fitness;
mod journal;
mod order;
mod rehearsal;
mod session;
mod stop;
mod turns;

pub use dispatcher::{Finished, RunFault, run, run_in_turn};
pub use order::{Captures, Order, Particulars};
pub use rehearsal::{Entrant, Rehearsal, RehearsalFault, boards_at_a_time};
pub use stop::Stop;
pub use turns::{Turn, Turns, Withdrawn};

use crate::digest::Hashed;
use crate::event::Entry;

/// Somebody who wants to see each entry once it is recorded.
pub trait Sink {
    /// Takes the next entry. It must not block for long and cannot fail.
    fn entry(&mut self, entry: &Entry);

    /// Takes what a scenario saw, before the entry that names it. It must not block
    /// for long.
    fn observed(&mut self, _scenario: &str, _bytes: &Hashed) {}

    /// A second has passed on the wall without an entry, or with some.
    fn second(&mut self) {}
}

impl Sink for () {
    fn entry(&mut self, _: &Entry) {}
}
