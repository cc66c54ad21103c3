//! One capture out of a run: from the store, or out of a file that `records
//! export` handed out, which is checked first. It changes no record and judges
//! no board.

use super::source::{Format, bare, quantity};
use super::stream::{Trouble, plain_file};
use super::voltage::{Behind, Channel, in_turn, voltage};
use crate::capture_file::Samples;
use crate::cli::arguments::Inspect;
use crate::cli::records;
use crate::cli::store_fault::store_exit;
use crate::inspection::{Ahead, Analogue, Inspection, Piece, recorded_trip};
use crate::record::{LONGEST_OBSERVATION, from_bytes};
use crate::report::check_bundle;
use crate::scenario::Observation;
use crate::units::{Dimension, Quantity};
use crate::waveform::{Capture, Channel as Recorded, Signal};
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::io::BufReader;
use std::ops::Range;
use std::path::Path;

/// Captures listed where none is named.
const LISTED: usize = 60;

pub(super) fn capture(arguments: &Inspect, format: Format) -> Result<Inspection, Trouble> {
    let observations = match format {
        Format::Bundle => handed_out(&arguments.capture)?,
        _ => kept(arguments)?,
    };
    let captures: Vec<&Capture> = observations
        .iter()
        .flat_map(|seen| seen.takes())
        .map(|take| &take.capture)
        .collect();
    let capture = chosen(&captures, arguments.take.as_deref())?;
    inspected(arguments, format, capture)
}

/// What every run's file has; the rest is passed over without being kept.
#[derive(Deserialize)]
struct Shape {
    #[serde(rename = "format")]
    _format: u32,
    #[serde(rename = "record")]
    _record: IgnoredAny,
    #[serde(rename = "chain")]
    _chain: IgnoredAny,
    #[serde(rename = "bytes")]
    _bytes: IgnoredAny,
}

/// What a run's file holds, if it is what was handed out.
fn handed_out(path: &Path) -> Result<Vec<Observation>, Trouble> {
    // Base64 takes a third more; a run has a dozen observations at most.
    let most = 16 * LONGEST_OBSERVATION as u64;
    let file = plain_file(path)?;
    if file.metadata()?.len() > most {
        return Err(Trouble::File("it is too long for a run's file".to_owned()));
    }
    // Any other file is found out without being held in memory.
    let shape: Result<Shape, _> = serde_json::from_reader(BufReader::new(&file));
    shape.map_err(|fault| {
        Trouble::File(format!(
            "this is not a run handed out by `records export`: {fault}"
        ))
    })?;
    let text = std::fs::read_to_string(path)?;
    let whole = check_bundle(&text).map_err(|fault| Trouble::File(fault.to_string()))?;
    let seen = whole.record.scenarios.iter().flat_map(|s| &s.observations);
    let digests: Vec<_> = seen.copied().collect();
    let observed = |bytes: &&(String, Vec<u8>)| {
        let digest = crate::digest::Digest::of(&bytes.1);
        digests.contains(&digest)
    };
    let decoded = |(name, bytes): &(String, Vec<u8>)| {
        from_bytes(bytes).map_err(|fault| Trouble::File(format!("{name}: {fault}")))
    };
    whole.bytes.iter().filter(observed).map(decoded).collect()
}

/// What the store kept of the run, or of the last run of that board.
fn kept(arguments: &Inspect) -> Result<Vec<Observation>, Trouble> {
    let which = arguments.capture.to_string_lossy();
    let reader = records::open(&arguments.place).map_err(Trouble::Told)?;
    let run = records::known(&reader, &which).map_err(Trouble::Told)?;
    let record = records::record(&reader, &run).map_err(Trouble::Told)?;
    let seen = record.scenarios.iter().flat_map(|s| &s.observations);
    let told = seen.map(|digest| reader.observation(digest));
    let told = told.filter_map(Result::transpose);
    told.map(|seen| seen.map_err(|fault| Trouble::Told(store_exit(&fault))))
        .collect()
}

