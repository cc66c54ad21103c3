//! What the load scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{LoadStep, Seen};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::scenario::wire::form::fields;
use crate::units::Amperes;

fields! { Seen {
    steps: Vec<LoadStep>,
} }

fields! { LoadStep {
    drive: Polarity,
    current: Amperes,
    take: Take,
} }
