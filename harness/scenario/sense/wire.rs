//! What the sense scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Seen, SenseStep};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::scenario::wire::form::fields;
use crate::units::Amperes;

fields! { Seen {
    last_count: u32,
    steps: Vec<SenseStep>,
} }

fields! { SenseStep {
    drive: Polarity,
    current: Amperes,
    counts: Vec<f64>,
    take: Take,
} }
