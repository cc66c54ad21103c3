//! What the short scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Seen, ShortPulse};
use crate::scenario::take::Take;
use crate::scenario::terms::Place;
use crate::scenario::wire::form::{fields, numbered};

fields! { Seen {
    pulses: Vec<ShortPulse>,
} }

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
