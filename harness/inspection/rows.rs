//! Findings to rows a person reads: value, U, limit and standing of every
//! demand of the standards. It reads no signal.

use super::shape_rows::shape_rows;
use super::{Audience, Heard, Measure, Place, RuleRow, Standing};
use crate::capture_file::{Span, Spans};
use crate::measurement::Estimate;
use crate::track::{BitRules, Clause, ClauseFindings, Findings, SignalReport};
use crate::units::{Dimension, Quantity, show};

/// Every demand that is in force: bit timing and check bytes everywhere, packets
/// and, of a voltage, its shape and level at a station's output. A demand that
/// nothing was checked against is among them.
pub(super) fn rows(heard: &Heard, at: Audience, period: f64) -> Vec<RuleRow> {
    let (signal, rules) = (&heard.report, at.rules());
    let station = at == Audience::Station;
    let timing = if station {
        &signal.power_station
    } else {
        &signal.receiver
    };
    let why = nothing_heard(heard);
    let mut rows = clauses(signal, timing, rules, period);
    unjudged(&mut rows, timing, &Clause::BITS, rules, why);
    if station {
        rows.extend(clauses(signal, &signal.packet_rules, rules, period));
        unjudged(
            &mut rows,
            &signal.packet_rules,
            &Clause::PACKETS,
            rules,
            why,
        );
        if signal.cutouts.count > 0 {
            let why = Some("the line does not show where a cutout begins");
            unjudged(
                &mut rows,
                &signal.packet_rules,
                &Clause::CUTOUTS,
                rules,
                why,
            );
        }
        if let Some(shaped) = &heard.shaped {
            rows.extend(shape_rows(heard, shaped));
        }
    }
    rows.push(check_bytes(signal, why));
    if let Some(why) = why {
        // What was read is no time from zero to zero.
        for row in &mut rows {
            row.standing = Standing::Inconclusive;
            (row.beyond, row.near) = (0, row.checked);
            row.note = Some(why.to_owned());
            row.places.clear();
        }
    }
    rows.extend(whole(heard));
    for row in &mut rows {
        let length = if row.measure == Measure::Time {
            row.value
        } else {
            None
        };
        let length = length.unwrap_or(0.0).min(0.02);
        row.places
            .iter_mut()
            .for_each(|place| place.beside(signal, length));
    }
    rows
}

/// Why there is nothing to judge at all, where that is so.
pub(super) fn nothing_heard(heard: &Heard) -> Option<&'static str> {
    let signal = &heard.report;
    let one_sided = signal.levels.as_ref().is_some_and(|levels| {
        let (low, high) = levels.extremes;
        low > -ONE_SIDED || high < ONE_SIDED
    });
    if one_sided {
        return Some("the voltage has one sign only: measure it from rail to rail");
    }
    (signal.edges == 0).then_some("there is no edge")
}

/// A voltage that does not go beyond this on one side, V, crosses nothing there.
const ONE_SIDED: f64 = 2.5;

/// Adds the clauses that nothing was checked against.
fn unjudged(
    rows: &mut Vec<RuleRow>,
    findings: &Findings,
    clauses: &[Clause],
    rules: &BitRules,
    why: Option<&str>,
) {
    for clause in clauses {
        if findings.clauses.contains_key(clause) {
            continue;
        }
        let none = match clause {
            Clause::OneHalfShort | Clause::OneHalfLong => "no half-bit of a 1 was found",
            Clause::OneHalvesDiffer => "no whole 1 was found",
            Clause::ZeroHalfShort | Clause::ZeroHalfLong => "no half-bit of a 0 was found",
            Clause::ZeroBitLong => "no whole 0 was found in a packet",
            Clause::PreambleShort => "no preamble was seen whole",
            _ => "fewer than two packet start bits were found",
        };
        let limit = (measure(*clause), clause.limit(rules), clause.is_lower());
        let (source, what) = (clause.source(), clause.describe());
        rows.push(RuleRow::unjudged(source, what, limit, why.unwrap_or(none)));
    }
}

const fn measure(clause: Clause) -> Measure {
    if clause.counts_bits() {
        Measure::Count
    } else {
        Measure::Time
    }
}

