//! Fields that hold a number and its unit, such as `1.25 V`, as loggers that change
//! their range write them. It knows no columns.

use super::encoding::lettered;
use super::number::{Notation, last_digit};
use super::words::unit_of;
use crate::units::Dimension;

/// A field of a number and its unit, taken apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Measured<'a> {
    /// The number as it is written.
    pub(super) digits: &'a [u8],
    /// SI units of one.
    factor: f64,
    /// What the unit measures.
    pub(super) dimension: Dimension,
}

impl<'a> Measured<'a> {
    /// The unit stands behind the last digit. Brackets are those of a name.
    pub(super) fn of(field: &'a [u8]) -> Option<Self> {
        let last = field.iter().rposition(u8::is_ascii_digit)?;
        let (digits, unit) = field.split_at(last + 1);
        let unit = lettered(unit);
        let unit = unit.trim();
        if unit.starts_with(['(', '[']) {
            return None;
        }
        let (factor, dimension) = unit_of(unit)?;
        let measured = Self {
            digits,
            factor,
            dimension,
        };
        (dimension != Dimension::Ratio).then_some(measured)
    }

    /// In SI units.
    pub(super) fn value(self, notation: Notation) -> Option<f64> {
        Some(notation.number(self.digits)? * self.factor)
    }

    /// What its last digit is worth, in SI units.
    pub(super) fn last_digit(self, notation: Notation) -> f64 {
        last_digit(self.digits, notation.decimal) * self.factor
    }
}

/// The number of a field, without its unit if it has one.
pub(super) fn digits(field: &[u8]) -> &[u8] {
    Measured::of(field).map_or(field, |measured| measured.digits)
}
