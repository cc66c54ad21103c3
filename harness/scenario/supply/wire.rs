//! What the supply scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Seen, SupplyStep};
use crate::measurement::Estimate;
use crate::scenario::take::Take;
use crate::scenario::wire::form::fields;
use crate::units::Amperes;

fields! { Seen {
    steps: Vec<SupplyStep>,
} }

fields! { SupplyStep {
    current: Amperes,
    resistive: bool,
    drawn: Option<Estimate>,
    take: Take,
} }
