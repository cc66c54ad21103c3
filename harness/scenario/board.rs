//! The board under test as a plan states it: what it is rated for and how it is
//! connected. No procedure and no limit.

pub use crate::model_board::OnSignalLoss;

use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// What the board is rated for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ratings {
    /// The current it carries for ever.
    pub rated_current: Amperes,
    /// The nominal trip current.
    pub trip_current: Amperes,
    /// The supply voltage at which it is tested.
    pub supply_voltage: Volts,
    /// The least supply voltage it works at.
    pub lowest_supply: Volts,
    /// The largest supply voltage it bears.
    pub highest_supply: Volts,
    /// The capacitance on its supply rail, which feeds a short at first.
    pub bulk_capacitance: Farads,
    /// The least resistance from those capacitors to the output terminals;
    /// zero, the cautious value, when the plan is silent.
    pub source_resistance: Ohms,
}

/// How the board is connected and set.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Configuration {
    /// One or two.
    pub signal_lines: u8,
    /// Whether it reverses its output on a short.
    pub reversing: bool,
    /// What it does when its signal stops.
    pub on_signal_loss: OnSignalLoss,
    /// The longest time its output may be held in one polarity; `None` when
    /// without bound.
    pub longest_hold: Option<Seconds>,
}
