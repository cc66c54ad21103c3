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
}

/// What a command measures.
pub fn measured(command: &str) -> Option<Dimension> {
    match command {
        "measure_voltage" => Some(Dimension::Voltage),
        "measure_current" => Some(Dimension::Current),
        "measure_temperature" => Some(Dimension::Temperature),
        _ => None,
    }
}
