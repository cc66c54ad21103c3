//! What the loss scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::form::{fields, numbered};
use crate::observation::{SignalLost, Take};
use crate::plan::LossCause;

fields! { SignalLost {
    cause: LossCause,
    take: Take,
} }

numbered! { LossCause, "loss of the signal" {
    0 = SignalStops,
    1 = LineA,
    2 = LineB,
} }
