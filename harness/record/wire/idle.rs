//! What the idle scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::{fields, numbered};
use crate::measurement::Estimate;
use crate::observation::{Drive, IdleStep, Take};
use crate::plan::OutputState;
use crate::units::Volts;

fields! { IdleStep {
    supply: Volts,
    state: OutputState,
    drive: Drive,
    input_current: Option<Estimate>,
    take: Take,
} }

numbered! { OutputState, "output state" {
    0 = Off,
    1 = Braked,
    2 = On,
} }
