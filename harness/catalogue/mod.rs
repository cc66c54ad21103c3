//! The list of scenarios: for each its settings and its metrics, with
//! dimension, default and definition. It says what is measured, not how to
//! drive it, and it knows no limits.
//!
//! A scenario is added in one place: a file beside this one and its line in
//! [`ScenarioKind`].

mod idle;
mod influence;
mod inrush;
mod load;
mod loss;
mod overload;
mod reversal;
mod sense;
mod short;
mod signal;
mod soak;
mod supply;

pub use influence::{Choice, INFLUENCES, Influence, Moved, Way, influences_on};

use crate::ident::Role;
use crate::units::Dimension;
use serde::{Deserialize, Serialize};
use std::fmt;

/// One procedure a plan can ask for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ScenarioKind {
    /// The supply raised, the output off, braked and on without a load.
    Idle,
    /// Held steps up to the rated current.
    Load,
    /// The same steps against the board's own reading.
    Sense,
    /// A ramp, then multiples of the trip current, then a hold just below.
    Overload,
    /// A hard short, near and far.
    Short,
    /// A section boundary bridged against the wrong polarity.
    Reversal,
    /// A known packet stream.
    Signal,
    /// The input signal stops or one of two lines breaks.
    Loss,
    /// A start into a bank of empty capacitors.
    Inrush,
    /// The rated current for minutes.
    Soak,
    /// The customer's supply, loaded directly.
    Supply,
}

impl ScenarioKind {
    /// Every kind, in the order in which a plan usually runs them.
    pub const ALL: [Self; 11] = [
        Self::Idle,
        Self::Load,
        Self::Sense,
        Self::Overload,
        Self::Short,
        Self::Reversal,
        Self::Signal,
        Self::Loss,
        Self::Inrush,
        Self::Soak,
        Self::Supply,
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Load => "load",
            Self::Sense => "sense",
            Self::Overload => "overload",
            Self::Short => "short",
            Self::Reversal => "reversal",
            Self::Signal => "signal",
            Self::Loss => "loss",
            Self::Inrush => "inrush",
            Self::Soak => "soak",
            Self::Supply => "supply",
        }
    }

    /// What the catalogue says about it.
    pub const fn entry(self) -> &'static Entry {
        match self {
            Self::Idle => &idle::ENTRY,
            Self::Load => &load::ENTRY,
            Self::Sense => &sense::ENTRY,
            Self::Overload => &overload::ENTRY,
            Self::Short => &short::ENTRY,
            Self::Reversal => &reversal::ENTRY,
            Self::Signal => &signal::ENTRY,
            Self::Loss => &loss::ENTRY,
            Self::Inrush => &inrush::ENTRY,
            Self::Soak => &soak::ENTRY,
            Self::Supply => &supply::ENTRY,
        }
    }

    /// The kind under that word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// The metric `key` of this scenario.
    pub fn metric(self, key: &str) -> Option<&'static Metric> {
        self.entry().metrics.iter().find(|metric| metric.key == key)
    }
}

impl fmt::Display for ScenarioKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// What the catalogue says about a scenario.
#[derive(Debug)]
pub struct Entry {
    /// Its kind.
    pub kind: ScenarioKind,
    /// One sentence: what it provokes and what for.
    pub purpose: &'static str,
    /// The instruments without which it cannot run.
    pub roles: &'static [Role],
    /// What a plan may set.
    pub settings: &'static [Setting],
    /// What it measures.
    pub metrics: &'static [Metric],
}

/// How a setting is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// One quantity.
    One(Dimension),
    /// A list of quantities.
    List(Dimension),
    /// Words from this list.
    Words(&'static [&'static str]),
}

/// Something a plan may set.
#[derive(Debug)]
pub struct Setting {
    /// Its key in the plan.
    pub name: &'static str,
    /// How it is written.
    pub form: Form,
    /// What holds when the plan is silent, as written or in words.
    pub default: &'static str,
    /// One sentence.
    pub doc: &'static str,
}

impl Setting {
    /// One quantity of `dimension`.
    const fn one(
        name: &'static str,
        dimension: Dimension,
        default: &'static str,
        doc: &'static str,
    ) -> Self {
        Self {
            name,
            form: Form::One(dimension),
            default,
            doc,
        }
    }

    /// One time.
    const fn time(name: &'static str, default: &'static str, doc: &'static str) -> Self {
        Self::one(name, Dimension::Time, default, doc)
    }
}

/// In which direction a result may be known only as a bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Censoring {
    /// Always a number.
    Never,
    /// "More than": the event did not come while watched.
    Above,
    /// "More than" or "less than": also when it came too soon to resolve.
    Both,
}

/// In which direction a metric gets worse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Worse {
    /// Larger is worse.
    Larger,
    /// Smaller is worse.
    Smaller,
    /// Both ends hurt.
    Either,
}

/// How many values one run of a scenario gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Per {
    /// One.
    Run,
    /// One at each current step and polarity.
    Step,
    /// One in each polarity.
    Polarity,
    /// One at each multiple of the trip current.
    Multiple,
    /// One for each place of the short, the worst of its repeats.
    Place,
    /// One in each direction across the section boundary.
    Direction,
    /// At each loading of the output: the mean and the worst.
    Loading,
    /// One for each way in which the signal is lost.
    Cause,
}

/// A named measured quantity.
#[derive(Debug)]
pub struct Metric {
    /// Its key in plans, records and reports.
    pub key: &'static str,
    /// Its dimension.
    pub dimension: Dimension,
    /// Level, edge, window and interpolation in one to three sentences.
    pub definition: &'static str,
    /// Whether it may be known only as a bound.
    pub censoring: Censoring,
    /// In which direction it gets worse.
    pub worse: Worse,
    /// How many values a run gives; a limit holds for each of them.
    pub per: Per,
    /// Whether it can be below zero.
    pub signed: bool,
}

impl Metric {
    /// A metric that is never below zero.
    const fn unsigned(
        per: Per,
        key: &'static str,
        dimension: Dimension,
        censoring: Censoring,
        worse: Worse,
        definition: &'static str,
    ) -> Self {
        Self {
            key,
            dimension,
            definition,
            censoring,
            worse,
            per,
            signed: false,
        }
    }
}

#[cfg(test)]
mod tests;
