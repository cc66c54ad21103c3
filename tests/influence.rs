//! The written table of what each part of a board moves, held to the model
//! board: a change planted in one parameter, with no noise, no instrument error
//! and no spread, moves exactly the metrics of the table, in its direction,
//! and by the size of a closed form where there is one. So does each other way
//! of building it that the table has. Contacts close at another phase of the
//! signal in each run, so that boards are compared by the means of several runs.

use crate::lots::Workshop;
use bufferstop::document::Source;
use bufferstop::measurement::{Estimate, Finding};
use bufferstop::model_board::{self, BOARD, BoardParameters};
use bufferstop::plan;
use bufferstop::plan::{Plan, demo};
use bufferstop::scenario::{INFLUENCES, Influence, ScenarioKind, Way};
use bufferstop::seed::Seed;
use bufferstop::units::Ratio;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// A metric has moved where no run of the changed board comes nearer to any of the
/// board as it is than so many expanded uncertainties.
const MOVED: f64 = 3.0;

/// What is planted: a factor and something on top, in SI units.
const PLANTED: &[(&str, f64, f64)] = &[
    ("bulk_capacitance", 2.0, 0.0),
    ("bulk_resistance", 12.0, 0.0),
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
    ("trip_polled_period", 1.0, 2e-3),
    ("retry_interval", 1.2, 0.0),
    ("retry_backoff", 1.2, 0.0),
    ("reversing_current", 1.35, 0.0),
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

/// What a plan says instead of what the demo's says, so that it can be carried
/// out on boards that are built so.
const OTHER_PLANS: &[(&str, &[(&str, &str)])] = &[(
    "on_signal_loss = \"off\"",
    &[
        ("on_signal_loss = \"hold\"", "on_signal_loss = \"off\""),
        ("\"idle\"\n", "\"idle\"\npolarities = [\"alternating\"]\n"),
        ("[\"positive\", \"negative\", ", "["),
        (
            "level_asymmetry = { max = \"700 mV\", source = \"house limit\" }\n",
            "",
        ),
        ("\"sense\"\n", "\"sense\"\npolarities = [\"alternating\"]\n"),
        (
            "residual_dc =",
            "shutdown_time = { max = \"20 ms\", source = \"house limit\" }\nresidual_dc =",
        ),
    ],
)];

/// A metric's size by a closed form: parameter (and what it is where it is a
/// choice), metric, where, the value expected of the one before, and how far it
/// may be off.
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
/// P0 R / (1 - k P0 R) (lumped, textbook). A leak and the known bleeder of
/// 1 kohm divide 18 V. The snubber's 10 nF empty over its 100 ohm and the
/// bleeder: 11 us times ln(0.909 / 0.05), and the last edge was up to 58 us ago.
/// One leg sees one polarity, so that both together are half counted: the line
/// through steps of 0 to 3 A in each has half the slope, and either polarity
/// leaves it by half the span. Without reversal a trip comes 2 ms and 5 ms
/// sooner, and its filter passes 4 A instead of 3.5 A first. A delay is read at edges
/// that are sampled each 0.2 us and less, at the same places of a sample every time.
/// A cutout counts from an edge upwards, which ends with the later of two lines: one
/// that is 2.0 us late behind one that is 1.1 us late, or 2.2 us.
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
        |was| was + 33.7e-6,
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
    size(
        "sense_gain",
        "sense.scale_factor",
        "",
        |was| was / 1.1,
        8e-6,
    ),
    size("sense_gain", "sense.full_scale", "", |was| was / 1.1, 0.05),
    size(
        "converter_reference",
        "sense.scale_factor",
        "",
        |was| was * 1.2,
        1.3e-5,
    ),
    size(
        "converter_bits",
        "sense.scale_factor",
        "",
        |was| was / 4.0,
        5e-6,
    ),
    // 0.2 V over 0.25 V/A.
    size(
        "sense_offset",
        "sense.zero_offset",
        "",
        |was| was + 0.8,
        0.01,
    ),
    size(
        "dead_time",
        "signal.propagation_delay",
        "mean",
        |was| was + 0.4e-6,
        0.08e-6,
    ),
    size(
        "delay_rising",
        "signal.cutout_start",
        "no load, mean",
        |was| was - (2.0e-6 - 1.1e-6),
        0.1e-6,
    ),
    size(
        "delay_falling_b",
        "signal.cutout_start",
        "no load, mean",
        |was| was - 1.1e-6,
        0.1e-6,
    ),
    size(
        "delay_falling_b",
        "signal.cutout_end",
        "no load, mean",
        |was| was - 1.1e-6,
        0.1e-6,
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
    size(
        "leakage_resistance = \"22 kohm\"",
        "idle.off_voltage",
        "",
        |_| 18.0 * 1e3 / 23e3,
        0.01,
    ),
    size(
        "leakage_resistance = \"22 kohm\"",
        "idle.off_leakage",
        "",
        |_| 18.0 / 23e3,
        10e-6,
    ),
    size(
        "signal_lines = 1",
        "signal.asymmetry",
        "mean",
        |_| 2.0 * (1.1e-6 - 0.9e-6),
        0.05e-6,
    ),
    size(
        "on_signal_loss = \"off\"",
        "loss.shutdown_time",
        "",
        |_| 2e-3 + 31.9e-6 + 29e-6,
        30e-6,
    ),
    size(
        "on_signal_loss = \"off\"",
        "loss.residual_dc",
        "",
        |_| 0.0,
        0.01,
    ),
    size(
        "on_signal_loss = \"own signal\"",
        "loss.residual_dc",
        "",
        |_| 0.0,
        0.05,
    ),
    size(
        "brake_wired = false",
        "idle.off_when_braked",
        "",
        |_| 0.0,
        0.0,
    ),
    size(
        "sensed_legs = 1",
        "sense.scale_factor",
        "",
        |was| was * 2.0,
        3e-5,
    ),
    size(
        "sensed_legs = 1",
        "sense.full_scale",
        "",
        |was| was * 2.0,
        0.05,
    ),
    size("sensed_legs = 1", "sense.non_linearity", "", |_| 1.5, 0.02),
    size("retry_limit = 0", "short.retries", "", |_| 0.0, 0.0),
    size("reversing = false", "reversal.reversals", "", |_| 0.0, 0.0),
    size(
        "reversing = false",
        "overload.trip_time",
        "1.5",
        |was| was - 7e-3 + 11.2e-6,
        4e-6,
    ),
    size(
        "reversing = false",
        "overload.trip_time",
        "2",
        |was| was - 7e-3 + 5.9e-6,
        4e-6,
    ),
    size(
        "reversing = false",
        "overload.trip_time",
        "3",
        |was| was - 7e-3 + 3.0e-6,
        4e-6,
    ),
    size(
        "reversing = false",
        "reversal.trip_time",
        "",
        |was| was - 7e-3,
        20e-6,
    ),
    size(
        "reversing = false",
        "short.trip_time",
        "",
        |was| was - 7e-3,
        20e-6,
    ),
];

/// Runs of the board as it is, and of each changed one: every one closes its
/// contacts at phases of its own.
const RUNS_BEFORE: u64 = 6;
const RUNS_AFTER: u64 = 2;

/// Each metric as "scenario.key", and where; its finding in each run.
type Found = BTreeMap<(String, String), Vec<Finding>>;

fn findings(workshop: &mut Workshop, board: &BoardParameters, runs: u64) -> Found {
    let mut found = Found::new();
    for run in 1..=runs {
        let record = workshop.accept(board, Seed(run));
        for judged in record.scenarios.iter().flat_map(|s| &s.metrics) {
            let metric = &judged.metric;
            let name = format!("{}.{}", metric.scenario, metric.key);
            let findings = found.entry((name, metric.at.to_string())).or_default();
            findings.push(metric.finding.clone());
        }
    }
    found
}

/// What the runs of one board say of one metric.
#[derive(Clone, Copy, Debug)]
struct Seen {
    kind: Kind,
    mean: f64,
    least: f64,
    most: f64,
    /// The largest expanded uncertainty that a run states.
    expanded: f64,
    /// Standard deviation between runs, and how many there were.
    scatter: f64,
    runs: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Kind {
    Value,
    Above,
    Below,
    Unknown,
}

/// What is known of a finding as a number, be it a bound.
fn number(finding: &Finding) -> Option<(Kind, &Estimate)> {
    match finding {
        Finding::Value(e) => Some((Kind::Value, e)),
        Finding::Above(e) => Some((Kind::Above, e)),
        Finding::Below(e) => Some((Kind::Below, e)),
        Finding::Unknown { .. } => None,
    }
}

/// The numbers of the runs; what most of them are is the kind of all.
fn seen(findings: &[Finding]) -> Seen {
    let of = |kind| {
        let numbers = findings.iter().filter_map(number);
        let same = numbers.filter(|(is, _)| *is == kind);
        same.map(|(_, estimate)| *estimate).collect::<Vec<_>>()
    };
    let kinds = [Kind::Value, Kind::Above, Kind::Below].map(|kind| (kind, of(kind)));
    let most = kinds.into_iter().max_by_key(|(_, same)| same.len());
    let (kind, same) = most.expect("three kinds");
    let runs = same.len() as f64;
    let kind = if runs * 2.0 < findings.len().max(1) as f64 {
        Kind::Unknown
    } else {
        kind
    };
    let values = || same.iter().map(|e| e.value);
    let mean = values().sum::<f64>() / runs;
    let squares = values().map(|value| (value - mean) * (value - mean));
    Seen {
        kind,
        mean,
        least: values().fold(f64::INFINITY, f64::min),
        most: values().fold(f64::NEG_INFINITY, f64::max),
        expanded: same.iter().map(|e| e.expanded()).fold(0.0, f64::max),
        scatter: (squares.sum::<f64>() / (runs - 1.0).max(1.0)).sqrt(),
        runs,
    }
}

/// The expanded uncertainty of the difference of two means by what runs scatter.
fn between(was: Seen, is: Seen) -> f64 {
    let scatter = was.scatter.max(is.scatter);
    2.0 * scatter * (1.0 / was.runs + 1.0 / is.runs).sqrt()
}

/// Whether a metric has moved, and how; one that is gone has no findings.
fn moved(was: &[Finding], is: &[Finding]) -> Option<Way> {
    let (was, is) = (seen(was), seen(is));
    match (was.kind, is.kind) {
        (Kind::Unknown, Kind::Unknown) => return None,
        (Kind::Unknown, _) | (_, Kind::Unknown) => return Some(Way::NotFound),
        (Kind::Value, Kind::Above) => return Some(Way::UpToBound),
        (Kind::Value, Kind::Below) => return Some(Way::DownToBound),
        _ => {}
    }
    let known = MOVED * was.expanded + 1e-12;
    if is.least - was.most > known {
        return Some(Way::Up);
    }
    (was.least - is.most > known).then_some(Way::Down)
}

/// What moves at some phases alone: a board that sees one half only is late where a
/// fault begins in the other, and one that looks every so often by where between two
/// looks it begins.
const AT_SOME_PHASES: [(&str, &str); 3] = [
    ("trip_polled_period", "short.let_through"),
    ("sensed_legs = 1", "reversal.trip_time"),
    ("sensed_legs = 1", "reversal.reversal_time"),
];

/// Whether a metric goes `way` in one run at least, and in none the other way.
fn reaches(way: Way, was: &[Finding], is: &[Finding]) -> bool {
    let (was, is) = (seen(was), seen(is));
    let known = MOVED * was.expanded + 1e-12;
    let values = was.kind == Kind::Value && is.kind == Kind::Value;
    match way {
        Way::Up => values && is.most - was.most > known && is.least >= was.least - known,
        Way::Down => values && was.least - is.least > known && is.most <= was.most + known,
        _ => false,
    }
}

/// Whether the table's word covers what was seen: a metric that becomes a bound
/// in one place may just move to that side in another.
fn covers(told: Way, seen: Way) -> bool {
    told == seen
        || matches!(
            (told, seen),
            (Way::Either, Way::Up | Way::Down)
                | (Way::UpToBound, Way::Up)
                | (Way::DownToBound, Way::Down)
        )
}

/// How an influence is called.
fn named(influence: &Influence) -> String {
    match influence.choice {
        Some(choice) => format!("{} = {}", influence.parameter, choice.is),
        None => influence.parameter.to_owned(),
    }
}

/// What is wrong with an influence, as lines of text.
fn held_to(influence: &Influence, base: &Found, found: &Found) -> String {
    let mut wrong = String::new();
    let named = named(influence);
    let mut went_by: BTreeMap<String, Vec<Way>> = BTreeMap::new();
    for (place, was) in base {
        let after = found.get(place).map_or(&[][..], Vec::as_slice);
        let Some(way) = moved(was, after) else {
            continue;
        };
        let (name, at) = place;
        let told = influence
            .moves
            .iter()
            .find(|m| *name == format!("{}.{}", m.scenario, m.metric));
        let (went, was, is) = (way.word(), seen(was), seen(after));
        match told.map(|told| told.way) {
            None => {
                let _ = writeln!(
                    wrong,
                    "{named}: {name} {at} went {went} outside the table: {was:?} -> {is:?}"
                );
            }
            Some(told) if !covers(told, way) => {
                let told = told.word();
                let _ = writeln!(
                    wrong,
                    "{named}: {name} {at} went {went} instead of {told}: {was:?} -> {is:?}"
                );
            }
            Some(_) => went_by.entry(name.clone()).or_default().push(way),
        }
    }
    for told in influence.moves {
        let name = format!("{}.{}", told.scenario, told.metric);
        let ways = went_by.remove(&name).unwrap_or_default();
        let as_told = |way: &Way| *way == told.way || told.way == Way::Either;
        let in_one = || {
            AT_SOME_PHASES.contains(&(&named, &name))
                && base
                    .iter()
                    .filter(|((is, _), _)| *is == name)
                    .any(|(place, was)| {
                        let after = found.get(place).map_or(&[][..], Vec::as_slice);
                        reaches(told.way, was, after)
                    })
        };
        if !ways.iter().any(as_told) && !in_one() {
            let told = told.way.word();
            let _ = writeln!(wrong, "{named}: {name} nowhere went {told}");
            for ((_, at), was) in base.iter().filter(|((is, _), _)| *is == name) {
                let after = found.get(&(name.clone(), at.clone()));
                let is = seen(after.map_or(&[], Vec::as_slice));
                let _ = writeln!(wrong, "    at {at}: {:?} -> {is:?}", seen(was));
            }
        }
    }
    wrong
}

fn sized(named: &str, base: &Found, found: &Found) -> String {
    let mut wrong = String::new();
    for size in SIZES.iter().filter(|size| size.parameter == named) {
        let mut matched = 0;
        for ((name, at), was) in base {
            if name != size.metric || !at.contains(size.at) {
                continue;
            }
            let is = found.get(&(name.clone(), at.clone()));
            let (was, is) = (seen(was), seen(is.map_or(&[], Vec::as_slice)));
            if was.kind == Kind::Unknown || is.kind != Kind::Value {
                continue;
            }
            matched += 1;
            let expected = (size.expected)(was.mean);
            if (is.mean - expected).abs() > size.off.hypot(between(was, is)) {
                let _ = writeln!(
                    wrong,
                    "{named}: {name} {at} is {:e}, by the closed form {expected:e}",
                    is.mean
                );
            }
        }
        if matched == 0 {
            let _ = writeln!(wrong, "{named}: no {} {}", size.metric, size.at);
        }
    }
    wrong
}

/// A workshop whose instruments do not err.
fn exact() -> Workshop {
    let mut workshop = Workshop::new();
    let fixture = &mut workshop.bench.model.as_mut().expect("a model").fixture;
    fixture.instrument_errors = Ratio::new(0.0);
    fixture.instrument_noise = Ratio::new(0.0);
    workshop
}

/// The demo's board with a parameter as its file would say it; "none" leaves it
/// out.
fn built(parameter: &str, is: &str) -> BoardParameters {
    let text = demo::board().text;
    let lines = text.lines().filter(|line| {
        let key = line.split(" =").next().unwrap_or_default();
        // What a board does not have it cannot be told about.
        let without = (parameter, is) == ("reversing", "false") && key.starts_with("reversing_");
        key != parameter && !without
    });
    let mut text = lines.collect::<Vec<_>>().join("\n");
    if is != "none" {
        let with = format!("[nominal]\n{parameter} = {is}\n");
        text = text.replacen("[nominal]\n", &with, 1);
    }
    let source = Source::new("board.toml", text);
    let (board, warnings) = model_board::parse(&source).expect("sound");
    assert!(warnings.is_empty(), "{warnings:?}");
    board.nominal
}

/// The demo's plan with `changes`, each from something that it says.
fn other_plan(changes: &[(&str, &str)]) -> Plan {
    let mut text = demo::plan().text;
    for (old, new) in changes {
        assert!(text.contains(old), "{old}");
        text = text.replacen(old, new, 1);
    }
    let source = Source::new("plan.toml", text);
    plan::parse(&[source]).expect("sound").0
}

#[test]
fn each_part_moves_what_the_table_says_and_nothing_else() {
    let mut workshop = exact();
    let nominal = workshop.board.nominal;
    let base = findings(&mut workshop, &nominal, RUNS_BEFORE);
    let mut wrong = String::new();
    for (name, factor, plus) in PLANTED {
        let parameter = BOARD.iter().find(|p| p.name == *name);
        let parameter = parameter.expect("a parameter of the board");
        let mut board = nominal;
        let old = (parameter.get)(&board);
        parameter.put(&mut board, old * factor + plus);
        assert_ne!(board, nominal, "{name} is planted");
        let found = findings(&mut workshop, &board, RUNS_AFTER);
        let influence = INFLUENCES.iter().find(|i| i.parameter == *name);
        wrong += &held_to(influence.expect("in the table"), &base, &found);
        wrong += &sized(name, &base, &found);
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn each_choice_moves_what_the_table_says_and_nothing_else() {
    let mut workshop = exact();
    let nominal = workshop.board.nominal;
    let demo_base = findings(&mut workshop, &nominal, RUNS_BEFORE);
    let mut wrong = String::new();
    for influence in INFLUENCES {
        let Some(choice) = influence.choice else {
            continue;
        };
        let named = named(influence);
        assert_eq!(built(influence.parameter, choice.of), nominal, "{named}");
        let board = built(influence.parameter, choice.is);
        assert_ne!(board, nominal, "{named}");
        let other = OTHER_PLANS.iter().find(|(choice, _)| *choice == named);
        let (base, found) = match other {
            None => (
                demo_base.clone(),
                findings(&mut workshop, &board, RUNS_AFTER),
            ),
            Some((_, changes)) => {
                let demo = std::mem::replace(&mut workshop.plan, other_plan(changes));
                let base = findings(&mut workshop, &nominal, RUNS_BEFORE);
                let found = findings(&mut workshop, &board, RUNS_AFTER);
                workshop.plan = demo;
                (base, found)
            }
        };
        wrong += &held_to(influence, &base, &found);
        wrong += &sized(&named, &base, &found);
    }
    assert!(wrong.is_empty(), "{wrong}");
}

#[test]
fn every_parameter_is_in_the_table_and_every_row_names_a_metric() {
    for parameter in BOARD {
        let name = parameter.name;
        let mut told = INFLUENCES.iter().filter(|i| i.parameter == name);
        let planted = PLANTED.iter().any(|(planted, ..)| *planted == name);
        let rises = told.clone().filter(|i| i.choice.is_none()).count();
        assert!(told.next().is_some(), "{name} is not in the table");
        assert_eq!(rises, usize::from(planted), "{name}");
    }
    let names: BTreeSet<String> = INFLUENCES.iter().map(named).collect();
    assert_eq!(names.len(), INFLUENCES.len(), "one of them is there twice");
    for size in SIZES {
        assert!(names.contains(size.parameter), "{}", size.parameter);
    }
    for (choice, _) in OTHER_PLANS {
        assert!(names.contains(*choice), "{choice}");
    }
    for influence in INFLUENCES {
        for moved in influence.moves {
            let kind: ScenarioKind = moved.scenario;
            assert!(kind.metric(moved.metric).is_some(), "{}", moved.metric);
        }
    }
}
