//! The terms in which a scenario describes itself: purpose, roles, settings and
//! metrics, each with dimension and definition. They are shown by the guide and
//! read with every plan; they know no limits and drive nothing.

use crate::document::Places;
use crate::ident::Role;
use crate::units::Dimension;
use crate::waveform::Signal;
use serde::{Deserialize, Serialize};

/// What a scenario says about itself.
#[derive(Debug)]
pub struct Entry {
    /// The word used in files and on screens.
    pub word: &'static str,
    /// One sentence: what it provokes and what for.
    pub purpose: &'static str,
    /// The instruments without which it cannot run.
    pub roles: &'static [Role],
    /// What the capture device must see, whatever is limited.
    pub signals: &'static [Signal],
    /// What a plan may set.
    pub settings: &'static [Setting],
    /// What it measures.
    pub metrics: &'static [Metric],
}

impl Entry {
    /// Key and dimension of the metric `key`, for its evaluation: what is not in
    /// the list does not compile.
    pub(super) const fn metric(&self, key: &str) -> (&'static str, Dimension) {
        let mut at = 0;
        while at < self.metrics.len() {
            let metric = &self.metrics[at];
            if same(metric.key.as_bytes(), key.as_bytes()) {
                return (metric.key, metric.dimension);
            }
            at += 1;
        }
        panic!("the scenario lists no such metric");
    }
}

/// Whether two texts are the same, where `==` does not compile yet.
const fn same(one: &[u8], other: &[u8]) -> bool {
    let mut at = 0;
    while at < one.len() && at < other.len() && one[at] == other[at] {
        at += 1;
    }
    at == one.len() && at == other.len()
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

impl Entry {
    /// What is said with a fault at `key` of a scenario's table, at `path` of the
    /// plan, where that is not written: its default does not fit.
    pub(crate) fn unstated(&self, places: &Places, path: &str, key: &str) -> Option<String> {
        if places.holds(path) {
            return None;
        }
        let setting = self.settings.iter().find(|setting| setting.name == key)?;
        Some(format!(
            "`{key}` is not stated and so is {}",
            setting.default
        ))
    }
}

impl Setting {
    /// One quantity of `dimension`.
    pub(super) const fn one(
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
    pub(super) const fn time(name: &'static str, default: &'static str, doc: &'static str) -> Self {
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
    /// Whether it is a plain statement: 1 where it is so, 0 where it is not.
    pub statement: bool,
    /// What it cannot be measured without, beside what the scenario needs.
    pub needs: &'static [Need],
}

/// Something that a metric cannot be measured without.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// A channel of the capture device that shows this.
    Channel(Signal),
    /// A logic line with the board's first input.
    FirstInput,
    /// A logic line with the board's fault output.
    FaultLine,
    /// A stated supply voltage, below the rated one, at which the board still
    /// works: a rail below it ends no trip.
    LowestSupply,
}

impl Metric {
    /// A metric that is never below zero.
    pub(super) const fn unsigned(
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
            statement: false,
            needs: &[],
        }
    }

    /// The same metric as a plain statement: 1 where it is so, 0 where it is not.
    pub(super) const fn stating(mut self) -> Self {
        self.statement = true;
        self
    }

    /// The same metric, which cannot be measured without `needs`.
    pub(super) const fn needing(mut self, needs: &'static [Need]) -> Self {
        self.needs = needs;
        self
    }
}

/// In which state of the output a step is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    /// Held positive.
    Positive,
    /// Held negative.
    Negative,
    /// Following the signal.
    Alternating,
}

impl Polarity {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("positive", Self::Positive),
        ("negative", Self::Negative),
        ("alternating", Self::Alternating),
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Positive => "positive",
            Self::Negative => "negative",
            Self::Alternating => "alternating",
        }
    }
}

/// Where a short is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Place {
    /// At the board.
    Near,
    /// Behind the stated bus resistance.
    Far,
}

impl Place {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[("near", Self::Near), ("far", Self::Far)];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
        }
    }
}

#[cfg(test)]
#[path = "terms_tests.rs"]
mod tests;
