//! The written table of what each part of a board moves, held to the model
//! board: a change planted in one parameter, with no noise, no instrument error
//! and no spread, moves exactly the metrics of the table, in its direction,
//! and by the size of a closed form where there is one.

use crate::lots::Workshop;
use bufferstop::catalogue::{INFLUENCES, Influence, ScenarioKind, Way};
use bufferstop::measurement::{Estimate, Finding};
use bufferstop::model_board::{BOARD, BoardParameters};
use bufferstop::seed::Seed;
use bufferstop::units::Ratio;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Beyond so many expanded uncertainties a metric has moved.
const MOVED: f64 = 3.0;

/// Parameters that say how a board is built, not what a part is like.
const BUILD: [&str; 6] = [
    "signal_lines",
    "on_signal_loss",
    "brake_wired",
    "sensed_legs",
    "retry_limit",
    "reversing",
];

/// What is planted: a factor and something on top, in SI units.
const PLANTED: &[(&str, f64, f64)] = &[
    ("bulk_capacitance", 2.0, 0.0),
    ("bulk_resistance", 5.0, 0.0),
    ("switch_resistance", 2.0, 0.0),
    ("positive_path_excess", 1.0, 0.1),
    ("switch_temperature_coefficient", 6.0, 0.0),
    ("diode_drop", 2.0, 0.0),
    ("diode_resistance", 5.0, 0.0),
    ("dead_time", 2.0, 0.0),
    ("delay_rising", 1.0, 1.1e-6),
    ("delay_falling", 1.0, 1.1e-6),
    ("delay_rising_b", 1.0, 1.1e-6),
    ("delay_falling_b", 1.0, 1.1e-6),
    ("output_resistance", 1.0, 0.1),
    ("output_inductance", 2.0, 0.0),
    ("quiescent_current", 3.0, 0.0),
    ("sense_gain", 1.1, 0.0),
    ("sense_offset", 1.0, 0.2),
    ("sense_filter", 2.0, 0.0),
    ("converter_reference", 1.2, 0.0),
    ("converter_bits", 1.0, 2.0),
    ("converter_noise", 1.0, 2.0),
    ("trip_current", 1.1, 0.0),
    ("trip_debounce", 1.0, 4e-3),
    ("trip_polled_period", 1.0, 1e-3),
    ("retry_interval", 1.2, 0.0),
    ("retry_backoff", 1.2, 0.0),
    ("reversing_current", 1.2, 0.0),
    ("reversing_debounce", 1.0, 2e-3),
    ("reversing_hold_off", 1.0, 3e-3),
    ("under_voltage", 1.2, 0.0),
    ("signal_loss_time", 2.0, 0.0),
    ("thermal_rise_per_watt", 2.0, 0.0),
    ("thermal_time_constant", 1.3, 0.0),
    ("junction_rise_per_watt", 4.0, 0.0),
    ("junction_time_constant", 3.0, 0.0),
    ("over_temperature", 0.8, 0.0),
    ("over_temperature_restart", 0.8, 0.0),
];

/// A metric's size by a closed form: parameter, metric, where, the value
/// expected of the one before, and how far it may be off.
struct Size {
    parameter: &'static str,
    metric: &'static str,
    at: &'static str,
    expected: fn(f64) -> f64,
    off: f64,
}

const fn size(
    parameter: &'static str,
    metric: &'static str,
    at: &'static str,
    expected: fn(f64) -> f64,
    off: f64,
) -> Size {
    Size {
        parameter,
        metric,
        at,
        expected,
        off,
    }
}

