//! Events to a record, one at a time, so that a live run and a replayed one
//! are told the same way. It refuses what no run can have said.

use super::{Ended, InstrumentFacts, JudgedMetric, Record, RunTrouble, ScenarioRecord, StepFacts};
use crate::digest::Digest;
use crate::event::{Entry, Event, RunStarted};
use crate::scenario::Trouble;
use serde::Serialize;

/// Why a list of entries is not a run.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RecordFault {
    /// No entry at all.
    #[error("the run has no entries")]
    Empty,
    /// The first entry is not the start.
    #[error("entry {sequence} comes before the run's start")]
    NotStarted {
        /// Its number.
        sequence: u64,
    },
    /// A second start.
    #[error("entry {sequence} starts the run a second time")]
    StartedTwice {
        /// Its number.
        sequence: u64,
    },
    /// A gap or a step back in the numbers.
    #[error("entry {wanted} is missing: entry {found} stands in its place")]
    Sequence {
        /// The number that should follow.
        wanted: u64,
        /// The number that does.
        found: u64,
    },
    /// Something after the end.
    #[error("entry {sequence} comes after the run's end")]
    AfterEnd {
        /// Its number.
        sequence: u64,
    },
    /// An event of a scenario that has not begun or has ended.
    #[error("entry {sequence} belongs to scenario '{scenario}', which is not running there")]
    NotRunning {
        /// Its number.
        sequence: u64,
        /// The scenario it names.
        scenario: String,
    },
    /// A scenario that begins again.
    #[error("entry {sequence} starts scenario '{scenario}' a second time")]
    ScenarioTwice {
        /// Its number.
        sequence: u64,
        /// The scenario it names.
        scenario: String,
    },
}

/// A record in the making.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fold {
    record: Option<Record>,
    last: u64,
}

impl Fold {
    /// The record so far; `None` before the start.
    pub fn record(&self) -> Option<&Record> {
        self.record.as_ref()
    }

    /// The record so far, taken out.
    pub fn into_record(self) -> Option<Record> {
        self.record
    }

    /// The number the next entry must have.
    pub fn next_sequence(&self) -> u64 {
        self.last + 1
    }

    /// Takes the next entry; a refused one changes nothing.
    ///
    /// # Errors
    /// A [`RecordFault`] saying why it cannot follow.
    pub fn push(&mut self, entry: &Entry) -> Result<(), RecordFault> {
        let sequence = entry.sequence;
        let wanted = self.next_sequence();
        if sequence != wanted {
            let found = sequence;
            return Err(RecordFault::Sequence { wanted, found });
        }
        match (&mut self.record, &entry.event) {
            (None, Event::RunStarted(started)) => self.record = Some(opened(started, entry)),
            (None, _) => return Err(RecordFault::NotStarted { sequence }),
            (Some(record), _) if record.ended.is_some() => {
                return Err(RecordFault::AfterEnd { sequence });
            }
            (Some(_), Event::RunStarted(_)) => {
                return Err(RecordFault::StartedTwice { sequence });
            }
            (Some(record), _) => take(record, entry)?,
        }
        self.last = sequence;
        Ok(())
    }
}

fn opened(started: &RunStarted, entry: &Entry) -> Record {
    Record {
        started: started.clone(),
        started_at: entry.at,
        instruments: Vec::new(),
        scenarios: Vec::new(),
        troubles: Vec::new(),
        safety: Vec::new(),
        ended: None,
    }
}

