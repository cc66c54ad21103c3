//! The passes over a file that make an inspection: what it holds, the signal in
//! it, and once more for the stretches worth drawing. It formats nothing.

use super::source::{ArrayScale, Format, array_scale, channel, quantity};
use super::stream::{Columns, Trouble, csv, npy, npy_facts, npy_part};
use super::voltage::{Channel, voltage};
use crate::capture_file::Samples;
use crate::cli::arguments::Inspect;
use crate::inspection::{Analogue, Audience, CurrentListener, Inspection, Piece, Trip, numbers};
use crate::track::Scale;
use crate::units::Dimension;
use crate::waveform::ChannelAccuracy;
use std::ops::Range;
use std::path::Path;

pub(super) fn inspection(arguments: &Inspect) -> Result<Inspection, Trouble> {
    use Format::{Bundle, Csv, Npy, Store, Vcd};
    let format = Format::of(&arguments.capture)?;
    // Which formats an option says something about.
    let options = [
        ("--wire", arguments.wire.is_some(), &[Vcd][..]),
        ("--rate", arguments.rate.is_some(), &[Vcd, Npy]),
        ("--scale", arguments.scale.is_some(), &[Npy]),
        ("--time-column", arguments.time_column.is_some(), &[Csv]),
        ("--decimal-comma", arguments.decimal_comma, &[Csv]),
        (
            "--column",
            arguments.column.is_some(),
            &[Csv, Npy, Bundle, Store],
        ),
        (
            "--current",
            arguments.current.is_some(),
            &[Csv, Npy, Bundle, Store],
        ),
        (
            "--onset",
            arguments.onset.is_some(),
            &[Csv, Npy, Bundle, Store],
        ),
        ("--select", arguments.take.is_some(), &[Bundle, Store]),
        ("--model", arguments.place.model, &[Store]),
    ];
    let misplaced =
        |(_, given, formats): &&(&str, bool, &[Format])| *given && !formats.contains(&format);
    if let Some((option, ..)) = options.iter().find(misplaced) {
        let words = format.words();
        return Err(Trouble::Usage(format!(
            "{option} says nothing about this format ({words})"
        )));
    }
    let of_file = matches!(format, Csv | Npy);
    if of_file && arguments.onset.is_some() && arguments.current.is_none() {
        return Err(Trouble::Usage(
            "--onset needs --current: which column holds the current".to_owned(),
        ));
    }
    match format {
        Format::Vcd => super::logic::logic(arguments),
        Format::Csv => table(arguments),
        Format::Npy => array(arguments),
        Format::Bundle | Format::Store => super::record::capture(arguments, format),
    }
}

/// The facts of a file, before what was heard in it.
pub(super) fn bare(arguments: &Inspect, format: Format, channel: String) -> Inspection {
    let name = arguments.capture.file_name().unwrap_or_default();
    let file = name.to_string_lossy().into_owned();
    let at = Audience::from(arguments.at);
    Inspection::new(file, format.words(), channel, at)
}

/// A file does not say how far its scale can be trusted.
const UNKNOWN: ChannelAccuracy = ChannelAccuracy {
    gain_u: 0.0,
    offset_u: 0.0,
};

/// A step within this share of the mean counts as even.
const EVEN: f64 = 0.02;

const fn columns<'a>(arguments: &'a Inspect, names: &'a [&'a str]) -> Columns<'a> {
    Columns {
        comma: arguments.decimal_comma,
        time: match &arguments.time_column {
            Some(name) => Some(name.as_str()),
            None => None,
        },
        names,
    }
}

fn table(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let path = arguments.capture.as_path();
    let named: Vec<&str> = [&arguments.column, &arguments.current]
        .into_iter()
        .flatten()
        .map(String::as_str)
        .collect();
    // Named columns alone are read: others may hold text.
    let summary = csv(path, columns(arguments, &named), &mut |_, _| {})?;
    let (from, to) = summary.time;
    let mean = (to - from) / (summary.rows.max(2) - 1) as f64;
    let even = summary.rows > 1 && summary.step.1 - summary.step.0 <= EVEN * mean;
    let column = match (&arguments.column, &arguments.current) {
        (Some(column), _) => Some(column.clone()),
        (None, Some(_)) => None,
        (None, None) => match summary.columns.as_slice() {
            [only] => Some(only.name.clone()),
            several => {
                let names: Vec<&str> = several.iter().take(8).map(|c| c.name.as_str()).collect();
                let names = names.join(", ");
                return Err(Trouble::Usage(format!(
                    "name the column to read with --column; the file has: {names}"
                )));
            }
        },
    };
    let read = column.iter().chain(&arguments.current);
    let names: Vec<String> = read.map(|name| format!("column {name}")).collect();
    let mut inspection = bare(arguments, Format::Csv, names.join(", "));
    inspection.samples = summary.rows;
    inspection.period = if even { mean } else { summary.step.1 };
    inspection.period_from = if even {
        "from the time column"
    } else {
        "the longest of uneven steps"
    };
    inspection.length = to - from;
    if summary.rows < 2 {
        inspection.odd.push("a single sample".to_owned());
        return Ok(inspection);
    }
    if let Some(column) = &column {
        let channel = Analogue {
            period: inspection.period,
            scale: Scale::VOLTS,
            first: from,
            samples: inspection.samples,
            accuracy: UNKNOWN,
            time_base_u: 0.0,
        };
        let names = [column.as_str()];
        let rows = TableChannel {
            path,
            columns: columns(arguments, &names),
            even,
        };
        voltage(&mut inspection, &channel, arguments, &rows)?;
    }
    if let Some(current) = &arguments.current {
        let pass = |each: &mut dyn FnMut(f64)| {
            csv(path, columns(arguments, &[current]), &mut |_, values| {
                each(values[0])
            })
            .map(|_| ())
        };
        let even = even.then_some((from, mean, 0.0));
        inspection.trip = Some(current_trip(arguments, even, &pass)?);
    }
    Ok(inspection)
}

