//! What the idle scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{IdleStep, Seen};
use super::settings::OutputState;
use crate::measurement::Estimate;
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::scenario::wire::form::{fields, numbered};
use crate::units::Volts;

fields! { Seen {
    steps: Vec<IdleStep>,
} }

fields! { IdleStep {
    supply: Volts,
    state: OutputState,
    drive: Polarity,
    input_current: Option<Estimate>,
    take: Take,
} }

numbered! { OutputState, "output state" {
    0 = Off,
    1 = Braked,
    2 = On,
} }
