//! The few things that a comparison of lots wants of a line, read without
//! building the rest: lots of ten thousand boards have a million lines. What a
//! line means in full is `line`'s.

use super::{JudgedMetric, LineFault, Record};
use crate::digest::Digest;
use crate::event::{Abort, Event};
use crate::ident::{Role, RunId, Serial};
use crate::judgement::Verdict;
use crate::measurement::{Finding, renamed};
use crate::units::{Celsius, Dimension};
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::borrow::Cow;

/// What a line says, as far as a comparison of lots wants it.
#[derive(Clone, Debug, PartialEq)]
pub enum Excerpt<'a> {
    /// The run began.
    Started(Box<StartExcerpt>),
    /// An instrument answered.
    Identified(InstrumentExcerpt),
    /// A metric was found.
    Measured(MetricExcerpt<'a>),
    /// The run ended.
    Finished {
        /// The verdict over all.
        verdict: Verdict,
        /// Why it ended early.
        abort: Option<Abort>,
    },
    /// Something else.
    Other,
}

/// How a run began.
#[derive(Clone, Debug, PartialEq)]
pub struct StartExcerpt {
    /// The run.
    pub run: RunId,
    /// The board.
    pub serial: Serial,
    /// Wall time.
    pub at: jiff::Timestamp,
    /// Digests of the files, the plan first.
    pub files: Vec<Digest>,
    /// Ambient temperature as stated or read.
    pub ambient: Option<Celsius>,
    /// Why the board is tested again.
    pub retest: Option<String>,
    /// Only one scenario was asked for.
    pub diagnosis: bool,
    /// Version of the program.
    pub version: String,
}

/// An instrument with its calibration.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct InstrumentExcerpt {
    /// What it is on the bench.
    pub role: Role,
    /// Its own words.
    pub identity: String,
    /// Calibration date as the bench file states it.
    pub calibrated: Option<String>,
}

/// A metric as it was found and judged.
#[derive(Clone, Debug, PartialEq)]
pub struct MetricExcerpt<'a> {
    /// Name of the scenario.
    pub scenario: Cow<'a, str>,
    /// Key of the metric.
    pub key: Cow<'a, str>,
    /// Its condition.
    pub at: Cow<'a, str>,
    /// What kind of quantity it is.
    pub dimension: Dimension,
    /// What was found.
    pub reading: Reading,
    /// Standard uncertainty of a value or bound; zero where none is stated.
    pub u: f64,
    /// The part of it that a bench puts on every board alike.
    pub common: f64,
    /// The least and the greatest value allowed, where there is a limit.
    pub limit: Option<(Option<f64>, Option<f64>)>,
    /// The verdict, where it was judged.
    pub verdict: Option<Verdict>,
}

/// What was found of a metric, in its SI unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// A value.
    Value(f64),
    /// At least this much.
    Above(f64),
    /// At most this much.
    Below(f64),
    /// Not measured.
    Unknown,
}

impl<'a> MetricExcerpt<'a> {
    /// Of a metric that is read in full.
    pub fn of(scenario: &'a str, judged: &'a JudgedMetric) -> Self {
        let limit = judged.limit.as_ref();
        Self {
            scenario: scenario.into(),
            key: judged.metric.key.as_str().into(),
            at: judged.metric.at.as_str().into(),
            dimension: judged.metric.dimension,
            reading: match &judged.metric.finding {
                Finding::Value(estimate) => Reading::Value(estimate.value),
                Finding::Above(estimate) => Reading::Above(estimate.value),
                Finding::Below(estimate) => Reading::Below(estimate.value),
                Finding::Unknown { .. } => Reading::Unknown,
            },
            u: match &judged.metric.finding {
                Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => e.u,
                Finding::Unknown { .. } => 0.0,
            },
            common: judged.metric.common,
            limit: limit.map(|limit| (limit.lower, limit.upper)),
            verdict: judged.verdict(),
        }
    }
}

