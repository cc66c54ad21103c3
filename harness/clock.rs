//! Two clocks: the bench's, in integer picoseconds, and the wall's, behind one
//! trait. Nothing here reads a real clock except [`SystemClock`].

use serde::{Deserialize, Serialize};
use std::fmt;
use std::ops::{Add, AddAssign, Sub};

use crate::units::{Quantity, Seconds};

/// Picoseconds in one second.
pub const PICOSECONDS: i64 = 1_000_000_000_000;

/// An instant of bench time: picoseconds since the bench was switched on.
///
/// Integer, so that two runs with one seed agree bit for bit; the range is
/// about 106 days.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct BenchInstant(i64);

/// A signed length of bench time in picoseconds.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct BenchSpan(i64);

impl BenchInstant {
    /// The instant at which the bench was switched on.
    pub const ZERO: Self = Self(0);
    /// Later than any instant a run can reach.
    pub const NEVER: Self = Self(i64::MAX);

    /// The instant `picoseconds` after zero.
    pub const fn from_picoseconds(picoseconds: i64) -> Self {
        Self(picoseconds)
    }

    /// Picoseconds since zero.
    pub const fn picoseconds(self) -> i64 {
        self.0
    }

    /// Time since zero.
    pub fn since_zero(self) -> Seconds {
        BenchSpan(self.0).seconds()
    }

    /// The later of two instants.
    pub fn later(self, other: Self) -> Self {
        self.max(other)
    }
}

impl BenchSpan {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// A span of `picoseconds`.
    pub const fn from_picoseconds(picoseconds: i64) -> Self {
        Self(picoseconds)
    }

    /// A span of whole microseconds.
    pub const fn from_microseconds(microseconds: i64) -> Self {
        Self(microseconds * 1_000_000)
    }

    /// The span nearest to `seconds`, saturating at the range's ends.
    pub fn from_seconds(seconds: Seconds) -> Self {
        Self::nearest(seconds.si() * PICOSECONDS as f64)
    }

    /// The span nearest to so many picoseconds, halves away from zero, saturating at
    /// the range's ends.
    pub fn nearest(picoseconds: f64) -> Self {
        // `as` cuts off and saturates; this is the last number that is cut to zero.
        const HALF: f64 = 0.5_f64.next_down();
        Self((picoseconds + HALF.copysign(picoseconds)) as i64)
    }

    /// Picoseconds.
    pub const fn picoseconds(self) -> i64 {
        self.0
    }

    /// The same span as a quantity.
    pub fn seconds(self) -> Seconds {
        Seconds::new(self.0 as f64 / PICOSECONDS as f64)
    }
}

impl Add<BenchSpan> for BenchInstant {
    type Output = Self;
    fn add(self, span: BenchSpan) -> Self {
        Self(self.0.saturating_add(span.0))
    }
}

impl AddAssign<BenchSpan> for BenchInstant {
    fn add_assign(&mut self, span: BenchSpan) {
        *self = *self + span;
    }
}

impl Sub<BenchSpan> for BenchInstant {
    type Output = Self;
    fn sub(self, span: BenchSpan) -> Self {
        Self(self.0.saturating_sub(span.0))
    }
}

impl Sub for BenchInstant {
    type Output = BenchSpan;
    fn sub(self, earlier: Self) -> BenchSpan {
        BenchSpan(self.0.saturating_sub(earlier.0))
    }
}

impl Add for BenchSpan {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl fmt::Display for BenchInstant {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.since_zero())
    }
}

impl fmt::Display for BenchSpan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.seconds())
    }
}

/// Where wall time comes from. A parameter everywhere, so that a test can hold
/// it still.
pub trait WallClock: Send + Sync {
    /// The present moment.
    fn now(&self) -> jiff::Timestamp;
}

/// The machine's own clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl WallClock for SystemClock {
    fn now(&self) -> jiff::Timestamp {
        jiff::Timestamp::now()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_survives_the_way_through_seconds() {
        for picoseconds in [0, 1, -1, 58_000_000, 3 * PICOSECONDS + 7] {
            let span = BenchSpan::from_picoseconds(picoseconds);
            assert_eq!(BenchSpan::from_seconds(span.seconds()), span);
        }
    }

    proptest::proptest! {
        /// The plain way: rounded first, and then cut off.
        #[test]
        fn the_nearest_picosecond_is_that_of_rounding(any: f64, whole: i32, part in -1.0..1.0_f64) {
            let (whole, half) = (f64::from(whole), 0.5_f64.next_down());
            for x in [any, whole + part, whole + 0.5, whole - 0.5, half, -half, f64::NAN] {
                let rounded = libm::round(x) as i64;
                proptest::prop_assert_eq!(BenchSpan::nearest(x).picoseconds(), rounded);
            }
        }
    }

    #[test]
    fn never_does_not_wrap() {
        assert_eq!(
            BenchInstant::NEVER + BenchSpan::from_microseconds(1),
            BenchInstant::NEVER
        );
    }
}
