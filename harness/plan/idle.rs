//! The settings of an idle scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use super::Ratings;
use super::parse::{not_empty, period, time};
use super::settings::Polarity;
use crate::document::{Demand, Table};
use crate::units::{Amperes, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// What is asked of the output by the board's enable and brake lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OutputState {
    /// Disabled.
    Off,
    /// Enabled and braked.
    Braked,
    /// Enabled.
    On,
}

impl OutputState {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("off", Self::Off),
        ("braked", Self::Braked),
        ("on", Self::On),
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Braked => "braked",
            Self::On => "on",
        }
    }
}

/// Settings of an idle scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Idle {
    /// The supply voltages, rising, the last one the plan's.
    pub supply_steps: Vec<Volts>,
    /// The supply's current limit.
    pub current_limit: Amperes,
    /// Wait after each change before anything is read.
    pub settle: Seconds,
    /// How long the output is captured in each state.
    pub length: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
    /// What is asked of the output.
    pub states: Vec<OutputState>,
    /// How it is driven while it is on.
    pub polarities: Vec<Polarity>,
}

impl Idle {
    /// Whether the plan asks for that state.
    pub fn has(&self, state: OutputState) -> bool {
        self.states.contains(&state)
    }
}

/// Reads the settings.
pub(super) fn read(table: &Table<'_>, ratings: &Ratings) -> Idle {
    let steps = table.quantities("supply_steps", Demand::Positive);
    let states = table.words("states", OutputState::WORDS);
    let polarities = table.words("polarities", Polarity::WORDS);
    Idle {
        supply_steps: not_empty(table, "supply_steps", steps).unwrap_or_else(|| steps_of(ratings)),
        current_limit: table.quantity_or("current_limit", Demand::Positive, Amperes::new(0.5)),
        settle: time(table, "settle", 0.2),
        length: time(table, "length", 0.02),
        sampling_period: period(table, "sampling_period", 2e-6),
        states: not_empty(table, "states", states).unwrap_or_else(|| {
            let all = OutputState::WORDS.iter();
            all.map(|&(_, state)| state).collect()
        }),
        polarities: not_empty(table, "polarities", polarities).unwrap_or_else(|| {
            vec![
                Polarity::Alternating,
                Polarity::Positive,
                Polarity::Negative,
            ]
        }),
    }
}

fn steps_of(ratings: &Ratings) -> Vec<Volts> {
    let mut steps = vec![ratings.lowest_supply * 0.5, ratings.lowest_supply];
    steps.retain(|step| *step < ratings.supply_voltage);
    steps.push(ratings.supply_voltage);
    steps
}
