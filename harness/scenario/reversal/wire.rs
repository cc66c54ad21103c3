//! What the reversal scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{GapClosing, Seen};
use super::settings::Direction;
use crate::scenario::take::Take;
use crate::scenario::wire::form::{fields, numbered};
use crate::units::{Seconds, Volts};

fields! { Seen {
    closings: Vec<GapClosing>,
    upstream_trip: Seconds,
    upstream_trip_u: Seconds,
    short: Option<Take>,
} }

fields! { GapClosing {
    direction: Direction,
    upstream_voltage: Volts,
    take: Take,
} }

numbered! { Direction, "direction" {
    0 = Forward,
    1 = Back,
} }
