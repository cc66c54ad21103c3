//! What the idle and the loss scenario saw: the unloaded output in each state,
//! and around the loss of its signal.

use super::{Drive, Take};
use crate::measurement::Estimate;
use crate::plan::{LossCause, OutputState};
use crate::units::Volts;
use serde::{Deserialize, Serialize};

/// One state of the unloaded board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct IdleStep {
    /// The supply's setting.
    pub supply: Volts,
    /// What was asked of the output.
    pub state: OutputState,
    /// How its inputs were driven.
    pub drive: Drive,
    /// The supply's own reading of its current, in amperes; `None` where it
    /// gave no number.
    pub input_current: Option<Estimate>,
    /// The waveforms.
    pub take: Take,
}

/// One loss of the signal.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SignalLost {
    /// How.
    pub cause: LossCause,
    /// The waveforms, from before it on; the input lines show when it was.
    pub take: Take,
}
