//! What the sense scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::observation::{Drive, SenseStep, Take};
use crate::units::Amperes;

fields! { SenseStep {
    drive: Drive,
    current: Amperes,
    counts: Vec<f64>,
    take: Take,
} }
