//! The command line and what stands beside the file, to a checked description
//! of what to read. It reads no samples.

use super::stream::Trouble;
use crate::cli::arguments::Inspect;
use crate::document::{Demand, Faults, LARGEST_FILE, Reader, Source, Table, Tree, render};
use crate::units::{Dimension, Hertz, Quantity, parse_si};
use std::path::Path;

/// The format of a capture file, told by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Format {
    Vcd,
    Csv,
    Npy,
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
            Some("csv") => Ok(Self::Csv),
            Some("npy") => Ok(Self::Npy),
            Some("json") => Ok(Self::Bundle),
            // A serial number may hold a point.
            _ if !path.exists() && path.components().count() == 1 => Ok(Self::Store),
            _ => Err(Trouble::Usage(
                "its name must end in .vcd, .csv, .npy or .json, so that its format is known"
                    .to_owned(),
            )),
        }
    }

    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Vcd => "value change dump, logic",
            Self::Csv => "CSV, analogue",
            Self::Npy => ".npy array, analogue",
            Self::Bundle => "a run's file",
            Self::Store => "a run of the store",
        }
    }
}

/// A quantity from the command line.
pub(super) fn quantity(
    option: &str,
    text: Option<&String>,
    dimension: Dimension,
) -> Result<Option<f64>, Trouble> {
    let Some(text) = text else { return Ok(None) };
    match parse_si(text, dimension) {
        Ok(si) if si > 0.0 => Ok(Some(si)),
        Ok(_) => Err(Trouble::Usage(format!("{option} must be more than zero"))),
        Err(fault) => Err(Trouble::Usage(format!("{option} {text}: {fault}"))),
    }
}

/// Period (s) and units per step of an array.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct ArrayScale {
    pub(super) period: f64,
    /// Volts or amperes.
    pub(super) step: f64,
}

/// From `--rate` and `--scale`, else from the TOML file of the same base name.
pub(super) fn array_scale(
    arguments: &Inspect,
    dimension: Dimension,
) -> Result<ArrayScale, Trouble> {
    let rate = quantity("--rate", arguments.rate.as_ref(), Dimension::Frequency)?;
    let scale = quantity("--scale", arguments.scale.as_ref(), dimension)?;
    let (rate, scale) = match (rate, scale) {
        (Some(rate), Some(scale)) => (rate, scale),
        (rate, scale) => {
            let beside = beside(&arguments.capture.with_extension("toml"), dimension)?;
            let told = beside.unzip();
            let missing = |what: &str, example: &str| {
                Trouble::Usage(format!(
                    "an array does not say its {what}: give --{what} \"{example}\", or a TOML file of the same base name"
                ))
            };
            (
                rate.or(told.0).ok_or_else(|| missing("rate", "1 MHz"))?,
                scale.or(told.1).ok_or_else(|| missing("scale", "0.1 V"))?,
            )
        }
    };
    Ok(ArrayScale {
        period: 1.0 / rate,
        step: scale,
    })
}

fn beside(path: &Path, dimension: Dimension) -> Result<Option<(f64, f64)>, Trouble> {
    let Ok(facts) = std::fs::metadata(path) else {
        return Ok(None);
    };
    if facts.len() > LARGEST_FILE {
        return Err(Trouble::File(format!("{} is too long", path.display())));
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
    root.finish();
    let both = rate.map(Quantity::si).zip(scale);
    reader
        .conclude(both)
        .map(|(both, _)| Some(both))
        .map_err(|faults| faulty(&faults))
}

/// A channel of an array from the command line.
pub(super) fn channel(option: &str, text: Option<&String>) -> Result<Option<usize>, Trouble> {
    text.map(|text| {
        text.parse()
            .map_err(|_| Trouble::Usage(format!("{option} of an array is a channel, from 0")))
    })
    .transpose()
}
