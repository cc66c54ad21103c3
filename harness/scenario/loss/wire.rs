//! What the loss scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Seen, SignalLost};
use super::settings::LossCause;
use crate::scenario::take::Take;
use crate::scenario::wire::form::{fields, numbered};

fields! { Seen {
    losses: Vec<SignalLost>,
} }

fields! { SignalLost {
    cause: LossCause,
    take: Take,
} }

numbered! { LossCause, "loss of the signal" {
    0 = SignalStops,
    1 = LineA,
    2 = LineB,
} }
