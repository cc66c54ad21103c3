//! What the loss scenario saw: the output around the loss of its signal.

use super::settings::LossCause;
use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;

/// One loss of the signal.
#[derive(Clone, Debug, PartialEq)]
pub struct SignalLost {
    /// How.
    pub cause: LossCause,
    /// The waveforms, from before it on; the input lines show when it was.
    pub take: Take,
}

/// Everything a loss scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The losses, in the order in which they were.
    pub losses: Vec<SignalLost>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        self.losses.iter().map(|lost| &lost.take).collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let losses = self.losses.iter();
        losses
            .map(|lost| Asked {
                take: &lost.take,
                rail: Rail::Rated,
                load: Load::Unchecked("nothing is asked of the load, and no channel looks"),
                inputs: Inputs::Unchecked("that the signal goes is what the board is put to"),
                output: Output::Follows,
            })
            .collect()
    }
}
