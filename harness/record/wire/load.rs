//! What the load scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::observation::{Drive, LoadStep, Take};
use crate::units::Amperes;

fields! { LoadStep {
    drive: Drive,
    current: Amperes,
    take: Take,
} }
