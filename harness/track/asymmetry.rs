//! The difference between the two halves of every 1, with the halves paired
//! rightly even when the pairing is only known later. It does not frame
//! packets.

use super::Polarity;
use super::checker::{Checker, Reading};
use super::clearance::Clearance;
use super::framing::Half;
use super::rules::{Clause, POWER_STATION, RECEIVER};
use super::spread::Spread;
use crate::clock::{BenchInstant, BenchSpan};

/// Differences of the halves of 1 bits, with what the rules say of them.
#[derive(Clone, Debug)]
pub(super) struct Differences {
    /// Positive half less negative half.
    pub(super) signed: Spread,
    /// Greater half less lesser half.
    pub(super) size: Spread,
    power_station: Checker,
    receiver: Checker,
    doubt: (i64, Option<i64>),
    clear: Clearance,
}

impl Differences {
    /// `doubt` is a difference's expanded uncertainty and its largest error,
    /// where there is one, in picoseconds.
    pub(super) fn new(keep: usize, doubt: (i64, Option<i64>)) -> Self {
        Self {
            signed: Spread::about(BenchSpan::ZERO),
            size: Spread::about(BenchSpan::ZERO),
            power_station: Checker::new(keep),
            receiver: Checker::new(keep),
            doubt,
            clear: Clearance::of_differences(doubt.0),
        }
    }

    /// Takes both halves of one 1.
    pub(super) fn push(&mut self, first: Half, second: Half) {
        let difference = first.length().picoseconds() - second.length().picoseconds();
        let signed = if first.polarity == Polarity::Positive {
            difference
        } else {
            -difference
        };
        let at = first.from;
        let signed = BenchSpan::from_picoseconds(signed);
        self.signed.push_joined(signed, at, second.to);
        let size = difference.saturating_abs();
        self.size.push(BenchSpan::from_picoseconds(size), at);
        if !self.clear.takes(size) {
            self.check(size, at);
        }
    }

    fn check(&mut self, size: i64, at: BenchInstant) {
        let reading = Reading {
            at,
            value: size,
            expanded: self.doubt.0,
            bound: self.doubt.1,
        };
        let clause = Clause::OneHalvesDiffer;
        let (strict, lenient) = (POWER_STATION.difference, RECEIVER.difference);
        self.power_station
            .check(clause, reading, strict.picoseconds());
        self.receiver.check(clause, reading, lenient.picoseconds());
    }

    /// What the rules say of all, to the checkers of the whole signal.
    pub(super) fn tell(&self, power_station: &mut Checker, receiver: &mut Checker) {
        for (checker, own) in [
            (power_station, &self.power_station),
            (receiver, &self.receiver),
        ] {
            checker.merge(own);
            self.clear.tell(checker, &[Clause::OneHalvesDiffer]);
        }
    }

    fn merge(&mut self, other: &Self) {
        self.signed.merge(&other.signed);
        self.size.merge(&other.size);
        self.power_station.merge(&other.power_station);
        self.receiver.merge(&other.receiver);
        self.clear.merge(&other.clear);
    }
}

/// Pairs the halves of a run of ones. Behind a packet the first half of the
/// run begins a bit; elsewhere the run's end tells, since the 0 that ends it
/// begins one; until then both pairings are kept.
#[derive(Clone, Debug)]
pub(super) struct Pairing {
    pub(super) total: Differences,
    lanes: [Differences; 2],
    known: bool,
    count: u64,
    previous: Option<Half>,
}

impl Pairing {
    pub(super) fn new(keep: usize, doubt: (i64, Option<i64>)) -> Self {
        let empty = Differences::new(keep, doubt);
        Self {
            lanes: [empty.clone(), empty.clone()],
            total: empty,
            known: false,
            count: 0,
            previous: None,
        }
    }

    /// Begins a run; `known` if its first half begins a bit.
    pub(super) fn begin(&mut self, known: bool) {
        self.known = known;
        self.count = 0;
        self.previous = None;
    }

    /// The next half of a 1 in the run.
    pub(super) fn half(&mut self, half: Half) {
        if let Some(first) = self.previous {
            let lane = ((self.count - 1) % 2) as usize;
            if !self.known {
                self.lanes[lane].push(first, half);
            } else if lane == 0 {
                self.total.push(first, half);
            }
        }
        self.previous = Some(half);
        self.count += 1;
    }

    /// The run is over; `by_zero` if the first half of a 0 ended it.
    pub(super) fn end(&mut self, by_zero: bool) {
        if !self.known && self.count > 1 {
            let [even, odd] = &self.lanes;
            let lane = if by_zero {
                (self.count % 2) as usize
            } else {
                // Nothing tells the pairing, so the signal is blamed for
                // nothing that the other pairing does not show.
                usize::from(odd.size.maximum() < even.size.maximum() && odd.size.count() > 0)
            };
            self.total.merge(&self.lanes[lane]);
            let empty = Differences::new(self.total.keep(), self.total.doubt);
            self.lanes = [empty.clone(), empty];
        }
        self.begin(false);
    }
}

impl Differences {
    const fn keep(&self) -> usize {
        self.power_station.keep()
    }
}