fn array(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let path = arguments.capture.as_path();
    let current = channel("--current", arguments.current.as_ref())?;
    let column = channel("--column", arguments.column.as_ref())?;
    let facts = npy_facts(path, column.or(current).unwrap_or(0))?;
    let column = match (column, current) {
        (None, None) if facts.channels > 1 => {
            return Err(Trouble::Usage(format!(
                "name the channel to read with --column; the file has {}, counted from 0",
                facts.channels
            )));
        }
        (None, None) => Some(0),
        (column, _) => column,
    };
    if column.is_some() && current.is_some() {
        return Err(Trouble::Usage(
            "an array has one scale: inspect its voltage and its current one after the other"
                .to_owned(),
        ));
    }
    let dimension = if current.is_some() {
        Dimension::Current
    } else {
        Dimension::Voltage
    };
    let ArrayScale { period, step } = array_scale(arguments, dimension)?;
    let number = column.or(current).unwrap_or(0);
    let mut inspection = bare(arguments, Format::Npy, format!("channel {number}"));
    inspection.samples = facts.samples;
    inspection.period = period;
    inspection.period_from = "as given";
    inspection.length = facts.samples as f64 * period;
    let steps = !matches!(
        facts.kind,
        crate::capture_file::NpyType::F32 | crate::capture_file::NpyType::F64
    );
    let unit = if steps { 1.0 } else { 0.0 };
    if let Some(column) = column {
        let channel = Analogue {
            period,
            scale: Scale {
                gain: step,
                offset: 0.0,
                step: unit,
            },
            first: 0.0,
            samples: facts.samples,
            accuracy: UNKNOWN,
            time_base_u: 0.0,
        };
        let samples = ArrayChannel { path, column };
        voltage(&mut inspection, &channel, arguments, &samples)?;
    }
    if let Some(current) = current {
        let pass = |each: &mut dyn FnMut(f64)| {
            let mut scaled = |samples: Samples<'_>| numbers(samples, |raw| each(raw * step));
            npy(path, current, &mut scaled).map(|_| ())
        };
        let even = Some((0.0, period, step * unit));
        inspection.trip = Some(current_trip(arguments, even, &pass)?);
    }
    Ok(inspection)
}

/// A column of a table.
struct TableChannel<'a> {
    path: &'a Path,
    columns: Columns<'a>,
    even: bool,
}

/// Rows handed on together.
const ROWS: usize = 4096;

impl Channel for TableChannel<'_> {
    fn whole(&self, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        let mut rows = Vec::with_capacity(ROWS);
        csv(self.path, self.columns, &mut |time, values| {
            if !self.even {
                return each(Piece::At(time, values[0]));
            }
            rows.push(values[0]);
            if rows.len() == ROWS {
                each(Piece::Even(Samples::F64(&rows)));
                rows.clear();
            }
        })?;
        each(Piece::Even(Samples::F64(&rows)));
        Ok(())
    }

    /// A table must be read from its beginning.
    fn part(&self, _: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        self.whole(each)
    }

    fn part_from(&self, _: u64) -> u64 {
        0
    }
}

/// A channel of an array.
struct ArrayChannel<'a> {
    path: &'a Path,
    column: usize,
}

impl Channel for ArrayChannel<'_> {
    fn whole(&self, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        npy(self.path, self.column, &mut |samples| {
            each(Piece::Even(samples));
        })
        .map(|_| ())
    }

    fn part(&self, wanted: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        npy_part(self.path, self.column, wanted, &mut |samples| {
            each(Piece::Even(samples));
        })
    }

    fn part_from(&self, wanted: u64) -> u64 {
        wanted
    }
}

type Values<'a> = dyn Fn(&mut dyn FnMut(f64)) -> Result<(), Trouble> + 'a;

/// A trip in a current whose samples are even: first instant, period, step.
fn current_trip(
    arguments: &Inspect,
    even: Option<(f64, f64, f64)>,
    pass: &Values<'_>,
) -> Result<Trip, Trouble> {
    let onset = quantity("--onset", arguments.onset.as_ref(), Dimension::Current)?
        .ok_or_else(|| Trouble::Usage("--current needs --onset".to_owned()))?;
    let Some((first, period, step)) = even else {
        return Ok(Trip::nothing(
            onset,
            "samples at uneven steps are not looked through for a trip",
        ));
    };
    let mut listener = CurrentListener::new(first, period, step, onset);
    pass(&mut |value| listener.push(value))?;
    Ok(listener.finish())
}
