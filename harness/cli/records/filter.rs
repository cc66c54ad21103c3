//! Which runs a list means: names and moments as they were typed, checked into a
//! filter. It reads the store and prints nothing but refusals.

use super::stored::record;
use crate::cli::arguments::RunFilter;
use crate::cli::exit::Exit;
use crate::cli::store_fault::store_exit;
use crate::ident::{LotName, Serial, harmless};
use crate::judgement::Verdict;
use crate::measurement::renamed;
use crate::record::{JudgedMetric, Record};
use crate::scenario::ScenarioKind;
use crate::store::{Filter, Reader, RunHeader};
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use std::str::FromStr;

/// A checked filter: what the list of runs answers, and what only the records
/// themselves do.
#[derive(Debug, Default)]
pub(super) struct Asked {
    filter: Filter,
    failing: Option<String>,
    failing_scenario: Option<String>,
    metric: Option<String>,
}

impl Asked {
    pub(super) fn of(typed: &RunFilter) -> Result<Self, Exit> {
        let until = typed.until.as_deref();
        let filter = Filter {
            serial: named::<Serial>("--serial", typed.serial.as_deref())?,
            lot: named::<LotName>("--lot", typed.lot.as_deref())?,
            verdict: typed.verdict.as_deref().map(verdict).transpose()?,
            from: typed
                .from
                .as_deref()
                .map(|text| moment("--from", text, false))
                .transpose()?,
            until: until
                .map(|text| moment("--until", text, true))
                .transpose()?,
            ..Filter::default()
        };
        let named = |option: &'static str, text: &Option<String>| {
            text.as_deref().map(|text| metric(option, text)).transpose()
        };
        Ok(Self {
            filter,
            failing: named("--failing", &typed.failing)?,
            failing_scenario: typed.failing_scenario.clone(),
            metric: named("--metric", &typed.metric)?,
        })
    }

    /// The headers of the runs asked for, oldest first.
    pub(super) fn runs<'a>(
        &'a self,
        reader: &'a Reader,
    ) -> impl Iterator<Item = Result<RunHeader, Exit>> + 'a {
        let mut filter = self.filter.clone();
        let failing = self.failing.is_some() || self.failing_scenario.is_some();
        if failing && filter.verdict.is_none() {
            // What failed in it fails a run.
            filter.verdict = Some(Verdict::Fail);
        }
        reader
            .runs(&filter)
            .map(|run| run.map_err(|fault| store_exit(&fault)))
            .filter_map(|run| {
                let kept = run.and_then(|run| Ok(self.holds(reader, &run)?.then_some(run)));
                kept.transpose()
            })
    }

    /// The metrics of a record that rows are made of.
    pub(super) fn narrowed(&self, mut record: Record) -> Record {
        if let Some(metric) = &self.metric {
            for scenario in &mut record.scenarios {
                scenario.metrics.retain(|m| m.metric.key == *metric);
            }
        }
        record
    }

    /// Whether the record of a run is asked for: only entries tell.
    fn holds(&self, reader: &Reader, run: &RunHeader) -> Result<bool, Exit> {
        let none = [&self.failing, &self.failing_scenario, &self.metric];
        if none.into_iter().all(Option::is_none) {
            return Ok(true);
        }
        let record = record(reader, &run.run)?;
        let metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
        let found = |key: &Option<String>, failed: bool| {
            key.as_ref().is_none_or(|key| {
                let is = |m: &JudgedMetric| m.metric.key == *key;
                let fails = |m: &JudgedMetric| !failed || m.verdict() == Some(Verdict::Fail);
                metrics.clone().any(|m| is(m) && fails(m))
            })
        };
        let failed = |name: &String| {
            let mut named = record.scenarios.iter().filter(|s| s.name == *name);
            named.any(|s| s.verdict == Some(Verdict::Fail))
        };
        Ok(found(&self.failing, true)
            && found(&self.metric, false)
            && self.failing_scenario.as_ref().is_none_or(failed))
    }
}

/// A name that was typed after `option`.
pub(in crate::cli) fn named<N: FromStr<Err: std::fmt::Display>>(
    option: &str,
    text: Option<&str>,
) -> Result<Option<N>, Exit> {
    let parsed = text.map(str::parse).transpose();
    parsed.map_err(|fault: N::Err| {
        warn_line!("{option} cannot be used: {fault}");
        Exit::Usage
    })
}

fn verdict(text: &str) -> Result<Verdict, Exit> {
    match text {
        "pass" => Ok(Verdict::Pass),
        "fail" => Ok(Verdict::Fail),
        "inconclusive" => Ok(Verdict::Inconclusive),
        other => {
            warn_line!(
                "--verdict {}: use pass, fail or inconclusive",
                harmless(other)
            );
            Err(Exit::Usage)
        }
    }
}

/// A day, whose first moment or (`end`) the moment after its last is meant, or
/// a moment.
fn moment(option: &str, text: &str, end: bool) -> Result<Timestamp, Exit> {
    if let Ok(moment) = text.parse::<Timestamp>() {
        return Ok(moment);
    }
    let day = text.parse::<Date>().ok().and_then(|day| {
        let day = if end {
            day.checked_add(1.day()).ok()?
        } else {
            day
        };
        TimeZone::UTC.to_timestamp(day.at(0, 0, 0, 0)).ok()
    });
    day.ok_or_else(|| {
        warn_line!(
            "{option} {}: write a day as 2026-03-31 or a moment as 2026-03-31T14:00:00Z",
            harmless(text)
        );
        Exit::Usage
    })
}

/// A metric of the catalogue; another name would silently match nothing.
fn metric(option: &str, text: &str) -> Result<String, Exit> {
    let metrics = ScenarioKind::ALL
        .iter()
        .flat_map(|kind| kind.entry().metrics);
    let mut known: Vec<&str> = metrics.map(|metric| metric.key).collect();
    known.sort_unstable();
    known.dedup();
    let present = renamed(text).unwrap_or(text);
    if known.contains(&present) {
        return Ok(present.to_owned());
    }
    warn_line!(
        "{option} {}: the metrics are {}",
        harmless(text),
        known.join(", ")
    );
    Err(Exit::Usage)
}
