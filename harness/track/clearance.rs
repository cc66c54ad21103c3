//! Readings that stand clear of every limit asked of them, which most do: they
//! are only counted. What is near a limit or beyond it goes to the checkers.

use super::checker::Checker;
use super::rules::{Clause, POWER_STATION, RECEIVER};
use crate::clock::BenchSpan;

/// Counts values within both sets of rules by no less than their expanded
/// uncertainty, of which a checker would say nothing more.
#[derive(Clone, Copy, Debug)]
pub(super) struct Clearance {
    least: i64,
    most: i64,
    count: u64,
}

impl Clearance {
    /// Of halves between two bounds, in picoseconds, none longer than `longest`,
    /// up to which they are known to `expanded`.
    pub(super) fn of_halves(one: bool, longest: BenchSpan, expanded: i64) -> Self {
        let bounds =
            |(least, most): (BenchSpan, BenchSpan)| (least.picoseconds(), most.picoseconds());
        let [strict, lenient] = [&POWER_STATION, &RECEIVER].map(|rules| match one {
            true => bounds(rules.one),
            false => bounds(rules.zero),
        });
        let most = strict.1.min(lenient.1).saturating_sub(expanded);
        Self {
            least: strict.0.max(lenient.0).saturating_add(expanded),
            most: most.min(longest.picoseconds()),
            count: 0,
        }
    }

    /// Of sizes of the difference between the halves of a 1.
    pub(super) fn of_differences(expanded: i64) -> Self {
        Self::up_to(POWER_STATION.difference, RECEIVER.difference, expanded)
    }

    /// Of whole 0 bits, none known less well than to `expanded`.
    pub(super) fn of_zero_bits(expanded: i64) -> Self {
        Self::up_to(POWER_STATION.zero_bit, RECEIVER.zero_bit, expanded)
    }

    fn up_to(strict: BenchSpan, lenient: BenchSpan, expanded: i64) -> Self {
        let most = strict.min(lenient).picoseconds();
        Self {
            least: i64::MIN,
            most: most.saturating_sub(expanded),
            count: 0,
        }
    }

    /// Counts a value that is clear; of others tells that they are not.
    #[inline]
    pub(super) fn takes(&mut self, value: i64) -> bool {
        let clear = self.least <= value && value <= self.most;
        self.count += u64::from(clear);
        clear
    }

    /// Adds what another one of the same kind counted.
    pub(super) const fn merge(&mut self, other: &Self) {
        self.count += other.count;
    }

    /// Tells a checker how many there were.
    pub(super) fn tell(&self, checker: &mut Checker, clauses: &[Clause]) {
        for &clause in clauses {
            checker.passed(clause, self.count);
        }
    }
}
