//! Demands on the shape and level of a voltage: slew by direction, distortion at
//! the crossing, amplitude of every half. It reads no sample.

use super::hearing::Shaped;
use super::rows::{nothing_heard, standing};
use super::tallies::{AMPLITUDE, PLACES, SLEW};
use super::{Heard, Measure, Place, RuleRow, Standing};
use crate::measurement::{COVERAGE, Estimate, combined, resolution};
use crate::statistics::distribution::{normal, normal_critical};
use crate::track::LevelFigures;
use crate::units::{Dimension, show};

/// Distortion at the crossing, at most either way: NMRA S-9.1:2020 table 2.
const DISTORTION: f64 = 2.0;

const OF_SLEW: &str = "NMRA S-9.1:2020, -4 to +4 V";
const OF_DISTORTION: &str = "NMRA S-9.1:2020 table 2";
const OF_AMPLITUDE: &str = "NMRA S-9.1:2020 table 3";
const UNEVEN: &str = "samples are not evenly spaced, so crossings have no shape here";

/// All demands on shape and level.
pub(super) fn shape_rows(heard: &Heard, shaped: &Shaped) -> Vec<RuleRow> {
    vec![
        slew(heard, shaped, true),
        slew(heard, shaped, false),
        distortion(heard, shaped),
        amplitude(heard, shaped, true),
        amplitude(heard, shaped, false),
    ]
}

/// Standard deviation of one sample, V, its resolution included.
fn noise(heard: &Heard, shaped: &Shaped) -> f64 {
    let levels = heard.report.levels.as_ref();
    let noise = levels.map_or(0.0, |l| l.states.noise_low.max(l.states.noise_high));
    noise.max(resolution(shaped.step))
}

/// How much farther than one the worst of `count` readings strays by chance
/// alone, where both are to stay within U as often: each is given its part of
/// the risk (Bonferroni's inequality).
fn worst_of(count: f64) -> f64 {
    normal_critical(normal(COVERAGE).upper / count.max(1.0)) / COVERAGE
}

/// One reading against one limit.
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
        places: Vec::new(),
    }
}

fn slew(heard: &Heard, shaped: &Shaped, rising: bool) -> RuleRow {
    let what = if rising {
        "rising slew low"
    } else {
        "falling slew low"
    };
    let slopes = &shaped.slopes[usize::from(!rising)];
    let figures = heard.report.shape.as_ref();
    let figures = figures.map(|s| if rising { &s.rising } else { &s.falling });
    let fitted = figures.and_then(|figures| Some((figures, figures.slowest?)));
    let seen = slopes.slowest.map(|(_, slope, sampling)| {
        let levels = std::f64::consts::SQRT_2 * noise(heard, shaped) / 8.0;
        let levels = levels * worst_of(slopes.count as f64);
        let u = combined([sampling, slope * shaped.gain_u, slope * levels]);
        Estimate::new(slope, u)
    });
    // Of the crossings some are fitted, but all are looked at.
    let slower = |seen: &Estimate| {
        fitted.is_none_or(|(_, fitted)| seen.value + seen.expanded() < fitted.value)
    };
    let located = |row: &mut RuleRow, u: f64| {
        if row.standing == Standing::Violation {
            row.beyond = slopes.slow_count.max(1);
        }
        let places = slopes.slow.iter();
        row.places = places
            .map(|&(at, value)| Place::new(at, value, SLEW - value > u))
            .collect();
    };
    if let Some(seen) = seen.filter(slower) {
        let mut row = single(OF_SLEW, what, Measure::Slew, seen, (SLEW, true));
        row.checked = slopes.count;
        located(&mut row, seen.expanded());
        return row;
    }
    if let Some((figures, slowest)) = fitted {
        let mut row = single(OF_SLEW, what, Measure::Slew, slowest, (SLEW, true));
        row.checked = figures.measured.max(slopes.count);
        if figures.slew_bounded > 0 && row.standing != Standing::Within {
            row.standing = Standing::Inconclusive;
            (row.beyond, row.near) = (0, figures.slew_bounded);
            row.note = Some(
                "no sample between -4 and +4 V: the slew is at least this; sample faster"
                    .to_owned(),
            );
        } else {
            located(&mut row, slowest.expanded());
        }
        return row;
    }
    let none = match nothing_heard(heard) {
        Some(why) => why,
        None if !shaped.even => UNEVEN,
        None if slopes.unreached > 0 => "no crossing gets from -4 V to +4 V",
        None if slopes.looked > 0 => "no sample between -4 and +4 V; sample faster",
        None => "no crossing in this direction was found",
    };
    RuleRow::unjudged(OF_SLEW, what, (Measure::Slew, SLEW, true), none)
}