/// Times of the board's own logic add up; a filter of time constant T passes a
/// level L in a step to I after T ln(I / (I - L)) (textbook); a loop's current
/// is V / R, the loop being capacitor, two switches, output, leads and the
/// bench's 300 mohm; heat that grows with temperature settles at
/// P0 R / (1 - k P0 R) (lumped, textbook).
const SIZES: &[Size] = &[
    size(
        "trip_debounce",
        "overload.trip_time",
        "1.5",
        |was| was + 4e-3,
        20e-6,
    ),
    size(
        "trip_debounce",
        "short.trip_time",
        "near",
        |was| was + 4e-3,
        20e-6,
    ),
    size(
        "trip_debounce",
        "reversal.trip_time",
        "",
        |was| was + 4e-3,
        20e-6,
    ),
    size(
        "reversing_debounce",
        "reversal.reversal_time",
        "",
        |was| was + 2e-3,
        20e-6,
    ),
    size(
        "reversing_debounce",
        "short.trip_time",
        "far",
        |was| was + 2e-3,
        20e-6,
    ),
    size(
        "reversing_hold_off",
        "overload.trip_time",
        "3",
        |was| was + 3e-3,
        20e-6,
    ),
    size(
        "retry_interval",
        "short.retry_interval",
        "",
        |was| was + 0.1,
        60e-6,
    ),
    size(
        "sense_filter",
        "overload.trip_time",
        "1.5",
        |was| was + 43.8e-6,
        4e-6,
    ),
    size(
        "sense_filter",
        "overload.trip_time",
        "2",
        |was| was + 28.8e-6,
        4e-6,
    ),
    size(
        "sense_filter",
        "overload.trip_time",
        "3",
        |was| was + 17.2e-6,
        4e-6,
    ),
    size(
        "reversing_current",
        "overload.trip_time",
        "1.5",
        |was| was + 16.4e-6,
        4e-6,
    ),
    size(
        "trip_current",
        "overload.trip_current",
        "",
        |was| was + 0.4,
        0.05,
    ),
    size(
        "output_resistance",
        "load.output_resistance",
        "positive",
        |was| was + 0.1,
        8e-3,
    ),
    size(
        "output_resistance",
        "load.output_resistance",
        "negative",
        |was| was + 0.1,
        8e-3,
    ),
    size(
        "switch_resistance",
        "load.output_resistance",
        "positive",
        |was| was + 0.09,
        6e-3,
    ),
    size(
        "positive_path_excess",
        "load.output_resistance",
        "positive",
        |was| was + 0.1,
        8e-3,
    ),
    size(
        "output_resistance",
        "short.peak_current",
        "near",
        |was| was * 0.46 / 0.56,
        1.0,
    ),
    size(
        "switch_resistance",
        "short.peak_current",
        "near",
        |was| was * 0.46 / 0.55,
        1.0,
    ),
    size(
        "quiescent_current",
        "idle.input_current_off",
        "",
        |was| was + 0.08,
        3e-3,
    ),
    size(
        "quiescent_current",
        "idle.input_current_on",
        "",
        |was| was + 0.08,
        3e-3,
    ),
    size("sense_gain", "sense.sense_scale", "", |was| was / 1.1, 3e-5),
    size("sense_gain", "sense.full_scale", "", |was| was / 1.1, 0.05),
    size(
        "converter_reference",
        "sense.sense_scale",
        "",
        |was| was * 1.2,
        5e-5,
    ),
    size(
        "converter_bits",
        "sense.sense_scale",
        "",
        |was| was / 4.0,
        2e-5,
    ),
    // 0.2 V over 0.4 V/A.
    size(
        "sense_offset",
        "sense.sense_offset",
        "",
        |was| was + 0.5,
        0.01,
    ),
    size(
        "dead_time",
        "signal.propagation_delay",
        "mean",
        |was| was + 0.4e-6,
        0.03e-6,
    ),
    size(
        "thermal_time_constant",
        "soak.thermal_time_constant",
        "",
        |was| was * 1.3,
        2.0,
    ),
    // The rise is R P at the case; P0 = P / (1 + k 14 P) without the feedback
    // of the whole rise, and P = P0 / (1 - k 26 P0) with 24 K/W.
    size(
        "thermal_rise_per_watt",
        "soak.temperature_rise",
        "",
        |was| {
            let p = was / 12.0;
            let p0 = p / (1.0 + 0.004 * 14.0 * p);
            24.0 * p0 / (1.0 - 0.004 * 26.0 * p0)
        },
        0.6,
    ),
];

type Found = BTreeMap<(String, String), Finding>;

/// Each metric as "scenario.key", and where.
fn findings(workshop: &mut Workshop, board: &BoardParameters) -> Found {
    let record = workshop.accept(board, Seed(1));
    let metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
    metrics
        .map(|judged| {
            let metric = &judged.metric;
            let name = format!("{}.{}", metric.scenario, metric.key);
            ((name, metric.at.to_string()), metric.finding.clone())
        })
        .collect()
}

