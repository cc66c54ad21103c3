//! What happened in a run, as one closed list in one order. The store keeps
//! these, the screens show these, and a record is nothing but their fold; so a
//! replayed run and a live one look the same.

use crate::clock::BenchInstant;
use crate::digest::Digest;
use crate::ident::{LotName, Role, RunId, Serial};
use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::{Estimate, Metric};
use crate::plan::Omitted;
use crate::scenario::Trouble;
use crate::seed::Seed;
use crate::units::{Celsius, Dimension, Kelvins, Quantity as _, Seconds, show_with_uncertainty};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// One event with its place and times.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Counted from one within the run, without gaps.
    pub sequence: u64,
    /// Wall time at which the dispatcher saw it.
    pub at: jiff::Timestamp,
    /// Bench time at which it happened.
    pub bench: BenchInstant,
    /// What happened.
    pub event: Event,
}

/// A file that shaped the run: its name as given and the digest of its bytes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FileFacts {
    /// The name the user typed, or `embedded: ...`.
    pub name: String,
    /// Digest of its bytes.
    pub digest: Digest,
    /// The text itself, so that the record stands alone.
    pub text: String,
}

/// Everything known before the first instrument is opened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunStarted {
    /// The run.
    pub run: RunId,
    /// The board.
    pub serial: Serial,
    /// The lot it belongs to.
    pub lot: Option<LotName>,
    /// Name of the plan.
    pub plan: String,
    /// The board family and revision the plan is for.
    pub family: String,
    /// Revision of the board.
    pub revision: String,
    /// Scenarios in the order in which they will run.
    pub scenarios: Vec<String>,
    /// Plan (with what it extends), bench, profiles, lot and model board.
    pub files: Vec<FileFacts>,
    /// The embedded model bench was used: nothing here speaks of a real board.
    pub model: bool,
    /// Seed of the model bench.
    pub seed: Option<Seed>,
    /// Who ran it.
    pub operator: Option<String>,
    /// Ambient temperature as stated, or as read before the run began.
    pub ambient: Option<Celsius>,
    /// Standard uncertainty of that reading; nothing where a person stated it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ambient_u: Option<Kelvins>,
    /// Why the board is tested again.
    pub retest: Option<String>,
    /// Why the plan allows instruments whose calibration is overdue, where such
    /// are used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub overdue_calibration: Option<String>,
    /// What the bench does without for safety's sake, each with its stated reason.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing_safety: Vec<String>,
    /// Set when only these scenarios were asked for: a diagnosis, never an
    /// acceptance.
    pub only: Option<String>,
    /// Scenarios of the plan that are not run: what is accepted is accepted
    /// without them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub without: Vec<Omitted>,
    /// Defects planted in the model board, by name.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub planted: Vec<String>,
    /// Version of this program.
    pub version: String,
}

impl RunStarted {
    /// The ambient temperature in words, and where it was measured its expanded
    /// uncertainty.
    pub fn ambient_words(&self) -> Option<String> {
        let ambient = self.ambient?;
        let Some(u) = self.ambient_u else {
            return Some(ambient.to_string());
        };
        let measured = Estimate::new(ambient.si(), u.si());
        let shown =
            show_with_uncertainty(measured.value, measured.expanded(), Dimension::Temperature);
        Some(format!("{shown} (k = 2), read before the run"))
    }
}

/// How making the bench safe went.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SafetyOutcome {
    /// Each action tried, in order, and whether the instrument took it.
    pub actions: Vec<SafetyAction>,
    /// Every action succeeded and the current was found gone.
    pub safe: bool,
}

/// One action of making safe.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SafetyAction {
    /// The instrument.
    pub role: Role,
    /// What was asked of it.
    pub action: String,
    /// `None` when it was taken; else what went wrong.
    pub trouble: Option<String>,
}

/// Why a run ended before its plan did.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Abort {
    /// The person stopped it.
    Operator,
    /// An instrument or its port failed.
    Bench,
    /// The record could not be written.
    Store,
    /// A bug in this program.
    Harness,
    /// Found unfinished at a later start.
    CutOff,
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "event", rename_all = "snake_case")]
pub enum Event {
    /// The run began.
    RunStarted(Box<RunStarted>),
    /// An instrument answered.
    Identified {
        /// What it is on the bench.
        role: Role,
        /// Its own words.
        identity: String,
        /// The profile it is driven by.
        profile: String,
        /// Where its port is.
        port: String,
        /// Calibration date as the bench file states it.
        calibrated: Option<String>,
        /// The day after which that no longer holds.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        due: Option<Date>,
        /// Number of the calibration's certificate.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        certificate: Option<String>,
    },
    /// A scenario began.
    ScenarioStarted {
        /// Its name in the plan.
        scenario: String,
        /// Its kind in the catalogue.
        kind: String,
    },
    /// A step began. Where it energises the board this was durable first.
    Step {
        /// The scenario.
        scenario: String,
        /// What is done, in words.
        text: String,
        /// Whether it puts energy into the board.
        energises: bool,
    },
    /// A scenario has seen everything it wanted.
    Observed {
        /// The scenario.
        scenario: String,
        /// Digest of the observation's bytes.
        digest: Digest,
    },
    /// A metric was found and judged; without limit it is only recorded.
    Measured {
        /// The metric.
        metric: Metric,
        /// The limit it was judged against.
        limit: Option<Limit>,
        /// The judgement.
        decision: Option<Decision>,
    },
    /// Something went wrong.
    Trouble {
        /// The scenario, where there is one.
        scenario: Option<String>,
        /// What and whose.
        trouble: Trouble,
    },
    /// A scenario ended.
    ScenarioFinished {
        /// The scenario.
        scenario: String,
        /// Its verdict.
        verdict: Verdict,
        /// Bench time it took.
        took: Seconds,
    },
    /// The bench was made safe, or not.
    MadeSafe {
        /// How that went.
        outcome: SafetyOutcome,
    },
    /// The run ended.
    RunFinished {
        /// The verdict over all.
        verdict: Verdict,
        /// Why it ended early.
        abort: Option<Abort>,
        /// Digest over plan, observations, metrics and verdicts in bench time:
        /// what a seed and a commit repeat.
        measurement: Digest,
    },
}

impl Event {
    /// Whether the event must be on disk before the run goes on: before each
    /// energising step, at each verdict, and at both ends.
    pub fn must_be_durable(&self) -> bool {
        match self {
            Self::RunStarted(_)
            | Self::ScenarioFinished { .. }
            | Self::MadeSafe { .. }
            | Self::Trouble { .. }
            | Self::RunFinished { .. } => true,
            Self::Step { energises, .. } => *energises,
            Self::Identified { .. }
            | Self::ScenarioStarted { .. }
            | Self::Observed { .. }
            | Self::Measured { .. } => false,
        }
    }
}
