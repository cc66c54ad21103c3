//! The words of a table's header: names, units in any spelling, and the keys
//! under which files say where rows begin and how far apart they are. It reads
//! no row.

use crate::units::{Dimension, parse_si};

/// A column as its header describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct CsvColumn {
    /// Its name without the unit.
    pub name: String,
    /// What it measures, where a unit was given.
    pub dimension: Option<Dimension>,
    /// SI units per unit of the column.
    pub factor: f64,
}

/// Name and unit as they are written: `time (us)`, `time [us]`, `t/us`,
/// `time in us`, `time, us`, `time_us`.
pub(super) fn parted(header: &str) -> (&str, Option<&str>) {
    let header = header.trim();
    let open = header.rfind(['(', '[']);
    let within = open.and_then(|open| {
        let unit = header[open + 1..].trim_end().strip_suffix([')', ']'])?;
        Some((header[..open].trim(), Some(unit.trim())))
    });
    if let Some(parted) = within {
        return parted;
    }
    for between in [" in ", "/", ",", "_", " "] {
        // Behind a blank a single letter is more likely a channel's, as in
        // `rail A`, and `min` the least.
        let doubtful = |unit: &str| {
            matches!(between, "_" | " ") && (unit.chars().count() < 2 || unit == "min")
        };
        if let Some((name, unit)) = header.rsplit_once(between)
            && !name.trim().is_empty()
            && !doubtful(unit.trim())
            && unit_of(unit).is_some()
        {
            return (name.trim(), Some(unit.trim()));
        }
    }
    (header, None)
}

/// A unit as a header's line below the names has it, without its brackets.
pub(super) fn bare(unit: &str) -> &str {
    let unit = unit.trim();
    let inner = unit.strip_prefix(['(', '[']);
    let inner = inner.and_then(|rest| rest.strip_suffix([')', ']']));
    inner.unwrap_or(unit).trim()
}

/// Words for units with what they measure. Prefixes may stand before them, as
/// words before words and as letters before letters.
const SPELLED: [(&str, Dimension); 12] = [
    ("second", Dimension::Time),
    ("seconds", Dimension::Time),
    ("sec", Dimension::Time),
    ("secs", Dimension::Time),
    ("sekunde", Dimension::Time),
    ("sekunden", Dimension::Time),
    ("volt", Dimension::Voltage),
    ("volts", Dimension::Voltage),
    ("ampere", Dimension::Current),
    ("amperes", Dimension::Current),
    ("amp", Dimension::Current),
    ("amps", Dimension::Current),
];
const PREFIXES: [(&str, &str); 8] = [
    ("pico", "1e-12"),
    ("nano", "1e-9"),
    ("micro", "1e-6"),
    ("mikro", "1e-6"),
    ("milli", "1e-3"),
    ("kilo", "1e3"),
    ("mega", "1e6"),
    ("giga", "1e9"),
];

/// SI units of one, and what it measures, if this is a unit of time, voltage or
/// current or a share.
pub(super) fn unit_of(unit: &str) -> Option<(f64, Dimension)> {
    let unit = bare(unit);
    if unit.is_empty() || unit.len() > 24 {
        return None;
    }
    let one = format!("1 {unit}");
    for dimension in [
        Dimension::Time,
        Dimension::Voltage,
        Dimension::Current,
        Dimension::Ratio,
    ] {
        if let Ok(factor) = parse_si(&one, dimension) {
            return Some((factor, dimension));
        }
    }
    let lower = unit.to_lowercase();
    let word = |text: &str| SPELLED.iter().find(|(name, _)| *name == text).map(|s| s.1);
    if let Some(dimension) = word(&lower) {
        return Some((1.0, dimension));
    }
    for (prefix, factor) in PREFIXES {
        if let Some(dimension) = lower
            .strip_prefix(prefix)
            .and_then(|rest| word(rest.trim()))
        {
            return Some((factor.parse().ok()?, dimension));
        }
    }
    // Capital letters where nothing else can be meant: `S`, `nS`, `uS`, `v`.
    match unit {
        "S" => Some((1.0, Dimension::Time)),
        "mS" => Some((1e-3, Dimension::Time)),
        "uS" | "\u{b5}S" | "\u{3bc}S" => Some((1e-6, Dimension::Time)),
        "nS" => Some((1e-9, Dimension::Time)),
        "v" => Some((1.0, Dimension::Voltage)),
        "mv" => Some((1e-3, Dimension::Voltage)),
        "a" => Some((1.0, Dimension::Current)),
        "ma" => Some((1e-3, Dimension::Current)),
        _ => None,
    }
}

/// A word without blanks, marks and capitals, for comparing.
pub(super) fn key(text: &str) -> String {
    let letters = text.chars().filter(|c| c.is_alphanumeric());
    letters.flat_map(char::to_lowercase).collect()
}

/// Whether a name stands for time.
pub(super) fn names_time(name: &str) -> bool {
    let words = [
        "time",
        "t",
        "zeit",
        "temps",
        "tempo",
        "tiempo",
        "seconds",
        "second",
        "sec",
        "sekunden",
        "timestamp",
        "elapsed",
        "elapsedtime",
        "relativetime",
        "reltime",
        "timeofday",
        "xaxis",
    ];
    words.contains(&key(name).as_str())
}

/// Whether a name stands for the number of a row.
pub(super) fn names_index(name: &str) -> bool {
    let words = [
        "index",
        "sample",
        "samples",
        "samplenumber",
        "sampleno",
        "sampleindex",
        "n",
        "nr",
        "no",
        "number",
        "point",
        "points",
        "row",
        "sequence",
        "i",
        "x",
    ];
    name.trim() == "#" || words.contains(&key(name).as_str())
}

/// What a line of a header may say of the rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Said {
    Increment,
    Rate,
    Start,
    TimeUnit,
    ValueUnit,
}

/// What the key of a header's line speaks of, if of the rows.
pub(super) fn said(name: &str) -> Option<Said> {
    Some(match key(parted(name).0).as_str() {
        "increment"
        | "xincrement"
        | "timeincrement"
        | "sampleinterval"
        | "samplinginterval"
        | "sampleperiod"
        | "samplingperiod"
        | "sampletime"
        | "samplingtime"
        | "interval"
        | "timestep"
        | "timeinterval"
        | "deltat"
        | "deltatime"
        | "deltax"
        | "dt"
        | "xincr"
        | "xinc"
        | "timeperpoint"
        | "horizontalincrement"
        | "abtastintervall" => Said::Increment,
        "samplerate" | "samplingrate" | "samplefrequency" | "samplingfrequency" | "fs"
        | "samplespersecond" | "rate" | "abtastrate" => Said::Rate,
        "start"
        | "starttime"
        | "timestart"
        | "xstart"
        | "xzero"
        | "xorigin"
        | "t0"
        | "firstsample"
        | "timeofthefirstsample" => Said::Start,
        "horizontalunits" | "horizontalunit" | "xunits" | "xunit" | "timeunit" | "timeunits" => {
            Said::TimeUnit
        }
        "verticalunits" | "verticalunit" | "yunits" | "yunit" | "units" | "unit" => Said::ValueUnit,
        _ => return None,
    })
}
