//! What the standards say of half-bits and of whole 0 bits, at a power station
//! and at a decoder, and how well such lengths are known. It takes no signal apart.

use super::asymmetry::Differences;
use super::checker::{Checker, Reading};
use super::clearance::Clearance;
use super::rules::{BitRules, Clause, Findings, POWER_STATION, RECEIVER};
use super::settings::DecoderSettings;
use super::uncertainty::EdgeUncertainty;
use crate::clock::{BenchInstant, BenchSpan};
use crate::measurement::COVERAGE;
use crate::units::Quantity;

/// A half of a 0 from here on is called stretched; our own border.
pub(super) const STRETCHED: BenchSpan = BenchSpan::from_microseconds(150);

/// How well lengths between edges are known.
#[derive(Clone, Copy, Debug)]
pub(super) struct Doubt {
    edge: EdgeUncertainty,
    /// Expanded uncertainty of a half-bit, in picoseconds.
    pub(super) expanded: i64,
    /// The largest error of a half-bit, where there is one.
    bound: Option<i64>,
}

impl Doubt {
    pub(super) fn of(settings: &DecoderSettings) -> Self {
        Self {
            edge: settings.edge,
            expanded: expanded(settings.edge.span_u(100e-6)),
            // Edges weigh 1 and 1 in a length.
            bound: most(settings, 2.0),
        }
    }

    pub(super) fn reading(&self, at: BenchInstant, span: BenchSpan) -> Reading {
        Reading {
            at,
            value: span.picoseconds(),
            expanded: if span > STRETCHED {
                self.of_long(span)
            } else {
                self.expanded
            },
            bound: self.bound,
        }
    }

    fn of_long(&self, span: BenchSpan) -> i64 {
        expanded(self.edge.span_u(span.seconds().si()))
    }
}

/// Expanded uncertainty and largest error of the difference between two halves,
/// in which edges weigh 1, 2 and 1.
pub(super) fn doubt_of_difference(settings: &DecoderSettings) -> (i64, Option<i64>) {
    (expanded(settings.edge.difference_u()), most(settings, 4.0))
}

fn most(settings: &DecoderSettings, weights: f64) -> Option<i64> {
    let most = settings.bound?;
    Some(libm::round(weights * most * 1e12) as i64)
}

/// Expanded uncertainty in picoseconds of a standard one in seconds.
fn expanded(standard: f64) -> i64 {
    libm::round(COVERAGE * standard * 1e12) as i64
}

/// Checks bits against both sets of rules.
#[derive(Clone, Debug)]
pub(super) struct BitChecks {
    doubt: Doubt,
    ones: Clearance,
    zeros: Clearance,
    zero_bits: Clearance,
    power_station: Checker,
    receiver: Checker,
}

impl BitChecks {
    /// Keeps so many of what breaks a rule.
    pub(super) fn new(keep: usize, doubt: Doubt) -> Self {
        let halves = |one| Clearance::of_halves(one, STRETCHED, doubt.expanded);
        // The longer the less well known.
        let longest = doubt.of_long(RECEIVER.zero_bit.max(POWER_STATION.zero_bit));
        Self {
            doubt,
            ones: halves(true),
            zeros: halves(false),
            zero_bits: Clearance::of_zero_bits(longest.max(doubt.expanded)),
            power_station: Checker::new(keep),
            receiver: Checker::new(keep),
        }
    }

    /// A half of a 1 or of a 0.
    #[inline]
    pub(super) fn half(&mut self, one: bool, at: BenchInstant, length: BenchSpan) {
        let clear = if one { &mut self.ones } else { &mut self.zeros };
        if !clear.takes(length.picoseconds()) {
            let reading = self.doubt.reading(at, length);
            self.both(|rules, checker| checker.check_half(rules, one, reading));
        }
    }

    /// A whole 0.
    #[inline]
    pub(super) fn zero_bit(&mut self, from: BenchInstant, to: BenchInstant) {
        if !self.zero_bits.takes((to - from).picoseconds()) {
            let reading = self.doubt.reading(from, to - from);
            self.both(|rules, checker| {
                checker.check(Clause::ZeroBitLong, reading, rules.zero_bit.picoseconds());
            });
        }
    }

    fn both(&mut self, mut check: impl FnMut(&BitRules, &mut Checker)) {
        check(&POWER_STATION, &mut self.power_station);
        check(&RECEIVER, &mut self.receiver);
    }

    /// What there is to say at a power station and at a decoder, that of the
    /// differences included.
    pub(super) fn findings(mut self, differences: &Differences) -> [Findings; 2] {
        let (power_station, receiver) = (&mut self.power_station, &mut self.receiver);
        differences.tell(power_station, receiver);
        let told = [(power_station, POWER_STATION), (receiver, RECEIVER)];
        told.map(|(checker, rules)| {
            let ones = [Clause::OneHalfShort, Clause::OneHalfLong];
            let zeros = [Clause::ZeroHalfShort, Clause::ZeroHalfLong];
            self.ones.tell(checker, &ones);
            self.zeros.tell(checker, &zeros);
            self.zero_bits.tell(checker, &[Clause::ZeroBitLong]);
            checker.findings(rules.name)
        })
    }
}
