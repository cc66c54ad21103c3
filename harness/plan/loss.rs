//! The settings of a loss scenario and how they are read. How its numbers must
//! fit together is checked in `check`.

use super::parse::{not_empty, period, time};
use crate::document::Table;
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// How the signal is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LossCause {
    /// The source stops; its lines stay as they are.
    SignalStops,
    /// The first input line breaks and rests low.
    LineA,
    /// The second one does.
    LineB,
}

impl LossCause {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("signal stops", Self::SignalStops),
        ("line a breaks", Self::LineA),
        ("line b breaks", Self::LineB),
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::SignalStops => "signal stops",
            Self::LineA => "line a breaks",
            Self::LineB => "line b breaks",
        }
    }

    /// Whether one of two lines breaks.
    pub const fn breaks(self) -> bool {
        !matches!(self, Self::SignalStops)
    }
}

/// Settings of a loss scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Loss {
    /// How the signal is lost, one capture each.
    pub causes: Vec<LossCause>,
    /// How long the output is watched after that.
    pub length: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
}

/// What is captured before the loss at most, while the command for it is on
/// its way: a short line at 9600 baud takes ten milliseconds.
pub const BEFORE_LOSS: Seconds = Seconds::new(20e-3);

/// Reads the settings.
pub(super) fn read(table: &Table<'_>) -> Loss {
    let causes = table.words("causes", LossCause::WORDS);
    Loss {
        causes: not_empty(table, "causes", causes).unwrap_or_else(|| vec![LossCause::SignalStops]),
        length: time(table, "length", 0.1),
        sampling_period: period(table, "sampling_period", 2e-6),
    }
}
