//! The command line and what stands beside the file, to a checked description
//! of what to read. It reads no samples.

use super::stream::Trouble;
use crate::capture_file::{CsvDialect, CsvWish};
use crate::cli::arguments::Inspect;
use crate::document::{Demand, Faults, LARGEST_FILE, Reader, Source, Table, Tree, render};
use crate::inspection::{Audience, Inspection};
use crate::units::{Dimension, Hertz, Quantity, parse_si, show};
use std::path::Path;

/// The format of a capture file, told by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    Vcd,
    Csv,
    Npy,
    /// A sound file.
    Wav,
    /// A run handed out as a file.
    Bundle,
    /// A run in the store.
    Store,
}

impl Format {
    pub(super) fn of(path: &Path) -> Result<Self, Trouble> {
        let ending = path.extension().and_then(|ending| ending.to_str());
        match ending.map(str::to_ascii_lowercase).as_deref() {
            Some("vcd") => Ok(Self::Vcd),
            Some("csv" | "tsv" | "txt") => Ok(Self::Csv),
            Some("npy") => Ok(Self::Npy),
            Some("wav") => Ok(Self::Wav),
            Some("json") => Ok(Self::Bundle),
            // A serial number may hold a point.
            _ if !path.exists() && path.components().count() == 1 => Ok(Self::Store),
            _ => Err(Trouble::Usage(
                "its name must end in .vcd, .csv (.tsv, .txt), .npy, .wav or .json, so that its format is known"
                    .to_owned(),
            )),
        }
    }

    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Vcd => "value change dump, logic",
            Self::Csv => "CSV, analogue",
            Self::Npy => ".npy array, analogue",
            Self::Wav => "sound file, analogue",
            Self::Bundle => "a run's file",
            Self::Store => "a run of the store",
        }
    }
}

/// A quantity from the command line, more than zero.
pub(super) fn quantity(
    option: &str,
    text: Option<&String>,
    dimension: Dimension,
) -> Result<Option<f64>, Trouble> {
    let within = |si| {
        let (least, most) = sensible(dimension);
        (least..=most).contains(&si)
    };
    match signed(option, text, dimension)? {
        None => Ok(None),
        Some(si) if si <= 0.0 => Err(Trouble::Usage(format!("{option} must be more than zero"))),
        Some(si) if !within(si) => {
            let (least, most) = sensible(dimension);
            Err(Trouble::Usage(format!(
                "{option} must be from {} to {}",
                show(least, dimension),
                show(most, dimension)
            )))
        }
        found => Ok(found),
    }
}

/// A quantity from the command line, of either sign.
fn signed(
    option: &str,
    text: Option<&String>,
    dimension: Dimension,
) -> Result<Option<f64>, Trouble> {
    let Some(text) = text else { return Ok(None) };
    let wrong = |why: String| Trouble::Usage(format!("{option} {text}: {why}"));
    let si = parse_si(text, dimension).map_err(|fault| wrong(fault.to_string()))?;
    if si.abs() > sensible(dimension).1 {
        let most = show(sensible(dimension).1, dimension);
        return Err(wrong(format!("it is more than {most}")));
    }
    Ok(Some(si))
}

/// Beyond these a number on the command line is a slip, and what is computed
/// from it could not be held.
const fn sensible(dimension: Dimension) -> (f64, f64) {
    match dimension {
        // Instants are held in picoseconds.
        Dimension::Frequency => (1e-3, 1e12),
        Dimension::Time => (1e-12, 1e6),
        _ => (1e-12, 1e9),
    }
}

/// Samples a second, as given.
pub(super) fn rate(arguments: &Inspect) -> Result<Option<f64>, Trouble> {
    quantity("--rate", arguments.rate.as_ref(), Dimension::Frequency)
}

/// Period (s) of the samples of an array, volts or amperes of a step, and at
/// code zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ArrayScale {
    pub(super) period: f64,
    /// Volts or amperes.
    pub(super) step: f64,
    pub(super) offset: f64,
}

/// From `--rate`, `--scale` and `--offset`, else from the TOML file of the same
/// base name; of a sound file the rate is its own unless one is given.
pub(super) fn array_scale(
    arguments: &Inspect,
    dimension: Dimension,
    own_rate: Option<f64>,
) -> Result<ArrayScale, Trouble> {
    let rate = rate(arguments)?.or(own_rate);
    let scale = quantity("--scale", arguments.scale.as_ref(), dimension)?;
    let offset = signed("--offset", arguments.offset.as_ref(), dimension)?;
    let told = match (rate, scale) {
        (Some(_), Some(_)) => None,
        _ => beside(&arguments.capture.with_extension("toml"), dimension)?,
    };
    let missing = |what: &str, example: &str| {
        Trouble::Usage(format!(
            "the file does not say its {what}: give --{what} \"{example}\", or a TOML file of the same base name"
        ))
    };
    let of = |part: fn(&Beside) -> f64| told.as_ref().map(part);
    let rate = rate
        .or(of(|told| told.rate))
        .ok_or_else(|| missing("rate", "1 MHz"))?;
    let step = scale
        .or(of(|told| told.scale))
        .ok_or_else(|| missing("scale", "0.1 V"))?;
    let offset = offset.or(of(|told| told.offset)).unwrap_or(0.0);
    Ok(ArrayScale {
        period: 1.0 / rate,
        step,
        offset,
    })
}

