//! What is kept of a run: the fold of its events, the bytes of what its
//! scenarios saw, and the chain that ties all entries together. It reads and
//! writes no file and judges nothing.

pub mod chain;
pub mod seal;

mod excerpt;
mod fold;
mod line;
mod observation_bytes;

pub use excerpt::{Excerpt, InstrumentExcerpt, MetricExcerpt, Reading, StartExcerpt};
pub use fold::{Fold, RecordFault, measurement_digest};
pub use line::{Content, Issued, Line, LineFault, Note};
pub use observation_bytes::{
    LONGEST_OBSERVATION, ObservationFault, from_bytes, observation_bytes, observation_digest,
};

use crate::clock::BenchInstant;
use crate::digest::Digest;
use crate::event::{Abort, Entry, RunStarted, SafetyOutcome};
use crate::ident::Role;
use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::Metric;
use crate::scenario::Trouble;
use crate::units::Seconds;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// Everything that is known of one run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// What was known before the first instrument was opened.
    pub started: RunStarted,
    /// Wall time of the start.
    pub started_at: jiff::Timestamp,
    /// Instruments in the order in which they answered.
    pub instruments: Vec<InstrumentFacts>,
    /// Scenarios in the order in which they began.
    pub scenarios: Vec<ScenarioRecord>,
    /// Troubles that belong to no scenario that had begun.
    pub troubles: Vec<RunTrouble>,
    /// Every attempt to make the bench safe.
    pub safety: Vec<SafetyOutcome>,
    /// How it ended; `None` while the run is open.
    pub ended: Option<Ended>,
}

/// One instrument as it answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentFacts {
    /// What it is on the bench.
    pub role: Role,
    /// Its own words.
    pub identity: String,
    /// The profile it is driven by.
    pub profile: String,
    /// Where its port is.
    pub port: String,
    /// Calibration date as the bench file states it.
    pub calibrated: Option<String>,
    /// The day after which that no longer holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due: Option<Date>,
    /// Number of the calibration's certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<String>,
}

/// One scenario as it went.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScenarioRecord {
    /// Its name in the plan.
    pub name: String,
    /// Its kind in the catalogue.
    pub kind: String,
    /// Wall time at which it began.
    pub started_at: jiff::Timestamp,
    /// Bench time at which it began.
    pub started_bench: BenchInstant,
    /// Its steps in order.
    pub steps: Vec<StepFacts>,
    /// Digests of what it saw.
    pub observations: Vec<Digest>,
    /// What was found and how it was judged.
    pub metrics: Vec<JudgedMetric>,
    /// What went wrong.
    pub troubles: Vec<Trouble>,
    /// Its verdict; `None` while it has not ended.
    pub verdict: Option<Verdict>,
    /// Bench time it took; `None` while it has not ended.
    pub took: Option<Seconds>,
}

/// One step of a scenario.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepFacts {
    /// Bench time at which it began.
    pub bench: BenchInstant,
    /// What is done, in words.
    pub text: String,
    /// Whether it puts energy into the board.
    pub energises: bool,
}

/// A metric with its judgement; without limit it is only recorded.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct JudgedMetric {
    /// Bench time at which it was found.
    pub bench: BenchInstant,
    /// The metric.
    pub metric: Metric,
    /// The limit it was judged against.
    pub limit: Option<Limit>,
    /// The judgement.
    pub decision: Option<Decision>,
}

impl JudgedMetric {
    /// The verdict, where it was judged.
    pub fn verdict(&self) -> Option<Verdict> {
        self.decision.as_ref().map(|decision| decision.verdict)
    }
}

/// A trouble outside any scenario that had begun.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunTrouble {
    /// The scenario that could not begin, where there is one.
    pub scenario: Option<String>,
    /// What and whose.
    pub trouble: Trouble,
}

/// How a run ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ended {
    /// Wall time.
    pub at: jiff::Timestamp,
    /// Bench time.
    pub bench: BenchInstant,
    /// The verdict over all.
    pub verdict: Verdict,
    /// Why it ended early.
    pub abort: Option<Abort>,
    /// The measurement digest: what a seed and a commit repeat.
    pub measurement: Digest,
}

impl Record {
    /// The record that `entries` tell.
    ///
    /// # Errors
    /// The first [`RecordFault`] met.
    pub fn fold(entries: &[Entry]) -> Result<Self, RecordFault> {
        let mut fold = Fold::default();
        for entry in entries {
            fold.push(entry)?;
        }
        fold.into_record().ok_or(RecordFault::Empty)
    }

    /// Whether the run has not ended.
    pub fn is_open(&self) -> bool {
        self.ended.is_none()
    }

    /// The verdict over all; an open run is inconclusive.
    pub fn verdict(&self) -> Verdict {
        self.ended
            .as_ref()
            .map_or(Verdict::Inconclusive, |ended| ended.verdict)
    }

    /// Why the run ended early, where it did.
    pub fn abort(&self) -> Option<&Abort> {
        self.ended.as_ref().and_then(|ended| ended.abort.as_ref())
    }

    /// The verdict as it may be shown: a model bench never says a bare PASS,
    /// and a diagnosis of one scenario says that it is one.
    pub fn headline(&self) -> String {
        let mut words = String::new();
        if self.started.model {
            words.push_str("MODEL ");
        }
        if self.started.only.is_some() {
            words.push_str("DIAGNOSIS ");
        }
        words.push_str(if self.is_open() {
            "UNFINISHED"
        } else {
            self.verdict().word()
        });
        words
    }

    /// Whether the bench was found safe at the last attempt; `None` where no
    /// attempt is recorded.
    pub fn made_safe(&self) -> Option<bool> {
        self.safety.last().map(|outcome| outcome.safe)
    }

    /// Whether it left a bench of which nobody knows that everything on it is off.
    pub fn left_on(&self) -> bool {
        self.made_safe().map_or(self.energised(), |safe| !safe)
    }

    /// Whether any step put energy into the board.
    pub fn energised(&self) -> bool {
        let mut steps = self.scenarios.iter().flat_map(|s| &s.steps);
        steps.any(|step| step.energises)
    }

    /// Planned scenarios that never began.
    pub fn not_run(&self) -> impl Iterator<Item = &str> {
        let begun = |name: &str| self.scenarios.iter().any(|s| s.name == name);
        self.started
            .scenarios
            .iter()
            .map(String::as_str)
            .filter(move |name| !begun(name))
    }
}

#[cfg(test)]
pub(crate) mod samples;
#[cfg(test)]
mod tests;
