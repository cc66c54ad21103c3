//! The passes over a file that make an inspection: what it holds, the signal in
//! it, and once more for the stretches worth drawing. It formats nothing.

use super::source::{ArrayScale, Format, array_scale, bare, channel, quantity, table_wish};
use super::stream::{Trouble, array as read_array, array_abreast, array_facts, array_part, csv};
use super::voltage::{Behind, Channel, in_turn, voltage};
use crate::capture_file::{CsvWish, NpyType, Samples};
use crate::cli::arguments::Inspect;
use crate::inspection::{
    Ahead, Analogue, CurrentListener, Inspection, Noticed, Piece, Trip, numbers,
};
use crate::units::Dimension;
use std::ops::Range;
use std::path::Path;

pub(super) fn inspection(arguments: &Inspect) -> Result<Inspection, Trouble> {
    use Format::{Bundle, Csv, Npy, Store, Vcd, Wav};
    let format = Format::of(&arguments.capture)?;
    // Which formats an option says something about.
    let options = [
        ("--wire", arguments.wire.is_some(), &[Vcd][..]),
        ("--logic", arguments.logic, &[Csv]),
        ("--rate", arguments.rate.is_some(), &[Vcd, Csv, Npy, Wav]),
        ("--scale", arguments.scale.is_some(), &[Csv, Npy, Wav]),
        ("--offset", arguments.offset.is_some(), &[Csv, Npy, Wav]),
        ("--start", arguments.start.is_some(), &[Csv]),
        ("--time-column", arguments.time_column.is_some(), &[Csv]),
        ("--time-unit", arguments.time_unit.is_some(), &[Csv]),
        ("--separator", arguments.separator.is_some(), &[Csv]),
        ("--decimal-comma", arguments.decimal_comma, &[Csv]),
        ("--decimal-point", arguments.decimal_point, &[Csv]),
        ("--thousands", arguments.thousands.is_some(), &[Csv]),
        ("--no-header", arguments.no_header, &[Csv]),
        (
            "--column",
            arguments.column.is_some(),
            &[Csv, Npy, Wav, Bundle, Store],
        ),
        (
            "--current",
            arguments.current.is_some(),
            &[Csv, Npy, Wav, Bundle, Store],
        ),
        (
            "--onset",
            arguments.onset.is_some(),
            &[Csv, Npy, Wav, Bundle, Store],
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
    let of_file = matches!(format, Csv | Npy | Wav);
    if of_file && arguments.onset.is_some() && arguments.current.is_none() {
        return Err(Trouble::Usage(
            "--onset needs --current: which column holds the current".to_owned(),
        ));
    }
    match format {
        Format::Vcd => super::logic::logic(arguments),
        Format::Csv => table(arguments),
        Format::Npy | Format::Wav => array(arguments, format),
        Format::Bundle | Format::Store => super::record::capture(arguments, format),
    }
}

fn table(arguments: &Inspect) -> Result<Inspection, Trouble> {
    let path = arguments.capture.as_path();
    let named = arguments.column.iter().chain(&arguments.current);
    let named: Vec<&str> = named.map(String::as_str).collect();
    // Named columns alone are read: others may hold text.
    let wish = table_wish(arguments, &named)?;
    let summary = csv(path, &wish, &mut |_, _| {})?;
    let (from, to) = summary.time;
    let even = summary.period.is_some();
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
    if let Some(name) = &column {
        let one = wish.clone().of(name);
        let bare_logic = summary.logic[0] && summary.columns[0].dimension.is_none();
        let unscaled = arguments.scale.is_none() && arguments.current.is_none();
        if arguments.logic || (bare_logic && unscaled) {
            let mut inspection = super::logic::logic_table(arguments, &one, &summary, name)?;
            inspection.odd.extend(summary.notes);
            return Ok(inspection);
        }
    }
    let read = column.iter().chain(&arguments.current);
    let names: Vec<String> = read.map(|name| format!("column {name}")).collect();
    let mut inspection = bare(arguments, Format::Csv, names.join(", "));
    inspection.samples = summary.rows;
    inspection.period = summary.period.unwrap_or(summary.step.1);
    inspection.period_from = match (arguments.rate.is_some(), even) {
        (true, _) => "as given",
        (false, true) => "from the time column",
        (false, false) => "the longest of uneven steps",
    };
    inspection.odd.clone_from(&summary.notes);
    inspection.length = to - from;
    if summary.rows < 2 {
        inspection.odd.push("a single sample".to_owned());
        return Ok(inspection);
    }
    if let Some(column) = &column {
        let channel = Analogue::of_table(from, inspection.period, inspection.samples);
        let rows = TableChannel {
            path,
            wish: wish.clone().of(column),
            even,
        };
        voltage(&mut inspection, &channel, arguments, &rows)?;
    }
    if let Some(current) = &arguments.current {
        let pass = |each: &mut dyn FnMut(f64)| {
            csv(path, &wish.clone().of(current), &mut |_, values| {
                each(values[0]);
            })
            .map(|_| ())
        };
        let even = summary.period.map(|period| (from, period, 0.0));
        inspection.trip = Some(current_trip(arguments, even, &pass)?);
    }
    Ok(inspection)
}

fn array(arguments: &Inspect, format: Format) -> Result<Inspection, Trouble> {
    let path = arguments.capture.as_path();
    let current = channel("--current", arguments.current.as_ref())?;
    let column = channel("--column", arguments.column.as_ref())?;
    let said = array_facts(path, format, column.or(current).unwrap_or(0))?;
    let facts = said.array;
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
    let ArrayScale {
        period,
        step,
        offset,
    } = array_scale(arguments, dimension, said.rate)?;
    if facts.samples as f64 * period > LONGEST {
        return Err(Trouble::Usage(format!(
            "--rate: {} samples so far apart last longer than can be held",
            facts.samples
        )));
    }
    if facts.kind == NpyType::Bool && offset == 0.0 {
        return Err(Trouble::Usage(
            "it holds truths, false and true: say what they are in volts, such as --scale \"30 V\" --offset \"-15 V\""
                .to_owned(),
        ));
    }
    let number = column.or(current).unwrap_or(0);
    let mut inspection = bare(arguments, format, format!("channel {number}"));
    inspection.samples = facts.samples;
    inspection.period = period;
    inspection.period_from = match (arguments.rate.is_some(), said.rate) {
        (false, Some(_)) => "as the file says",
        _ => "as given",
    };
    inspection.length = facts.samples as f64 * period;
    let unit = if facts.kind.is_float() { 0.0 } else { 1.0 };
    if let Some(column) = column {
        let scale = (step, offset, unit);
        let channel = Analogue::of_array(period, scale, facts.kind.codes(), facts.samples);
        let samples = ArrayChannel {
            path,
            format,
            column,
        };
        voltage(&mut inspection, &channel, arguments, &samples)?;
    }
    if let Some(current) = current {
        let pass = |each: &mut dyn FnMut(f64)| {
            let mut scaled = |raw: f64| each(raw * step + offset);
            read_array(path, format, current, &mut |samples| {
                numbers(samples, &mut scaled);
            })
        };
        let even = Some((0.0, period, step * unit));
        inspection.trip = Some(current_trip(arguments, even, &pass)?);
    }
    Ok(inspection)
}

/// A column of a table.
struct TableChannel<'a> {
    path: &'a Path,
    wish: CsvWish,
    even: bool,
}

/// Rows handed on together.
const ROWS: usize = 4096;

impl Channel for TableChannel<'_> {
    fn whole(&self, ahead: Ahead<'_>, behind: &mut [Behind<'_>]) -> Result<(), Trouble> {
        self.rows(&mut in_turn(ahead, behind))
    }

    /// A table must be read from its beginning.
    fn part(&self, _: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        self.rows(each)
    }

    fn part_from(&self, _: u64) -> u64 {
        0
    }
}

