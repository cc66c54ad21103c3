//! What the sense scenario saw: at each step the current and the board's own
//! reading of it.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::Amperes;

/// One held step of `sense`.
#[derive(Clone, Debug, PartialEq)]
pub struct SenseStep {
    /// How the output was driven.
    pub drive: Polarity,
    /// The current asked of the load.
    pub current: Amperes,
    /// What the board said, in counts, in the order in which it was asked;
    /// answers that were no number are left out.
    pub counts: Vec<f64>,
    /// The waveforms, taken in the middle of the readings.
    pub take: Take,
}

/// Everything a sense scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The board's reading at the end of its converter.
    pub last_count: u32,
    /// The steps, in the order in which they were taken.
    pub steps: Vec<SenseStep>,
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
                rail: Rail::Unchecked("no channel is spent on it beside the board's readings"),
                load: Load::Current(step.current),
                inputs: Inputs::Driven(step.drive),
                output: Output::MayTrip,
            })
            .collect()
    }
}