/// Whether a finding has moved, and to which side; a number that became a
/// bound has moved to the bound's side.
fn moved(was: &Finding, is: &Finding) -> Option<Way> {
    let beyond = |a: &Estimate, b: &Estimate| {
        let change = b.value - a.value;
        (change.abs() > MOVED * a.expanded() + 1e-12).then_some(if change > 0.0 {
            Way::Up
        } else {
            Way::Down
        })
    };
    match (was, is) {
        (Finding::Value(a), Finding::Value(b))
        | (Finding::Above(a), Finding::Above(b))
        | (Finding::Below(a), Finding::Below(b)) => beyond(a, b),
        (_, Finding::Above(_)) => Some(Way::Up),
        (_, Finding::Below(_)) => Some(Way::Down),
        _ => (was != is).then_some(Way::Either),
    }
}

/// What is wrong with an influence, as lines of text.
fn held_to(influence: &Influence, base: &Found, found: &Found) -> String {
    let mut wrong = String::new();
    let mut seen: BTreeMap<String, bool> = influence
        .moves
        .iter()
        .map(|m| (format!("{}.{}", m.scenario, m.metric), false))
        .collect();
    for (place, was) in base {
        let Some(way) = moved(was, &found[place]) else {
            continue;
        };
        let (name, at) = place;
        let told = influence
            .moves
            .iter()
            .find(|m| *name == format!("{}.{}", m.scenario, m.metric));
        let Some(told) = told else {
            let _ = writeln!(
                wrong,
                "{}: {name} {at} moved {} outside the table: {was:?} -> {:?}",
                influence.parameter,
                way.word(),
                found[place]
            );
            continue;
        };
        seen.insert(name.clone(), true);
        if told.way != Way::Either && told.way != way {
            let _ = writeln!(
                wrong,
                "{}: {name} {at} went {} instead of {}",
                influence.parameter,
                way.word(),
                told.way.word()
            );
        }
    }
    for (name, moved) in seen {
        if !moved {
            let _ = writeln!(wrong, "{}: {name} did not move", influence.parameter);
        }
    }
    wrong
}

fn sized(parameter: &str, base: &Found, found: &Found) -> String {
    let mut wrong = String::new();
    for size in SIZES.iter().filter(|size| size.parameter == parameter) {
        let mut matched = 0;
        for ((name, at), was) in base {
            if name != size.metric || !at.contains(size.at) {
                continue;
            }
            let is = &found[&(name.clone(), at.clone())];
            let (Finding::Value(was), Finding::Value(is)) = (was, is) else {
                continue;
            };
            matched += 1;
            let expected = (size.expected)(was.value);
            if (is.value - expected).abs() > size.off {
                let _ = writeln!(
                    wrong,
                    "{parameter}: {name} {at} is {:e}, by the closed form {expected:e}",
                    is.value
                );
            }
        }
        if matched == 0 {
            let _ = writeln!(wrong, "{parameter}: no {} {}", size.metric, size.at);
        }
    }
    wrong
}

#[test]
fn each_part_moves_what_the_table_says_and_nothing_else() {
    let mut workshop = Workshop::new();
    let fixture = &mut workshop.bench.model.as_mut().expect("a model").fixture;
    fixture.instrument_errors = Ratio::new(0.0);
    fixture.instrument_noise = Ratio::new(0.0);
    let nominal = workshop.board.nominal;
    let base = findings(&mut workshop, &nominal);
    let mut wrong = String::new();
    for (name, factor, plus) in PLANTED {
        let parameter = BOARD.iter().find(|p| p.name == *name);
        let parameter = parameter.expect("a parameter of the board");
        let mut board = nominal;
        let old = (parameter.get)(&board);
        parameter.put(&mut board, old * factor + plus);
        assert_ne!(board, nominal, "{name} is planted");
        let found = findings(&mut workshop, &board);
        let influence = INFLUENCES.iter().find(|i| i.parameter == *name);
        wrong += &held_to(influence.expect("in the table"), &base, &found);
        wrong += &sized(name, &base, &found);
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn every_parameter_is_in_the_table_and_every_row_names_a_metric() {
    for parameter in BOARD {
        let name = parameter.name;
        let told = INFLUENCES.iter().any(|i| i.parameter == name);
        let planted = PLANTED.iter().any(|(planted, ..)| *planted == name);
        let built = BUILD.contains(&name);
        assert!(told != built && planted == told, "{name}");
    }
    for influence in INFLUENCES {
        for moved in influence.moves {
            let kind: ScenarioKind = moved.scenario;
            assert!(kind.metric(moved.metric).is_some(), "{}", moved.metric);
        }
    }
}
