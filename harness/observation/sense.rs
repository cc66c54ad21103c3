//! What the sense scenario saw: at each step the current and the board's own
//! reading of it.

use super::{Drive, Take};
use crate::units::Amperes;
use serde::{Deserialize, Serialize};

/// One held step of `sense`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SenseStep {
    /// How the output was driven.
    pub drive: Drive,
    /// The current asked of the load.
    pub current: Amperes,
    /// What the board said, in counts, in the order in which it was asked;
    /// answers that were no number are left out.
    pub counts: Vec<f64>,
    /// The waveforms, taken in the middle of the readings.
    pub take: Take,
}
