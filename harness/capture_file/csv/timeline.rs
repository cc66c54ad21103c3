//! The times of a table's rows: whether they go on, and whether they are even as
//! far as their digits tell. It reads no field.

use super::number::unwrapped;

/// Times further from zero than this are counted from a whole number near the
/// first one, since their last digits would be lost, s.
const FAR: f64 = 1e5;
/// A row at the instant of the one before is told so much later, s: the two of
/// them draw a step.
const JUST_AFTER: f64 = 1e-12;
/// Times have too few digits where more than this share of the rows have the
/// time of the row before.
const STANDING: f64 = 0.1;
/// Steps that differ by less than this share of the mean are even.
const EVEN: f64 = 0.02;

/// The times of rows, as they pass.
#[derive(Clone, Debug)]
pub(super) struct Timeline {
    /// In units of the file; a whole number.
    origin: i64,
    clock: Option<(i64, i64)>,
    index: Option<f64>,
    rows: u64,
    first: f64,
    /// As it stands in the file, and as told.
    stamp: f64,
    last: f64,
    step: (f64, f64),
    repeated: u64,
    /// Line of the first row at the instant of the one before.
    stands: u64,
    /// The value of the last digit of the times, s.
    digit: f64,
    /// The shortest and longest period that fit all times up to here.
    fitting: (f64, f64),
}

impl Timeline {
    pub(super) const fn new() -> Self {
        Self {
            origin: 0,
            clock: None,
            index: None,
            rows: 0,
            first: 0.0,
            stamp: 0.0,
            last: 0.0,
            step: (f64::INFINITY, 0.0),
            repeated: 0,
            stands: 0,
            digit: 0.0,
            fitting: (0.0, f64::INFINITY),
        }
    }

    /// A time of the file in seconds; where the first is far from zero, from a
    /// whole number of units near it: `since` reads the field from there on
    /// without losing its last digits.
    pub(super) fn near(
        &mut self,
        number: f64,
        factor: f64,
        since: impl Fn(i64) -> Option<f64>,
    ) -> f64 {
        if self.rows == 0 && (number * factor).abs() > FAR && number.abs() < 1e15 {
            // `as` is exact below 2^53.
            self.origin = libm::floor(number) as i64;
        }
        let number = match self.origin {
            0 => number,
            origin => since(origin).unwrap_or(number - origin as f64),
        };
        number * factor
    }

    /// What times are counted from, in the file's unit, if not from zero.
    pub(super) fn origin(&self) -> Option<i64> {
        (self.origin != 0).then_some(self.origin)
    }

    /// Seconds from the first time of day to this one, both ps since midnight.
    pub(super) fn since_first(&mut self, clock: i64) -> f64 {
        let (first, last) = *self.clock.get_or_insert((clock, clock));
        let now = unwrapped(last, clock);
        self.clock = Some((first, now));
        (now - first) as f64 * 1e-12
    }

    /// Rows from the first one by their own numbers.
    pub(super) fn counted(&mut self, number: f64) -> f64 {
        number - *self.index.get_or_insert(number)
    }

    /// Takes the time of the next row, of which the last digit has this value,
    /// s; the instant to tell, or `None` where time goes back.
    pub(super) fn take(&mut self, stamp: f64, digit: f64, line: u64) -> Option<f64> {
        let count = self.rows;
        self.rows += 1;
        self.digit = self.digit.max(digit);
        if count == 0 {
            (self.first, self.stamp, self.last) = (stamp, stamp, stamp);
            return Some(stamp);
        }
        let step = stamp - self.stamp;
        if step < 0.0 {
            return None;
        }
        self.fit(stamp, count);
        if step == 0.0 {
            if self.repeated == 0 {
                self.stands = line;
            }
            self.repeated += 1;
            self.last = (self.last + JUST_AFTER).max(self.last.next_up());
            return Some(self.last);
        }
        self.step = (self.step.0.min(step), self.step.1.max(step));
        self.stamp = stamp;
        self.last = stamp.max(self.last.next_up());
        Some(self.last)
    }

    /// Narrows the periods that fit: each time is rounded to its last digit,
    /// and so is the first.
    fn fit(&mut self, stamp: f64, count: u64) {
        let (span, count) = (stamp - self.first, count as f64);
        // A picosecond in a thousand for the rounding of the numbers themselves.
        let slack = 1.001 * self.digit + 4.0 * f64::EPSILON * stamp.abs();
        let (least, most) = ((span - slack) / count, (span + slack) / count);
        self.fitting = (self.fitting.0.max(least), self.fitting.1.min(most));
    }

    /// First and last time, s.
    pub(super) const fn ends(&self) -> (f64, f64) {
        (self.first, self.last)
    }

    /// Shortest and longest step, s.
    pub(super) const fn step(&self) -> (f64, f64) {
        self.step
    }

    /// The value of the last digit, s.
    pub(super) const fn digit(&self) -> f64 {
        self.digit
    }

    pub(super) const fn repeated(&self) -> u64 {
        self.repeated
    }

    /// The line from which on times are too coarse to tell rows apart, if they
    /// are.
    pub(super) fn too_coarse(&self, rows: u64) -> Option<u64> {
        let most = STANDING * (rows.max(1) - 1) as f64;
        (self.repeated as f64 > most).then_some(self.stands)
    }

    /// The time between rows where they are even: their steps differ little, or
    /// all times are those of an even row, rounded to their last digit.
    pub(super) fn period(&self) -> Option<f64> {
        if self.rows < 2 {
            return None;
        }
        let mean = (self.stamp - self.first) / (self.rows - 1) as f64;
        let alike = self.repeated == 0 && self.step.1 - self.step.0 <= EVEN * mean;
        let fits = self.fitting.0 <= self.fitting.1 && self.digit <= mean;
        (alike || fits).then_some(mean)
    }
}
