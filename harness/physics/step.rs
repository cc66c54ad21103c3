//! One sub-step of the circuit and how large it may be. What happens at its end
//! is decided in `stepping`.

use super::propagator::{LEVELS, State};

/// The first sub-step after a change is 2^16 ps, about 66 ns.
const FIRST_LEVEL: u32 = 16;

/// Sub-steps double up to 2^22 ps, about 4 us, and then stay within an eighth
/// of the time since the change: no pair of crossings of an exponential that
/// still moves fits between.
const PLAIN_LEVEL: u32 = 22;

/// A sub-step that has been computed: where it ends, and with what.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    pub(super) end: i64,
    pub(super) state: State,
    pub(super) arrival: Arrival,
}

/// What has led to an instant at which the circuit settles.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Arrival {
    /// The grid or something that is due; the step there has just asked for the
    /// answers.
    Deadline,
    /// An answer changes.
    Event,
    /// Somebody has changed something.
    Action,
}

/// Size of the next sub-step, as a power of two in picoseconds, `elapsed` after
/// the last change of the circuit.
pub(super) fn step_level(elapsed: i64) -> usize {
    let grown = elapsed.min(1 << PLAIN_LEVEL).max(elapsed >> 3);
    let level = grown.max(1 << FIRST_LEVEL).ilog2() as usize;
    level.min(LEVELS - 1)
}
