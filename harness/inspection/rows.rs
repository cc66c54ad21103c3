//! Findings to rows a person reads: value, U, limit and standing of every
//! demand of the standards. It reads no signal.

use super::{Audience, Measure, RuleRow, Standing};
use crate::measurement::Estimate;
use crate::track::{BitRules, Clause, ClauseFindings, Findings, SignalReport};

/// Slew between -4 V and +4 V, at least: NMRA S-9.1:2020.
const SLEW: f64 = 2.4e6;
/// Peak amplitude, least and most over all scales: NMRA S-9.1:2020 table 3.
const AMPLITUDE: (f64, f64) = (8.5, 22.0);

/// Rows of bit timing, and of packets too at a station's output.
pub(super) fn rows(signal: &SignalReport, at: Audience, period: f64) -> Vec<RuleRow> {
    let (rules, station) = (at.rules(), at == Audience::Station);
    let timing = if station {
        &signal.power_station
    } else {
        &signal.receiver
    };
    let mut rows = clauses(signal, timing, rules, period);
    if station {
        rows.extend(clauses(signal, &signal.packet_rules, rules, period));
        rows.extend(analogue(signal));
    }
    if signal.packets.all > 0 {
        rows.push(check_bytes(signal));
    }
    rows
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
            measure: if clause.counts_bits() {
                Measure::Count
            } else {
                Measure::Time
            },
            value: seen.map(|seen| seen.0),
            expanded: seen.map(|seen| seen.1),
            limit,
            lower: clause.is_lower(),
            checked: found.checked,
            beyond: found.beyond,
            near: found.undecided + found.near,
            standing: standing(found.beyond, found.undecided + found.near),
            note: None,
        }
    };
    let row = |found: (&Clause, &ClauseFindings)| {
        let (clause, mut row) = (*found.0, row(found));
        row.note = resolving(clause, rules, &row, period);
        if row.note.is_some() {
            row.standing = row.standing.max(Standing::Undecided);
        }
        row
    };
    findings.clauses.iter().map(row).collect()
}

const fn standing(beyond: u64, near: u64) -> Standing {
    if beyond > 0 {
        Standing::Violation
    } else if near > 0 {
        Standing::Undecided
    } else {
        Standing::Within
    }
}

/// The reading nearest to the limit where none is beyond it.
fn nearest(signal: &SignalReport, clause: Clause) -> Option<(f64, f64)> {
    let shown = |estimate: Estimate| (estimate.value, estimate.expanded());
    let least =
        |figures: &Option<crate::track::Figures>| figures.as_ref().map(|f| shown(f.least.estimate));
    let greatest = |figures: &Option<crate::track::Figures>| {
        figures.as_ref().map(|f| shown(f.greatest.estimate))
    };
    match clause {
        Clause::OneHalfShort => least(&signal.ones.all),
        Clause::OneHalfLong => greatest(&signal.ones.all),
        Clause::OneHalvesDiffer => greatest(&signal.difference),
        Clause::ZeroHalfShort => least(&signal.zeros.all).or_else(|| least(&signal.stretched)),
        Clause::ZeroHalfLong => greatest(&signal.stretched).or_else(|| greatest(&signal.zeros.all)),
        // The longest whole bit is not kept, only that it was short enough.
        Clause::ZeroBitLong => None,
        Clause::PreambleShort => signal
            .packets
            .shortest_preamble
            .map(|n| (f64::from(n), 0.0)),
        Clause::StartBitsApart => greatest(&signal.packets.start_to_start),
        Clause::CutoutStartEarly => least(&signal.cutouts.start),
        Clause::CutoutStartLate => greatest(&signal.cutouts.start),
        Clause::CutoutEndEarly => least(&signal.cutouts.end),
        Clause::CutoutEndLate => greatest(&signal.cutouts.end),
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

fn check_bytes(signal: &SignalReport) -> RuleRow {
    let wrong = signal.packets.wrong_check;
    RuleRow {
        source: "NMRA S-9.2:2004 section A".to_owned(),
        what: "wrong check bytes".to_owned(),
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
    }
}

/// Slew and amplitude of an analogue channel.
fn analogue(signal: &SignalReport) -> Vec<RuleRow> {
    let mut rows = Vec::new();
    if let Some(shape) = &signal.shape {
        let slopes = [
            (&shape.rising, "rising slew low"),
            (&shape.falling, "falling slew low"),
        ];
        for (figures, what) in slopes {
            if let Some(slowest) = figures.slowest {
                let bounded = figures.slew_bounded > 0;
                let source = "NMRA S-9.1:2020, -4 to +4 V";
                let mut row = single(source, what, Measure::Slew, slowest, (SLEW, true));
                row.checked = figures.measured;
                if bounded && row.standing != Standing::Within {
                    row.standing = Standing::Undecided;
                    (row.beyond, row.near) = (0, figures.slew_bounded);
                    row.note = Some(
                        "no sample between -4 and +4 V: the slew is at least this; sample faster"
                            .to_owned(),
                    );
                }
                rows.push(row);
            }
        }
    }
    if let Some(levels) = &signal.levels {
        let source = "NMRA S-9.1:2020 table 3";
        let (least, most) = AMPLITUDE;
        let volts = |what, limit| single(source, what, Measure::Voltage, levels.amplitude, limit);
        rows.push(volts("amplitude too low, any scale", (least, true)));
        rows.push(volts("amplitude too high", (most, false)));
    }
    rows
}

fn single(
    source: &str,
    what: &str,
    measure: Measure,
    seen: Estimate,
    (limit, lower): (f64, bool),
) -> RuleRow {
    let excess = if lower {
        limit - seen.value
    } else {
        seen.value - limit
    };
    let beyond = u64::from(excess > seen.expanded());
    let near = u64::from(excess > -seen.expanded()) - beyond;
    RuleRow {
        source: source.to_owned(),
        what: what.to_owned(),
        measure,
        value: Some(seen.value),
        expanded: Some(seen.expanded()),
        limit,
        lower,
        checked: 1,
        beyond,
        near,
        standing: standing(beyond, near),
        note: None,
    }
}
