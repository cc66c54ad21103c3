//! What the reversal scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::{fields, numbered};
use crate::observation::{Direction, GapClosing, Take};
use crate::units::Volts;

fields! { GapClosing {
    direction: Direction,
    upstream_voltage: Volts,
    take: Take,
} }

numbered! { Direction, "direction" {
    0 = Forward,
    1 = Back,
} }
