//! What the overload scenario saw: a ramp, steps to multiples, and a hold.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
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

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let pulse = |take, current| Asked {
            take,
            rail: Rail::RatedBefore,
            load: Load::Pulse(current),
            inputs: Inputs::Driven(Polarity::Alternating),
            output: Output::MayTrip,
        };
        let ramp = self.ramp.iter().map(|ramp| Asked {
            take: &ramp.take,
            rail: Rail::RatedBefore,
            // Without a trip the look at the end stands in for the ramp.
            load: if ramp.take.capture.first < Seconds::ZERO {
                Load::Unchecked("the current at which the ramp ends is the finding")
            } else {
                Load::Current(ramp.to)
            },
            inputs: Inputs::Driven(Polarity::Alternating),
            output: Output::MayTrip,
        });
        let steps = self.steps.iter();
        let hold = self.hold.iter();
        ramp.chain(steps.map(|step| pulse(&step.take, step.current)))
            .chain(hold.map(|hold| pulse(&hold.take, hold.to)))
            .collect()
    }
}
