//! What the soak scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::measurement::Estimate;
use crate::observation::{Drive, SoakLook, Soaked, Take, Warmth};
use crate::units::{Amperes, Seconds};

fields! { Soaked {
    drive: Drive,
    current: Amperes,
    rest: Vec<Warmth>,
    looks: Vec<SoakLook>,
} }

fields! { SoakLook {
    warmth: Warmth,
    take: Take,
} }

fields! { Warmth {
    at: Seconds,
    temperature: Option<Estimate>,
} }