fn clauses(
    signal: &SignalReport,
    findings: &Findings,
    rules: &BitRules,
    period: f64,
) -> Vec<RuleRow> {
    let row = |(&clause, found): (&Clause, &ClauseFindings)| {
        let seen = found
            .worst
            .map(|worst| (worst.value, worst.expanded))
            .or_else(|| nearest(signal, clause));
        // A worst reading names its own limit, which a cutout may have eased.
        let limit = found.worst.map_or(clause.limit(rules), |worst| worst.limit);
        RuleRow {
            source: clause.source().to_owned(),
            what: clause.describe().to_owned(),
            measure: measure(clause),
            value: seen.map(|seen| seen.0),
            expanded: seen.map(|seen| seen.1),
            limit,
            lower: clause.is_lower(),
            checked: found.checked,
            beyond: found.beyond,
            near: found.undecided + found.near,
            standing: standing(found.beyond, found.undecided + found.near),
            note: None,
            places: found.first.iter().map(Place::of).collect(),
        }
    };
    let row = |found: (&Clause, &ClauseFindings)| {
        let (clause, mut row) = (*found.0, row(found));
        row.note = resolving(clause, rules, &row, period);
        if row.note.is_some() {
            row.standing = row.standing.max(Standing::Inconclusive);
        }
        row
    };
    findings.clauses.iter().map(row).collect()
}

pub(super) const fn standing(beyond: u64, near: u64) -> Standing {
    if beyond > 0 {
        Standing::Violation
    } else if near > 0 {
        Standing::Inconclusive
    } else {
        Standing::Within
    }
}

/// The reading nearest to the limit where none is beyond it.
fn nearest(signal: &SignalReport, clause: Clause) -> Option<(f64, f64)> {
    let shown = |estimate: Estimate| (estimate.value, estimate.expanded());
    let least =
        |figures: &Option<crate::track::Figures>| figures.as_ref().map(|f| shown(f.least.estimate));
    let maximum = |figures: &Option<crate::track::Figures>| {
        figures.as_ref().map(|f| shown(f.maximum.estimate))
    };
    match clause {
        Clause::OneHalfShort => least(&signal.ones.all),
        Clause::OneHalfLong => maximum(&signal.ones.all),
        Clause::OneHalvesDiffer => maximum(&signal.difference),
        Clause::ZeroHalfShort => least(&signal.zeros.all).or_else(|| least(&signal.stretched)),
        Clause::ZeroHalfLong => maximum(&signal.stretched).or_else(|| maximum(&signal.zeros.all)),
        // The longest whole bit is not kept, only that it was short enough.
        Clause::ZeroBitLong => None,
        Clause::PreambleShort => signal
            .packets
            .shortest_preamble
            .map(|n| (f64::from(n), 0.0)),
        Clause::StartBitsApart => maximum(&signal.packets.start_to_start),
        Clause::CutoutStartEarly => least(&signal.cutouts.start),
        Clause::CutoutStartLate => maximum(&signal.cutouts.start),
        Clause::CutoutEndEarly => least(&signal.cutouts.end),
        Clause::CutoutEndLate => maximum(&signal.cutouts.end),
    }
}

/// What a limit allows about what is meant: half of the way between two limits,
/// or the limit of what is meant to be nothing.
fn allowance(clause: Clause, rules: &BitRules) -> Option<f64> {
    let half = |low: Clause, high: Clause| (high.limit(rules) - low.limit(rules)) / 2.0;
    match clause {
        Clause::OneHalfShort | Clause::OneHalfLong => {
            Some(half(Clause::OneHalfShort, Clause::OneHalfLong))
        }
        Clause::OneHalvesDiffer => Some(clause.limit(rules)),
        Clause::CutoutStartEarly | Clause::CutoutStartLate => {
            Some(half(Clause::CutoutStartEarly, Clause::CutoutStartLate))
        }
        Clause::CutoutEndEarly | Clause::CutoutEndLate => {
            Some(half(Clause::CutoutEndEarly, Clause::CutoutEndLate))
        }
        // Far from their limits, or counted.
        _ => None,
    }
}

