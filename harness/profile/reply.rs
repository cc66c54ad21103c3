//! How an instrument words its answers where they are no bare numbers: a part
//! of a line, a field of a list, a number with its unit, fixed words. It reads
//! none.

use crate::units::Dimension;
use regex_lite::Regex;

/// The group of a reply's pattern that is the answer proper.
pub const VALUE: &str = "value";

/// How the answer to one command is read. The default reads a bare number, and
/// one that names its unit where the command measures something.
#[derive(Clone, Debug, Default)]
pub struct Reply {
    /// What the answer looks like; the group `value` is what counts of it.
    pub pattern: Option<Regex>,
    /// Which field of a list parted by commas counts, from one.
    pub field: Option<usize>,
    /// SI units in one of the answer's, where it names none.
    pub factor: Option<f64>,
    /// What fixed words stand for, as the number that a bare answer would be.
    pub words: Vec<(String, f64)>,
    /// The answer is so many bytes instead of a line.
    pub bytes: Option<usize>,
    /// Those bytes are a number without a sign; else they are text.
    pub binary: Option<Binary>,
    /// The answer has a bit for each channel, the lowest for this one.
    pub lowest_channel: Option<u32>,
    /// What this command is answered with where it asks nothing, a character a
    /// byte; empty where it stays silent though others do not.
    pub acknowledgement: Option<String>,
}

/// The order of bytes in a binary answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Binary {
    /// The high byte comes first.
    HighFirst,
    /// The low byte comes first.
    LowFirst,
}

impl Binary {
    /// The words for them in a profile.
    pub const WORDS: &[(&str, Self)] = &[
        ("high first", Self::HighFirst),
        ("low first", Self::LowFirst),
    ];
}

/// What a command measures.
pub fn measured(command: &str) -> Option<Dimension> {
    match command {
        "measure_voltage" | "voltage_setting" => Some(Dimension::Voltage),
        "measure_current" | "limit_setting" | "current_setting" => Some(Dimension::Current),
        "resistance_setting" => Some(Dimension::Resistance),
        "period_setting" => Some(Dimension::Time),
        "measure_temperature" => Some(Dimension::Temperature),
        _ => None,
    }
}