impl Record {
    /// Every excerpt of the run, in the order of its lines.
    pub fn excerpts(&self) -> impl Iterator<Item = Excerpt<'_>> {
        let started = &self.started;
        let start = StartExcerpt {
            run: started.run.clone(),
            serial: started.serial.clone(),
            at: self.started_at,
            files: started.files.iter().map(|file| file.digest).collect(),
            ambient: started.ambient,
            retest: started.retest.clone(),
            diagnosis: started.only.is_some(),
            version: started.version.clone(),
        };
        let instruments = self.instruments.iter().map(|facts| {
            Excerpt::Identified(InstrumentExcerpt {
                role: facts.role,
                identity: facts.identity.clone(),
                calibrated: facts.calibrated.clone(),
            })
        });
        let metrics = self.scenarios.iter().flat_map(|scenario| {
            let judged = scenario.metrics.iter();
            judged.map(|judged| Excerpt::Measured(MetricExcerpt::of(&scenario.name, judged)))
        });
        let finished = self.ended.iter().map(|ended| Excerpt::Finished {
            verdict: ended.verdict,
            abort: ended.abort.clone(),
        });
        std::iter::once(Excerpt::Started(Box::new(start)))
            .chain(instruments)
            .chain(metrics)
            .chain(finished)
    }
}

impl<'a> Excerpt<'a> {
    /// Of a line of the store. A line that is not wanted is not read.
    ///
    /// # Errors
    /// [`LineFault::Unreadable`].
    pub fn read(text: &'a str) -> Result<Self, LineFault> {
        // Lines are written here and begin alike: run, sequence, times, kind.
        let head = &text[..text.floor_char_boundary(260)];
        if head.contains(r#""event":"measured""#) {
            let line: MeasuredLine<'a> = parsed(text)?;
            return Ok(Self::Measured(line.entry.event.into()));
        }
        if head.contains(r#""event":"run_started""#) {
            let short = without_files(text);
            let StartedLine { run, entry } = match &short {
                Some((_, rest)) => parsed(rest)?,
                None => parsed(text)?,
            };
            let event = entry.event;
            let files = match short {
                Some((digests, _)) => digests,
                None => event.files.iter().map(|file| file.digest).collect(),
            };
            return Ok(Self::Started(Box::new(StartExcerpt {
                run,
                serial: event.serial,
                at: entry.at,
                files,
                ambient: event.ambient,
                retest: event.retest,
                diagnosis: event.only.is_some(),
                version: event.version,
            })));
        }
        let wanted = [r#""event":"identified""#, r#""event":"run_finished""#];
        if !wanted.iter().any(|word| head.contains(word)) {
            return Ok(Self::Other);
        }
        let line: PlainLine = parsed(text)?;
        Ok(match line.entry.event {
            Event::Identified {
                role,
                identity,
                calibrated,
                ..
            } => Self::Identified(InstrumentExcerpt {
                role,
                identity,
                calibrated,
            }),
            Event::RunFinished { verdict, abort, .. } => Self::Finished { verdict, abort },
            _ => Self::Other,
        })
    }
}

/// The digests of the files, and the line without the files: their texts are
/// most of it and full of escapes. Inside a JSON string every quote is escaped,
/// so these marks stand for keys only. `None` where the line is laid out
/// otherwise.
fn without_files(text: &str) -> Option<(Vec<Digest>, String)> {
    const DIGEST: &str = r#""digest":""#;
    let from = text.find(r#""files":["#)? + r#""files":["#.len();
    let to = text.rfind(r#"],"model":"#)?;
    let files = text.get(from..to)?;
    let digests = files.match_indices(DIGEST).map(|(at, mark)| {
        let digest = files.get(at + mark.len()..)?.split('"').next()?;
        digest.parse().ok()
    });
    let digests = digests.collect::<Option<Vec<Digest>>>()?;
    Some((digests, [&text[..from], &text[to..]].concat()))
}

fn parsed<'a, T: Deserialize<'a>>(text: &'a str) -> Result<T, LineFault> {
    serde_json::from_str(text).map_err(|fault| LineFault::Unreadable(fault.to_string()))
}

#[derive(Deserialize)]
struct PlainLine {
    entry: PlainEntry,
}

#[derive(Deserialize)]
struct PlainEntry {
    event: Event,
}

#[derive(Deserialize)]
struct StartedLine {
    run: RunId,
    entry: StartedEntry,
}

#[derive(Deserialize)]
struct StartedEntry {
    at: jiff::Timestamp,
    event: StartedEvent,
}

#[derive(Deserialize)]
struct StartedEvent {
    serial: Serial,
    files: Vec<FileLine>,
    ambient: Option<Celsius>,
    retest: Option<String>,
    only: Option<IgnoredAny>,
    version: String,
}

#[derive(Deserialize)]
struct FileLine {
    digest: Digest,
}

#[derive(Deserialize)]
struct MeasuredLine<'a> {
    #[serde(borrow)]
    entry: MeasuredEntry<'a>,
}

#[derive(Deserialize)]
struct MeasuredEntry<'a> {
    #[serde(borrow)]
    event: MeasuredEvent<'a>,
}

#[derive(Deserialize)]
struct MeasuredEvent<'a> {
    #[serde(borrow)]
    metric: MetricLine<'a>,
    limit: Option<LimitLine>,
    decision: Option<DecisionLine>,
}