impl TableChannel<'_> {
    fn rows(&self, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        let mut rows = Vec::with_capacity(ROWS);
        csv(self.path, &self.wish, &mut |time, values| {
            if !self.even {
                return each(Piece::At(time, values[0]));
            }
            rows.push(values[0]);
            if rows.len() == ROWS {
                each(Piece::Even(Samples::F64(&rows)));
                rows.clear();
            }
        })?;
        // Uneven rows were handed on one by one.
        if !rows.is_empty() {
            each(Piece::Even(Samples::F64(&rows)));
        }
        Ok(())
    }
}

/// A channel of an array or a sound file.
struct ArrayChannel<'a> {
    path: &'a Path,
    format: Format,
    column: usize,
}

impl Channel for ArrayChannel<'_> {
    fn whole(&self, mut ahead: Ahead<'_>, behind: &mut [Behind<'_>]) -> Result<(), Trouble> {
        let even = behind.iter_mut().map(|take| {
            move |samples: Samples<'_>, noticed: &mut Noticed| take(Piece::Even(samples), noticed)
        });
        array_abreast(
            (self.path, self.format, self.column),
            &mut |samples, noticed| ahead.take(Piece::Even(samples), noticed),
            &mut even.collect::<Vec<_>>(),
        )
    }

    fn part(&self, wanted: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble> {
        array_part(
            self.path,
            self.format,
            self.column,
            wanted,
            &mut |samples| {
                each(Piece::Even(samples));
            },
        )
    }

    fn part_from(&self, wanted: u64) -> u64 {
        wanted
    }
}

/// Instants are held in picoseconds of 64 bits, s.
const LONGEST: f64 = 9e6;

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
