//! What the inrush scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Bank, InrushStart, Seen};
use crate::scenario::take::Take;
use crate::scenario::wire::form::fields;
use crate::units::{Farads, Volts};

fields! { Seen {
    bank: Bank,
    starts: Vec<InrushStart>,
} }

fields! { Bank {
    capacitance: Farads,
    drop: Volts,
} }

fields! { InrushStart {
    repeat: u32,
    fine: Take,
    coarse: Take,
} }
