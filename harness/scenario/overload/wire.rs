//! What the overload scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{OverloadRamp, OverloadStep, Seen};
use crate::scenario::take::Take;
use crate::scenario::wire::form::fields;
use crate::units::{Amperes, Seconds};

fields! { Seen {
    ramp: Option<OverloadRamp>,
    steps: Vec<OverloadStep>,
    hold: Option<OverloadRamp>,
} }

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