/// The capture of that number, counted from 1, or of those words.
fn chosen<'a>(captures: &[&'a Capture], take: Option<&str>) -> Result<&'a Capture, Trouble> {
    let list = || {
        let named = captures.iter().enumerate().take(LISTED);
        let named: Vec<String> = named
            .map(|(index, capture)| format!("  {:>2}  {}", index + 1, capture.label))
            .collect();
        named.join("\n")
    };
    match (captures, take) {
        ([], _) => Err(Trouble::Usage("the run keeps no capture".to_owned())),
        ([only], None) => Ok(only),
        (_, None) => Err(Trouble::Usage(format!(
            "name the capture to read with --select, by its number or words; the run has:\n{}",
            list()
        ))),
        (_, Some(take)) => {
            let number = take.parse::<usize>().ok();
            let by_number = number.and_then(|n| captures.get(n.checked_sub(1)?));
            let by_words = || captures.iter().find(|capture| capture.label == take);
            by_number.or_else(by_words).copied().ok_or_else(|| {
                Trouble::Usage(format!(
                    "there is no capture '{take}'; the run has:\n{}",
                    list()
                ))
            })
        }
    }
}

fn inspected(
    arguments: &Inspect,
    format: Format,
    capture: &Capture,
) -> Result<Inspection, Trouble> {
    let onset = quantity("--onset", arguments.onset.as_ref(), Dimension::Current)?;
    let current = match (&arguments.current, onset) {
        (Some(name), _) => Some(signal(capture, "--current", name, Dimension::Current)?),
        (None, Some(_)) => Some(Signal::OutputCurrent),
        (None, None) => None,
    };
    let column = match (&arguments.column, current) {
        (Some(name), _) => Some(signal(capture, "--column", name, Dimension::Voltage)?),
        (None, Some(_)) => None,
        (None, None) => Some(Signal::NodeVoltage),
    };
    let read: Vec<&str> = column.iter().chain(&current).map(|s| s.words()).collect();
    let what = format!("{}: {}", capture.label, read.join(", "));
    let mut inspection = bare(arguments, format, what);
    inspection.samples = capture.len() as u64;
    inspection.period = capture.period.si();
    inspection.period_from = "as recorded";
    inspection.length = capture.len() as f64 * capture.period.si();
    inspection.scale_known = true;
    let channel = |signal| {
        capture.channel(signal).ok_or_else(|| {
            let there: Vec<&str> = capture.channels.iter().map(|c| c.signal.words()).collect();
            let there = there.join(", ");
            Trouble::Usage(format!("the capture has no {signal}; it has: {there}"))
        })
    };
    if let Some(column) = column {
        let channel = channel(column)?;
        let analogue = Analogue::recorded(capture, channel);
        if channel.clipped {
            let words = "a sample reached the end of the range: levels may be more";
            inspection.odd.push(words.to_owned());
        }
        voltage(&mut inspection, &analogue, arguments, &Kept(channel))?;
    }
    if let (Some(current), Some(onset)) = (current, onset) {
        channel(current)?;
        inspection.trip = Some(recorded_trip(capture, current, onset));
    }
    Ok(inspection)
}

fn signal(
    capture: &Capture,
    option: &str,
    name: &str,
    dimension: Dimension,
) -> Result<Signal, Trouble> {
    let known = capture.channels.iter().map(|channel| channel.signal);
    let known: Vec<Signal> = known.filter(|s| s.dimension() == dimension).collect();
    let found = known.iter().find(|signal| signal.words() == name);
    found.copied().ok_or_else(|| {
        let known: Vec<&str> = known.iter().map(|signal| signal.words()).collect();
        let known = known.join(", ");
        Trouble::Usage(format!("{option} {name}: the capture has: {known}"))
    })
}

/// A channel as it was recorded.
struct Kept<'a>(&'a Recorded);

impl Channel for Kept<'_> {
    fn whole(&self, ahead: Ahead<'_>, behind: &mut [Behind<'_>]) -> Result<(), Trouble> {
        in_turn(ahead, behind)(Piece::Even(Samples::I16(&self.0.codes)));
        Ok(())
    }

    fn part(&self, wanted: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        let codes = &self.0.codes;
        let place = |at: u64| usize::try_from(at).unwrap_or(usize::MAX).min(codes.len());
        each(Piece::Even(Samples::I16(
            &codes[place(wanted.start)..place(wanted.end)],
        )));
        Ok(())
    }

    fn part_from(&self, wanted: u64) -> u64 {
        wanted
    }
}