/// What the command line says of a table whose columns so named are read.
pub(super) fn table_wish(arguments: &Inspect, columns: &[&str]) -> Result<CsvWish, Trouble> {
    let dimension = match (&arguments.column, &arguments.current) {
        (None, Some(_)) => Dimension::Current,
        _ => Dimension::Voltage,
    };
    let scale = quantity("--scale", arguments.scale.as_ref(), dimension)?;
    let offset = signed("--offset", arguments.offset.as_ref(), dimension)?;
    let unit = |unit: &String| {
        parse_si(&format!("1 {unit}"), Dimension::Time)
            .map_err(|fault| Trouble::Usage(format!("--time-unit {unit}: {fault}")))
    };
    if arguments.rate.is_some() && arguments.time_column.is_some() {
        return Err(Trouble::Usage(
            "--rate counts the rows, --time-column reads their times: give one of them".to_owned(),
        ));
    }
    Ok(CsvWish {
        dialect: CsvDialect {
            separator: arguments.separator.map(|separator| separator.byte()),
            decimal: match (arguments.decimal_comma, arguments.decimal_point) {
                (true, _) => Some(b','),
                (_, true) => Some(b'.'),
                _ => None,
            },
            thousands: arguments.thousands.map(|mark| mark.byte()),
        },
        columns: columns.iter().map(|&name| name.to_owned()).collect(),
        time: arguments.time_column.clone(),
        unnamed: arguments.no_header,
        time_unit: arguments.time_unit.as_ref().map(unit).transpose()?,
        increment: rate(arguments)?.map(|rate| 1.0 / rate),
        start: signed("--start", arguments.start.as_ref(), Dimension::Time)?,
        scale: match (scale, offset) {
            (None, None) => None,
            (scale, offset) => Some((scale.unwrap_or(1.0), offset.unwrap_or(0.0))),
        },
    })
}

/// What stands beside an array.
struct Beside {
    rate: f64,
    scale: f64,
    offset: f64,
}

fn beside(path: &Path, dimension: Dimension) -> Result<Option<Beside>, Trouble> {
    let Ok(facts) = std::fs::metadata(path) else {
        return Ok(None);
    };
    if !facts.is_file() || facts.len() > LARGEST_FILE {
        let name = path.display();
        return Err(Trouble::File(format!("{name} is not a short plain file")));
    }
    let bytes = std::fs::read(path)?;
    let name = path.display().to_string();
    let source = Source::from_bytes(&name, &bytes)
        .map_err(|_| Trouble::File(format!("{name} is no text")))?;
    let mut faults = Faults::new();
    let faulty = |faults: &[crate::document::Fault]| {
        Trouble::File(render(faults, std::slice::from_ref(&source), false))
    };
    let Some(tree) = Tree::read(&source, &mut faults) else {
        return Err(faulty(&faults.into_list()));
    };
    let reader = Reader::new(faults);
    let root = Table::of(&tree, &reader);
    root.format();
    let rate = root.quantity::<Hertz>("rate", Demand::Positive);
    let scale = root.optional_si("scale", dimension, Demand::Positive);
    if scale.is_none() && !root.has("scale") {
        root.missing("scale", "volts or amperes of one step");
    }
    let offset = root.optional_si("offset", dimension, Demand::Any);
    root.finish();
    let both = rate
        .map(Quantity::si)
        .zip(scale)
        .map(|(rate, scale)| Beside {
            rate,
            scale,
            offset: offset.unwrap_or(0.0),
        });
    let (told, _) = reader.conclude(both).map_err(|faults| faulty(&faults))?;
    let (slow, fast) = sensible(Dimension::Frequency);
    if !(slow..=fast).contains(&told.rate) || told.scale > sensible(dimension).1 {
        return Err(Trouble::File(format!(
            "{name}: rate or scale is beyond what can be held"
        )));
    }
    Ok(Some(told))
}

/// A channel of an array from the command line.
pub(super) fn channel(option: &str, text: Option<&String>) -> Result<Option<usize>, Trouble> {
    text.map(|text| {
        text.parse()
            .map_err(|_| Trouble::Usage(format!("{option} of an array is a channel, from 0")))
    })
    .transpose()
}

/// The facts of a file, before what was heard in it.
pub(super) fn bare(arguments: &Inspect, format: Format, channel: String) -> Inspection {
    let name = arguments.capture.file_name().unwrap_or_default();
    let file = name.to_string_lossy().into_owned();
    let at = Audience::from(arguments.at);
    Inspection::new(file, format.words(), channel, at)
}