fn distortion(heard: &Heard, shaped: &Shaped) -> RuleRow {
    let what = "crossing distortion";
    let limit = (Measure::Voltage, DISTORTION, false);
    let unjudged = |why: &str| RuleRow::unjudged(OF_DISTORTION, what, limit, why);
    let looked: u64 = shaped.slopes.iter().map(|slopes| slopes.looked).sum();
    if looked == 0 {
        let none = match nothing_heard(heard) {
            Some(why) => why,
            None if !shaped.even => UNEVEN,
            None => "no crossing from -4 V to +4 V was found",
        };
        return unjudged(none);
    }
    if heard.unread.clipped.iter().all(Option::is_some) {
        return unjudged("both tops are cut off flat, so how much of it is noise cannot be stated");
    }
    let noise = noise(heard, shaped);
    let levels = heard.report.levels.as_ref();
    // Of any two samples of a crossing noise alone makes one the lower.
    let samples: u64 = shaped.slopes.iter().map(|slopes| slopes.samples).sum();
    let pairs = samples as f64 * samples as f64 / looked as f64;
    let difference = std::f64::consts::SQRT_2 * noise;
    let hidden = COVERAGE * worst_of(pairs) * difference;
    let hidden = hidden.max(levels.map_or(0.0, |l| 4.0 * l.states.resolution));
    if hidden > DISTORTION {
        return unjudged(&format!(
            "noise hides what runs backwards by less than {}",
            show(hidden, Dimension::Voltage)
        ));
    }
    let found = shaped.slopes.iter().flat_map(|slopes| &slopes.reversals);
    let mut found: Vec<_> = found.filter(|found| found.1 > hidden).collect();
    found.sort_by_key(|found| found.0);
    let shapes = heard.report.shape.as_ref();
    let fitted = shapes.into_iter().flat_map(|s| [&s.rising, &s.falling]);
    let fitted = fitted.filter_map(|figures| figures.distortion);
    let fitted = fitted.map(|(low, high)| low.abs().max(high.abs()));
    let size = found.iter().map(|found| found.2).chain(fitted);
    let size = size.fold(0.0, f64::max);
    let u = if size > 0.0 {
        combined([noise, size * shaped.gain_u, shaped.offset_u])
    } else {
        0.0
    };
    let worst = Estimate::new(size, u);
    let mut row = single(
        OF_DISTORTION,
        what,
        Measure::Voltage,
        worst,
        (DISTORTION, false),
    );
    let excess = |size: f64| size - DISTORTION;
    let beyond = found.iter().filter(|found| excess(found.2) > COVERAGE * u);
    row.beyond = row.beyond.max(beyond.count() as u64);
    row.checked = looked;
    row.places = found
        .iter()
        .filter(|found| excess(found.2) > 0.0)
        .map(|found| Place::new(found.0, found.2, excess(found.2) > COVERAGE * u))
        .take(PLACES)
        .collect();
    let lost: u64 = shaped.slopes.iter().map(|slopes| slopes.lost).sum();
    if lost > 0 && row.beyond > 0 {
        row.note = Some(format!("{lost} shallower ones are not counted"));
    }
    let blind: u64 = shaped.slopes.iter().map(|slopes| slopes.blind).sum();
    if blind > 0 && row.standing == Standing::Within {
        row.standing = Standing::Inconclusive;
        row.near = blind;
        row.note = Some(format!(
            "{blind} crossings have no sample between -4 and +4 V; sample faster"
        ));
    }
    row
}

