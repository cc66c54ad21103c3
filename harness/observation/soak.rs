//! What the soak scenario saw: temperatures before and under load, and looks
//! at the output beside them.

use super::{Drive, Take};
use crate::measurement::Estimate;
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// One reading of the thermometer.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Warmth {
    /// Since the load was switched on; before it negative.
    pub at: Seconds,
    /// What it said, in degrees Celsius, with the uncertainty that its
    /// accuracy allows; `None` where it gave no number.
    pub temperature: Option<Estimate>,
}

/// One look under load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SoakLook {
    /// How warm the case was.
    pub warmth: Warmth,
    /// The waveforms, taken right after.
    pub take: Take,
}

/// One soak.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Soaked {
    /// How the output was driven.
    pub drive: Drive,
    /// The current asked of the load.
    pub current: Amperes,
    /// Readings without power before it.
    pub rest: Vec<Warmth>,
    /// Looks under load.
    pub looks: Vec<SoakLook>,
}
