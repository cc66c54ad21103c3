//! What the inrush scenario saw: starts into the bank, finely and coarsely.

use super::Take;
use crate::units::{Farads, Volts};
use serde::{Deserialize, Serialize};

/// The bank as the bench file states it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bank {
    /// Its capacitance.
    pub capacitance: Farads,
    /// Drop of the diodes before it.
    pub drop: Volts,
}

/// Two starts into the empty bank.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InrushStart {
    /// Counted from one.
    pub repeat: u32,
    /// The first of them, finely around its beginning.
    pub fine: Take,
    /// The other, coarsely over all retries.
    pub coarse: Take,
}
