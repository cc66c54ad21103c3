//! The counting of readings against limits, clause by clause, and when one of
//! many decides. It sets no limit and reads no signal.

use super::rules::{BitRules, Clause, ClauseFindings, Findings, Violation};
use crate::clock::BenchInstant;
use crate::statistics::distribution::normal_critical;

/// What a normal law leaves beyond two standard deviations on one side, which
/// is what U promises of one reading.
const BEYOND_U: f64 = 0.022_750_131_948_179;
/// Excesses are counted in steps of a quarter of a standard uncertainty, from
/// two on; ten are enough for any number of readings.
const STEPS: usize = 32;

/// A reading to be checked against a limit: value and its expanded uncertainty,
/// in picoseconds or bits.
#[derive(Clone, Copy)]
pub(super) struct Reading {
    pub(super) at: BenchInstant,
    pub(super) value: i64,
    pub(super) expanded: i64,
    /// Where errors are bounded, what none of them reaches.
    pub(super) bound: Option<i64>,
}

/// A violation, and by how many standard uncertainties.
#[derive(Clone, Copy, Debug)]
struct Kept {
    violation: Violation,
    excess: f64,
}

/// What one clause has seen.
#[derive(Clone, Debug, Default)]
struct Seen {
    checked: u64,
    near: u64,
    undecided: u64,
    beyond: [u64; STEPS],
    worst: Option<Kept>,
    first: Vec<Kept>,
    /// How many of those are no violation by themselves.
    doubtful: usize,
}

/// Counts readings against limits, keeping the first few.
#[derive(Clone, Debug)]
pub(super) struct Checker {
    keep: usize,
    seen: Vec<Seen>,
}

impl Checker {
    pub(super) fn new(keep: usize) -> Self {
        Self {
            keep,
            seen: vec![Seen::default(); Clause::all().count()],
        }
    }

    /// How many readings a clause keeps.
    pub(super) const fn keep(&self) -> usize {
        self.keep
    }

    pub(super) fn check(&mut self, clause: Clause, reading: Reading, limit: i64) {
        let seen = &mut self.seen[clause as usize];
        seen.checked += 1;
        let beyond = if clause.is_lower() {
            limit.saturating_sub(reading.value)
        } else {
            reading.value.saturating_sub(limit)
        };
        if beyond <= -reading.expanded {
            return;
        }
        if beyond <= 0 {
            seen.near += 1;
            return;
        }
        let certain = reading.bound.is_some_and(|bound| beyond >= bound);
        let excess = if certain || reading.expanded == 0 {
            f64::INFINITY
        } else {
            2.0 * beyond as f64 / reading.expanded as f64
        };
        if excess > 2.0 {
            // `as` saturates.
            let step = ((excess - 2.0) * 4.0) as usize;
            seen.beyond[step.min(STEPS - 1)] += 1;
        } else {
            seen.undecided += 1;
        }
        let unit = if clause.counts_bits() { 1.0 } else { 1e-12 };
        let kept = Kept {
            violation: Violation {
                at: reading.at,
                clause,
                value: reading.value as f64 * unit,
                limit: limit as f64 * unit,
                expanded: reading.expanded as f64 * unit,
                decided: false,
            },
            excess,
        };
        seen.keep_worst(kept);
        seen.keep_first(kept, self.keep);
    }

    /// Counts readings that keep a clause by more than their uncertainty.
    pub(super) fn passed(&mut self, clause: Clause, count: u64) {
        self.seen[clause as usize].checked += count;
    }

    /// Checks a half of a 1 or of a 0 against both its bounds.
    pub(super) fn check_half(&mut self, rules: &BitRules, one: bool, reading: Reading) {
        let (clauses, (least, most)) = if one {
            ((Clause::OneHalfShort, Clause::OneHalfLong), rules.one)
        } else {
            ((Clause::ZeroHalfShort, Clause::ZeroHalfLong), rules.zero)
        };
        self.check(clauses.0, reading, least.picoseconds());
        self.check(clauses.1, reading, most.picoseconds());
    }

    /// Adds what a part of the signal said, later than all here.
    pub(super) fn merge(&mut self, later: &Self) {
        for (seen, other) in self.seen.iter_mut().zip(&later.seen) {
            seen.checked += other.checked;
            seen.near += other.near;
            seen.undecided += other.undecided;
            for (count, more) in seen.beyond.iter_mut().zip(other.beyond) {
                *count += more;
            }
            if let Some(worst) = other.worst {
                seen.keep_worst(worst);
            }
            for kept in &other.first {
                seen.keep_first(*kept, self.keep);
            }
        }
    }

    pub(super) fn findings(&self, rules: &str) -> Findings {
        let pairs = Clause::all().zip(&self.seen);
        Findings {
            rules: rules.to_owned(),
            clauses: pairs
                .filter(|(_, seen)| seen.checked > 0)
                .map(|(clause, seen)| (clause, seen.found()))
                .collect(),
        }
    }
}

impl Seen {
    /// Keeps the first ones; those that decide nothing make room for others.
    fn keep_first(&mut self, kept: Kept, most: usize) {
        let decides = |kept: &Kept| kept.excess > 2.0;
        if self.first.len() >= most {
            if self.doubtful == 0 || !decides(&kept) {
                return;
            }
            if let Some(last) = self.first.iter().rposition(|kept| !decides(kept)) {
                self.first.remove(last);
                self.doubtful -= 1;
            }
        }
        self.doubtful += usize::from(!decides(&kept));
        self.first.push(kept);
    }

    fn keep_worst(&mut self, kept: Kept) {
        let distance = |v: &Violation| (v.value - v.limit).abs();
        let worse = |worst: Kept| distance(&kept.violation) > distance(&worst.violation);
        if self.worst.is_none_or(worse) {
            self.worst = Some(kept);
        }
    }

    /// With all readings counted it is known how far noise carries the worst of
    /// them: to the quantile that all together stay under as surely as one
    /// stays under U.
    fn found(&self) -> ClauseFindings {
        let needed = normal_critical(BEYOND_U / self.checked.max(1) as f64).max(2.0);
        let from = (libm::ceil((needed - 2.0 - 1e-9) * 4.0) as usize).min(STEPS - 1);
        let least = 2.0 + from as f64 / 4.0;
        let beyond: u64 = self.beyond[from..].iter().sum();
        let doubtful: u64 = self.beyond[..from].iter().sum();
        let decided = |kept: &Kept| Violation {
            decided: kept.excess > least,
            ..kept.violation
        };
        ClauseFindings {
            checked: self.checked,
            beyond,
            undecided: self.undecided + doubtful,
            near: self.near,
            worst: self.worst.as_ref().map(decided),
            first: self.first.iter().map(decided).collect(),
        }
    }
}
