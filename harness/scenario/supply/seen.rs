//! What the supply scenario saw: the board's supply rail while the load drew
//! on it directly.

use crate::measurement::Estimate;
use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::units::{Amperes, Quantity};

/// One step of the load on the supply.
#[derive(Clone, Debug, PartialEq)]
pub struct SupplyStep {
    /// The current asked of the load; zero before it is switched on.
    pub current: Amperes,
    /// It was asked for as a resistance: a load that goes on asking for its
    /// current keeps a resting supply down for ever.
    pub resistive: bool,
    /// The load's own reading, in amperes, before the waveforms; `None` where
    /// it gave no number or was off.
    pub drawn: Option<Estimate>,
    /// The waveforms.
    pub take: Take,
}

/// Everything a supply scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The steps, the first without a load.
    pub steps: Vec<SupplyStep>,
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
                rail: if step.current.si() == 0.0 {
                    Rail::Rated
                } else {
                    Rail::Unchecked("how far the rail falls under the load is the finding")
                },
                load: if step.resistive {
                    Load::Unchecked("what a resistance draws from a fallen rail is the finding")
                } else {
                    Load::Metered(step.current, step.drawn)
                },
                inputs: Inputs::Unchecked("the board is not enabled, whatever its signal says"),
                output: Output::MayStand("the board is not enabled, whatever its signal says"),
            })
            .collect()
    }
}