/// The level of every half against the least or the most, whatever its polarity.
fn amplitude(heard: &Heard, shaped: &Shaped, low: bool) -> RuleRow {
    let what = if low {
        "amplitude too low, any scale"
    } else {
        "amplitude too high"
    };
    let limit = if low { AMPLITUDE.0 } else { AMPLITUDE.1 };
    let Some(levels) = &heard.report.levels else {
        let why = nothing_heard(heard).unwrap_or("the voltage has no two levels");
        return RuleRow::unjudged(OF_AMPLITUDE, what, (Measure::Voltage, limit, low), why);
    };
    let one_sided = nothing_heard(heard);
    if let Some(why) = one_sided {
        return RuleRow::unjudged(OF_AMPLITUDE, what, (Measure::Voltage, limit, low), why);
    }
    let sides = [0, 1].map(|side| one_side(heard, shaped, levels, (limit, low), side));
    let [positive, negative] = sides;
    let worse = |a: &RuleRow, b: &RuleRow| {
        let [a, b] = [a, b].map(|row| row.value.unwrap_or(limit));
        if low { a <= b } else { a >= b }
    };
    let sums = [positive.checked, positive.beyond, positive.near];
    let others = [negative.checked, negative.beyond, negative.near];
    let (first, mut row, other) = if worse(&positive, &negative) {
        ("positive", positive, negative)
    } else {
        ("negative", negative, positive)
    };
    row.checked = sums[0] + others[0];
    row.beyond = sums[1] + others[1];
    row.near = sums[2] + others[2];
    row.standing = row.standing.max(other.standing);
    row.places.extend(other.places);
    row.places.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    row.places.truncate(PLACES);
    if row.note.is_none() {
        row.note = other.note;
    }
    if row.standing == Standing::Violation {
        row.note = Some(format!("a {first} half is the worst"));
    }
    row
}

fn one_side(
    heard: &Heard,
    shaped: &Shaped,
    levels: &LevelFigures,
    (limit, low): (f64, bool),
    side: usize,
) -> RuleRow {
    let (halves, mean) = match side {
        0 => (&shaped.levels[0], levels.positive),
        _ => (&shaped.levels[1], levels.negative),
    };
    let worst = if low { halves.lowest } else { halves.highest };
    let seen = worst.map_or(mean, |(_, level)| {
        // The median of nine: 1.25 / 3 of a sample's deviation.
        let median = 0.42 * noise(heard, shaped) * worst_of(halves.count as f64);
        // A steady level is rounded the same way each time: no median helps.
        let rounding = resolution(levels.states.resolution.max(shaped.step));
        let u = combined([level * shaped.gain_u, shaped.offset_u, median, rounding]);
        Estimate::new(level, u)
    });
    let what = if low {
        "amplitude too low, any scale"
    } else {
        "amplitude too high"
    };
    let mut row = single(OF_AMPLITUDE, what, Measure::Voltage, seen, (limit, low));
    // Where single halves are too noisy to say, their mean may: with it beyond,
    // some of them are.
    if row.standing != Standing::Violation {
        let of_mean = single(OF_AMPLITUDE, what, Measure::Voltage, mean, (limit, low));
        if of_mean.standing == Standing::Violation {
            row = of_mean;
        }
    }
    let expanded = row.expanded.unwrap_or(0.0);
    if halves.count > 0 {
        row.checked = halves.count;
        let (beyond, near) = halves.against(limit, low, expanded);
        if row.standing == Standing::Violation {
            row.beyond = beyond.max(1);
        }
        row.near = row.near.max(near);
        let places = if low { &halves.low } else { &halves.high };
        let excess = |value: f64| if low { limit - value } else { value - limit };
        row.places = places
            .iter()
            .map(|&(at, value)| Place::new(at, value, excess(value) > expanded))
            .collect();
    }
    // What is cut off is at least this: it may be above the most, and need not be
    // below the least.
    let open = low != (row.standing == Standing::Within);
    if heard.unread.clipped[side].is_some() && open {
        row.standing = Standing::Inconclusive;
        (row.beyond, row.near) = (0, row.checked);
        row.note = Some("tops are cut off flat: the voltage is at least this".to_owned());
    }
    row
}
