//! What the inrush scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::observation::{Bank, InrushStart, Take};
use crate::units::{Farads, Volts};

fields! { Bank {
    capacitance: Farads,
    drop: Volts,
} }

fields! { InrushStart {
    repeat: u32,
    fine: Take,
    coarse: Take,
} }
