//! What the load scenario saw: held and alternating steps.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::Amperes;

/// One held step of `load`.
#[derive(Clone, Debug, PartialEq)]
pub struct LoadStep {
    /// How the output was driven.
    pub drive: Polarity,
    /// The current asked of the load.
    pub current: Amperes,
    /// The waveforms at the end of the hold.
    pub take: Take,
}

/// Everything a load scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The steps, in the order in which they were taken.
    pub steps: Vec<LoadStep>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        self.steps.iter().map(|step| &step.take).collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let steps = self.steps.iter();
        steps
            .map(|step| Asked {
                take: &step.take,
                rail: Rail::Rated,
                load: Load::Current(step.current),
                inputs: Inputs::Driven(step.drive),
                output: Output::MayTrip,
            })
            .collect()
    }
}
