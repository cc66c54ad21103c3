//! What the idle scenario saw: the unloaded output in each state.

use super::settings::OutputState;
use crate::measurement::Estimate;
use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::Volts;

/// One state of the unloaded board.
#[derive(Clone, Debug, PartialEq)]
pub struct IdleStep {
    /// The supply's setting.
    pub supply: Volts,
    /// What was asked of the output.
    pub state: OutputState,
    /// How its inputs were driven.
    pub drive: Polarity,
    /// The supply's own reading of its current, in amperes; `None` where it
    /// gave no number.
    pub input_current: Option<Estimate>,
    /// The waveforms.
    pub take: Take,
}

/// Everything an idle scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The states, in the order in which they were taken.
    pub steps: Vec<IdleStep>,
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
                rail: Rail::At(step.supply),
                load: Load::Unchecked("nothing is asked of the load, and no channel looks"),
                inputs: Inputs::Driven(step.drive),
                output: match step.state {
                    OutputState::On => Output::Follows,
                    OutputState::Off | OutputState::Braked => {
                        Output::MayStand("its lines keep it from driving")
                    }
                },
            })
            .collect()
    }
}
