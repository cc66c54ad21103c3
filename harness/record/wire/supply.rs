//! What the supply scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::measurement::Estimate;
use crate::observation::{SupplyStep, Take};
use crate::units::Amperes;

fields! { SupplyStep {
    current: Amperes,
    resistive: bool,
    drawn: Option<Estimate>,
    take: Take,
} }
