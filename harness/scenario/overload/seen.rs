//! What the overload scenario saw: a ramp, steps to multiples, and a hold.

use crate::scenario::take::Take;
use crate::units::{Amperes, Seconds};

/// One step of `overload` to a multiple of the nominal trip current.
#[derive(Clone, Debug, PartialEq)]
pub struct OverloadStep {
    /// The multiple.
    pub multiple: f64,
    /// The current asked of the load.
    pub current: Amperes,
    /// The waveforms.
    pub take: Take,
}

/// A ramp of the load's current.
#[derive(Clone, Debug, PartialEq)]
pub struct OverloadRamp {
    /// Current at the start.
    pub from: Amperes,
    /// Current at the end.
    pub to: Amperes,
    /// Time from start to end.
    pub duration: Seconds,
    /// The waveforms.
    pub take: Take,
}

/// Everything an overload scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The slow ramp.
    pub ramp: Option<OverloadRamp>,
    /// The steps to multiples.
    pub steps: Vec<OverloadStep>,
    /// The long hold below the trip current, as a ramp of no slope.
    pub hold: Option<OverloadRamp>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        let first = self.ramp.iter().map(|ramp| &ramp.take);
        let middle = self.steps.iter().map(|step| &step.take);
        let last = self.hold.iter().map(|hold| &hold.take);
        first.chain(middle).chain(last).collect()
    }
}
