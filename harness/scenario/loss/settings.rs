//! The settings of a loss scenario and how they are read. How its numbers must
//! fit together is checked in `check`.

use crate::bench_file::Carries;
use crate::document::Table;
use crate::scenario::board::OnSignalLoss;
use crate::scenario::demands::Demands;
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, period, time};
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

/// What is captured before the loss at most, while the command for it is on
/// its way: a short line at 9600 baud takes ten milliseconds.
pub const BEFORE_LOSS: Seconds = Seconds::new(20e-3);

/// Settings of a loss scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// How the signal is lost, one capture each.
    pub causes: Vec<LossCause>,
    /// How long the output is watched after that.
    pub length: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, _: &ReadContext<'_>) -> Self {
        let causes = table.words("causes", LossCause::WORDS);
        Self {
            causes: not_empty(table, "causes", causes)
                .unwrap_or_else(|| vec![LossCause::SignalStops]),
            length: time(table, "length", 0.1),
            sampling_period: period(table, "sampling_period", 2e-6),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        let configuration = demands.configuration;
        if configuration.signal_lines == 1 && self.causes.iter().any(|cause| cause.breaks()) {
            demands.fault(
                "causes",
                "a board of one signal line loses its signal when that breaks".to_owned(),
                "`causes = [\"signal stops\"]`, or `signal_lines = 2`".to_owned(),
            );
        }
        if demands.limit("shutdown_time").is_some()
            && configuration.on_signal_loss != OnSignalLoss::Off
        {
            demands.fault(
                "limits.shutdown_time",
                "this board is not meant to go dead without a signal".to_owned(),
                "`on_signal_loss = \"off\"`, or no limit on it".to_owned(),
            );
        }
        demands.pulse("length", self.length, "shutdown_time");
        demands.sampling(self.sampling_period, &["shutdown_time"]);
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        if self.causes.iter().any(|cause| *cause != LossCause::LineB) {
            bench.line(Carries::InputA);
        }
        if self.causes.contains(&LossCause::LineB) {
            bench.line(Carries::InputB);
        }
    }

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }
}