#[derive(Deserialize)]
struct MetricLine<'a> {
    #[serde(borrow)]
    scenario: Cow<'a, str>,
    #[serde(borrow)]
    key: Cow<'a, str>,
    #[serde(borrow)]
    at: Cow<'a, str>,
    dimension: Dimension,
    #[serde(borrow)]
    finding: FindingLine<'a>,
    #[serde(default)]
    common: f64,
}

#[derive(Deserialize)]
struct FindingLine<'a> {
    #[serde(borrow)]
    is: Cow<'a, str>,
    value: Option<f64>,
    u: Option<f64>,
}

#[derive(Deserialize)]
struct LimitLine {
    lower: Option<f64>,
    upper: Option<f64>,
}

#[derive(Deserialize)]
struct DecisionLine {
    verdict: Verdict,
}

impl<'a> From<MeasuredEvent<'a>> for MetricExcerpt<'a> {
    fn from(event: MeasuredEvent<'a>) -> Self {
        let metric = event.metric;
        let finding = &metric.finding;
        let reading = match (finding.is.as_ref(), finding.value) {
            ("value", Some(value)) => Reading::Value(value),
            ("above", Some(value)) => Reading::Above(value),
            ("below", Some(value)) => Reading::Below(value),
            _ => Reading::Unknown,
        };
        Self {
            u: finding.u.unwrap_or(0.0),
            common: metric.common,
            scenario: metric.scenario,
            key: renamed(&metric.key).map_or(metric.key, Cow::Borrowed),
            at: metric.at,
            dimension: metric.dimension,
            reading,
            limit: event.limit.map(|limit| (limit.lower, limit.upper)),
            verdict: event.decision.map(|decision| decision.verdict),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Content, Line, samples};

    /// The lines of a run give the same excerpts as its record.
    #[test]
    fn lines_and_record_say_the_same() {
        let started = samples::started("r-1", "GR-0042", false);
        let entries = samples::numbered(samples::events(started, samples::value(0.02, 1e-5)));
        let record = Record::fold(&entries).expect("a run");
        let texts: Vec<String> = entries
            .into_iter()
            .map(|entry| {
                let run = record.started.run.clone();
                let content = Content::Entry(entry);
                Line { run, content }.text().expect("faithful")
            })
            .collect();
        let read: Vec<Excerpt<'_>> = texts
            .iter()
            .map(|text| Excerpt::read(text).expect("a line"))
            .filter(|excerpt| *excerpt != Excerpt::Other)
            .collect();
        let told: Vec<Excerpt<'_>> = record.excerpts().collect();
        assert_eq!(read, told);
        assert!(told.len() > 5);
    }
}