/// Why the sampling cannot tell: U above a third of what the limit allows.
fn resolving(clause: Clause, rules: &BitRules, row: &RuleRow, period: f64) -> Option<String> {
    let (expanded, allowance) = (row.expanded?, allowance(clause, rules)?);
    // A picosecond of rounding is no reason.
    if expanded <= allowance / 3.0 + 1e-12 {
        return None;
    }
    let rate = expanded / (allowance / 3.0) / period / 1e6;
    Some(format!(
        "a reading has U = {:.2} us, more than a third of the {} us allowed; sample at {:.1} MHz or more",
        expanded * 1e6,
        (allowance * 1e9).round() / 1e3,
        (rate * 10.0).ceil() / 10.0
    ))
}

fn check_bytes(signal: &SignalReport, why: Option<&str>) -> RuleRow {
    let wrong = signal.packets.wrong_check;
    let (source, what) = ("NMRA S-9.2:2004 section A", "wrong check bytes");
    if signal.packets.all == 0 {
        let limit = (Measure::Count, 0.0, false);
        let why = why.unwrap_or("no packet was found");
        return RuleRow::unjudged(source, what, limit, why);
    }
    let places = &signal.packets.first_wrong;
    RuleRow {
        source: source.to_owned(),
        what: what.to_owned(),
        measure: Measure::Count,
        value: Some(wrong as f64),
        expanded: None,
        limit: 0.0,
        lower: false,
        checked: signal.packets.all,
        beyond: wrong,
        near: 0,
        standing: standing(wrong, 0),
        note: None,
        places: places
            .iter()
            .map(|packet| Place::new(packet.start, 1.0, true))
            .collect(),
    }
}

/// A gap up to here hides no half-bit: what is shorter counts as a glitch to the
/// decoder, s.
const HIDES_NOTHING: f64 = 20e-6;
/// Many short gaps may hide what one does not: share of the length.
const MANY: f64 = 1e-3;

/// What was not seen cannot be met.
fn whole(heard: &Heard) -> Option<RuleRow> {
    let unread = &heard.unread;
    let longest = |spans: &Spans| spans.longest.map_or(0.0, Span::length);
    // Where there are no readings there is no signal either.
    let no_readings = unread.missing.total + unread.infinite.total;
    let longest_gap = longest(&unread.missing).max(longest(&unread.infinite));
    let length = (heard.report.to - heard.report.from).seconds().si();
    let hidden = longest_gap > HIDES_NOTHING || no_readings > MANY * length;
    let dead = heard.report.dead.as_ref().map(|dead| {
        let from = dead.maximum.at.since_zero().si();
        let to = from + dead.maximum.estimate.value;
        Spans {
            count: dead.count,
            total: dead.mean.value * dead.count as f64,
            longest: Some(Span { from, to }),
            ..Spans::default()
        }
    });
    let dead = dead.filter(|dead| dead.total > unread.silent.total);
    let silent = dead.as_ref().unwrap_or(&unread.silent);
    if silent.is_empty() && !hidden {
        return None;
    }
    let mut parts = Vec::new();
    let mut count = 0;
    for (spans, what) in [
        (silent, "there is no signal"),
        (&unread.missing, "there are no readings"),
        (&unread.infinite, "readings are infinite"),
    ] {
        if let Some(longest) = spans.longest {
            count += spans.count;
            let at = match spans.count {
                1 => "in one stretch".to_owned(),
                many => {
                    let longest = show(longest.length(), Dimension::Time);
                    format!("{many} stretches, the longest {longest}")
                }
            };
            parts.push(format!(
                "for {} {what} ({at} at {:.6} s)",
                show(spans.total, Dimension::Time),
                longest.from,
            ));
        }
    }
    let limit = (Measure::Time, 0.0, false);
    let why = parts.join("; ");
    let row = RuleRow::unjudged("this capture", "parts are not the signal", limit, &why);
    Some(RuleRow {
        value: Some(no_readings.max(silent.total)),
        checked: count,
        near: count,
        ..row
    })
}