fn take(record: &mut Record, entry: &Entry) -> Result<(), RecordFault> {
    let sequence = entry.sequence;
    match &entry.event {
        // The caller has dealt with the start.
        Event::RunStarted(_) => return Err(RecordFault::StartedTwice { sequence }),
        Event::Identified {
            role,
            identity,
            profile,
            port,
            calibrated,
            due,
            certificate,
        } => record.instruments.push(InstrumentFacts {
            role: *role,
            identity: identity.clone(),
            profile: profile.clone(),
            port: port.clone(),
            calibrated: calibrated.clone(),
            due: *due,
            certificate: certificate.clone(),
        }),
        Event::ScenarioStarted { scenario, kind } => begin_scenario(record, entry, scenario, kind)?,
        Event::Step {
            scenario,
            text,
            energises,
        } => running(record, sequence, scenario)?.steps.push(StepFacts {
            bench: entry.bench,
            text: text.clone(),
            energises: *energises,
        }),
        Event::Observed { scenario, digest } => running(record, sequence, scenario)?
            .observations
            .push(*digest),
        Event::Measured {
            metric,
            limit,
            decision,
        } => running(record, sequence, &metric.scenario)?
            .metrics
            .push(JudgedMetric {
                bench: entry.bench,
                metric: metric.clone(),
                limit: limit.clone(),
                decision: decision.clone(),
            }),
        Event::Trouble { scenario, trouble } => add_trouble(record, scenario.as_deref(), trouble),
        Event::ScenarioFinished {
            scenario,
            verdict,
            took,
        } => {
            let ended = running(record, sequence, scenario)?;
            ended.verdict = Some(*verdict);
            ended.took = Some(*took);
        }
        Event::MadeSafe { outcome } => record.safety.push(outcome.clone()),
        Event::RunFinished {
            verdict,
            abort,
            measurement,
        } => {
            record.ended = Some(Ended {
                at: entry.at,
                bench: entry.bench,
                verdict: *verdict,
                abort: abort.clone(),
                measurement: *measurement,
            });
        }
    }
    Ok(())
}

fn begin_scenario(
    record: &mut Record,
    entry: &Entry,
    scenario: &str,
    kind: &str,
) -> Result<(), RecordFault> {
    if record.scenarios.iter().any(|s| s.name == scenario) {
        return Err(RecordFault::ScenarioTwice {
            sequence: entry.sequence,
            scenario: scenario.to_owned(),
        });
    }
    record.scenarios.push(ScenarioRecord {
        name: scenario.to_owned(),
        kind: kind.to_owned(),
        started_at: entry.at,
        started_bench: entry.bench,
        steps: Vec::new(),
        observations: Vec::new(),
        metrics: Vec::new(),
        troubles: Vec::new(),
        verdict: None,
        took: None,
    });
    Ok(())
}

/// The scenario of that name, if it has begun and not ended.
fn running<'a>(
    record: &'a mut Record,
    sequence: u64,
    scenario: &str,
) -> Result<&'a mut ScenarioRecord, RecordFault> {
    let mut scenarios = record.scenarios.iter_mut();
    scenarios
        .find(|s| s.name == scenario && s.verdict.is_none())
        .ok_or_else(|| RecordFault::NotRunning {
            sequence,
            scenario: scenario.to_owned(),
        })
}

/// A trouble may also be what kept a scenario from beginning, so it is kept
/// with the run where its scenario is unknown.
fn add_trouble(record: &mut Record, scenario: Option<&str>, trouble: &Trouble) {
    let begun = record
        .scenarios
        .iter_mut()
        .find(|s| Some(s.name.as_str()) == scenario);
    match begun {
        Some(begun) => begun.troubles.push(trouble.clone()),
        None => record.troubles.push(RunTrouble {
            scenario: scenario.map(str::to_owned),
            trouble: trouble.clone(),
        }),
    }
}

/// The digest of what was measured: the plan, what was seen, what was found
/// and judged, in bench time. Identifiers, wall times and ports stay out, so a
/// seed and a commit repeat it. The plan's text is the first of the files.
/// Marks stay out too: they follow from what was seen, whose digests are in.
pub fn measurement_digest(record: &Record) -> Digest {
    let mut parts: Vec<Vec<u8>> = vec![
        record.started.plan.clone().into_bytes(),
        record.started.family.clone().into_bytes(),
        record.started.revision.clone().into_bytes(),
        json(&record.started.files.first().map(|file| file.digest)),
        json(&record.started.scenarios),
    ];
    for scenario in &record.scenarios {
        parts.push(json(&(&scenario.name, &scenario.kind)));
        parts.push(json(&(scenario.started_bench, scenario.took)));
        parts.push(json(&scenario.observations));
        parts.push(json(&unmarked(&scenario.metrics)));
        parts.push(json(&scenario.verdict));
    }
    Digest::of_parts(parts.iter().map(Vec::as_slice))
}

fn unmarked(metrics: &[JudgedMetric]) -> Vec<JudgedMetric> {
    let mut metrics = metrics.to_vec();
    for judged in &mut metrics {
        judged.metric.evidence = None;
    }
    metrics
}

fn json(value: &impl Serialize) -> Vec<u8> {
    serde_json::to_vec(value).expect("plain structs and lists have a JSON form")
}
