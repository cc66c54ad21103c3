//! What the loss scenario saw: the output around the loss of its signal.

use super::settings::LossCause;
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
}
