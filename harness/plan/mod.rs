//! What is done to a board and what is demanded of it: a plan's text to
//! checked, immutable values. It knows no instrument beyond what a bench file
//! states, and it judges nothing.

mod against_bench;
mod check;
mod comparison;
pub mod demo;
mod idle;
mod inrush;
mod limits;
mod loss;
mod lot;
mod parse;
mod sense;
mod settings;
mod signal;
mod soak;
mod steps;
mod supply;

pub use against_bench::against_bench;
pub use comparison::{Comparison, DeclaredMargin, MetricPath};
pub use idle::{Idle, OutputState};
pub use inrush::{BANK_ROOM, Inrush};
pub use loss::{BEFORE_LOSS, Loss, LossCause};
pub use lot::{Lot, LotPart, parse_lot};
pub use parse::{extends, parse};
pub use sense::Sense;
pub use settings::{Direction, Load, Overload, Polarity, Reversal, Settings, Short, ShortPlace};
pub use signal::{Cutouts, Signal, SignalLoading, StreamPacket};
pub use soak::Soak;
pub use steps::{Step, steps};
pub use supply::{LOAD_ROOM, Supply};

use crate::catalogue::{Per, ScenarioKind};
use crate::document::Places;
use crate::judgement::Limit;
use crate::measurement::{Blame, Finding, Metric};
use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// A checked plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// What a person calls it.
    pub name: String,
    /// The board family.
    pub family: String,
    /// The board's revision.
    pub revision: String,
    /// What the board is rated for.
    pub ratings: Ratings,
    /// How the board is connected and set.
    pub configuration: Configuration,
    /// What is done, in this order.
    pub scenarios: Vec<Scenario>,
    /// How two lots are compared.
    pub comparison: Comparison,
    /// Where each part was written.
    pub places: Places,
}

impl Plan {
    /// The scenario under `name`.
    pub fn scenario(&self, name: &str) -> Option<&Scenario> {
        self.scenarios.iter().find(|s| s.name == name)
    }
}

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

/// What the board does when its signal stops.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OnSignalLoss {
    /// The output goes dead.
    Off,
    /// The output stays as it was.
    Hold,
    /// The board makes a signal of its own.
    OwnSignal,
}

impl OnSignalLoss {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("off", Self::Off),
        ("hold", Self::Hold),
        ("own signal", Self::OwnSignal),
    ];
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

/// One procedure of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    /// Its name, unique in the plan; the kind's word when the plan gives none.
    pub name: String,
    /// What it is.
    pub kind: ScenarioKind,
    /// How it is done.
    pub settings: Settings,
    /// What is demanded, in the catalogue's order.
    pub limits: Vec<MetricLimit>,
}

impl Scenario {
    /// The limit on `metric`.
    pub fn limit(&self, metric: &str) -> Option<&Limit> {
        self.limits
            .iter()
            .find(|l| l.metric == metric)
            .map(|l| &l.limit)
    }
}

/// The condition of a metric that was found at none.
pub const EVERY_CONDITION: &str = "all conditions";

impl Scenario {
    /// A metric not measured for each limit whose metric is not among `found`:
    /// a limit is never passed over in silence.
    pub fn unfound(&self, found: &[Metric]) -> Vec<Metric> {
        let absent = |key: &str| !found.iter().any(|metric| metric.key == key);
        let known = self.kind.entry().metrics.iter();
        known
            .filter(|metric| self.limit(metric.key).is_some() && absent(metric.key))
            .map(|metric| Metric {
                scenario: self.name.clone(),
                key: metric.key.to_owned(),
                at: match metric.per {
                    Per::Run => String::new(),
                    _ => EVERY_CONDITION.to_owned(),
                },
                dimension: metric.dimension,
                finding: Finding::unknown(Blame::Bench, "the scenario did not come to measure it"),
                common: 0.0,
                notes: Vec::new(),
            })
            .collect()
    }
}

/// A limit and the metric it is for.
#[derive(Clone, Debug, PartialEq)]
pub struct MetricLimit {
    /// The metric's key in the catalogue.
    pub metric: &'static str,
    /// The limit.
    pub limit: Limit,
}

#[cfg(test)]
mod tests;
