//! What the short scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::{fields, numbered};
use crate::observation::{Place, ShortPulse, Take};

fields! { ShortPulse {
    place: Place,
    repeat: u32,
    before: Take,
    fast: Take,
    slow: Option<Take>,
    after: Take,
} }

numbered! { Place, "place of a short" {
    0 = Near,
    1 = Far,
} }
