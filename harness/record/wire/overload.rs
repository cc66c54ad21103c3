//! What the overload scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::fields;
use crate::observation::{OverloadRamp, OverloadStep, Take};
use crate::units::{Amperes, Seconds};

fields! { OverloadRamp {
    from: Amperes,
    to: Amperes,
    duration: Seconds,
    take: Take,
} }

fields! { OverloadStep {
    multiple: f64,
    current: Amperes,
    take: Take,
} }
