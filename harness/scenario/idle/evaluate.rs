//! Metrics of the idle scenario: what the unloaded board draws, what its output
//! does while off, braked and on, and whether it does what its lines ask for.
//! It looks at settled states only, not at how they were reached.

use super::metrics::ENTRY;
use super::seen::{IdleStep, Seen};
use super::settings::OutputState;
use crate::measurement::{Blame, Estimate, Finding, combined, rectangular};
use crate::scenario::context::Context;
use crate::scenario::sheet::Sheet;
use crate::scenario::terms::Polarity;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{LogicLine, Signal, Trace, mean, top_state};

const CURRENT_OFF: (&str, Dimension) = ENTRY.metric("input_current_off");
const CURRENT_ON: (&str, Dimension) = ENTRY.metric("input_current_on");
const OFF_VOLTAGE: (&str, Dimension) = ENTRY.metric("off_voltage");
const OFF_LEAKAGE: (&str, Dimension) = ENTRY.metric("off_leakage");
const ENABLE: (&str, Dimension) = ENTRY.metric("off_when_disabled");
const BRAKE: (&str, Dimension) = ENTRY.metric("off_when_braked");
const POLARITY: (&str, Dimension) = ENTRY.metric("polarity_correct");
const FAULT_LINE: (&str, Dimension) = ENTRY.metric("fault_line_inactive");

/// Below this share of the supply voltage an output is dead, above the other
/// one it is alive.
const DEAD: f64 = 0.1;
const ALIVE: f64 = 0.5;
/// A bleeder is good to a hundredth, taken as a rectangle (common practice, no
/// source).
const BLEEDER: f64 = 0.01;

const NOT_ON: &str = "the output was not switched on";
const NO_VOLTAGE: &str = "no channel sees the output voltage";

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let steps = seen.steps.as_slice();
    let full: Vec<&IdleStep> = steps
        .iter()
        .filter(|step| step.supply.si() > context.supply_voltage.si() * 0.999)
        .collect();
    let off = last_of(&full, OutputState::Off);
    match (steps.last(), full.is_empty()) {
        // It was taken no further than where its supply limits.
        (Some(last), true) if last.take.supply_protected => stopped(sheet, last),
        _ => {
            current_off(sheet, off);
            currents_on(sheet, &full);
            off_voltage(sheet, context, off);
            let on: Vec<&IdleStep> = of_state(&full, OutputState::On).collect();
            let braked = last_of(&full, OutputState::Braked);
            obeyed(sheet, ENABLE, context, off, &on);
            obeyed(sheet, BRAKE, context, braked, &on);
            polarity(sheet, context, &on);
            fault_line(sheet, &full);
        }
    }
}

fn of_state<'a>(
    steps: &'a [&'a IdleStep],
    state: OutputState,
) -> impl Iterator<Item = &'a IdleStep> {
    steps.iter().copied().filter(move |s| s.state == state)
}

fn last_of<'a>(steps: &'a [&'a IdleStep], state: OutputState) -> Option<&'a IdleStep> {
    of_state(steps, state).last()
}

/// The supply limited below the voltage at which the board is tested: its
/// current is a bound and nothing else was looked at.
fn stopped(sheet: &mut Sheet<'_>, last: &IdleStep) {
    let voltage = show(last.supply.si(), Dimension::Voltage);
    let reason = format!("the supply limited its current at {voltage}, the output off");
    sheet.add(CURRENT_OFF, "", current(last), vec![reason.clone()]);
    let rest = [
        CURRENT_ON,
        OFF_VOLTAGE,
        OFF_LEAKAGE,
        ENABLE,
        BRAKE,
        POLARITY,
        FAULT_LINE,
    ];
    sheet.missing(&rest, "", Blame::Board, &reason);
}

/// The supply's reading with the uncertainty that its profile states; a bound
/// where it limits.
fn current(step: &IdleStep) -> Finding {
    match step.input_current {
        Some(reading) if step.take.supply_protected => Finding::Above(reading),
        Some(reading) => Finding::Value(reading),
        None => Finding::unknown(Blame::Bench, "the supply stated no current"),
    }
}

fn current_off(sheet: &mut Sheet<'_>, off: Option<&IdleStep>) {
    match off {
        Some(step) => sheet.add(CURRENT_OFF, "", current(step), limiting(step)),
        None => sheet.missing(
            &[CURRENT_OFF],
            "",
            Blame::Plan,
            "the output was never left off",
        ),
    }
}

fn currents_on(sheet: &mut Sheet<'_>, full: &[&IdleStep]) {
    let mut none = true;
    for step in of_state(full, OutputState::On) {
        none = false;
        sheet.add(CURRENT_ON, step.drive.word(), current(step), limiting(step));
    }
    if none {
        sheet.missing(&[CURRENT_ON], "", Blame::Plan, NOT_ON);
    }
}

fn limiting(step: &IdleStep) -> Vec<String> {
    let limits = step.take.supply_protected;
    limits
        .then(|| "the supply limited its current".to_owned())
        .into_iter()
        .collect()
}

/// Mean of the rail-to-rail voltage, and what it drives through the bleeder.
fn off_voltage(sheet: &mut Sheet<'_>, context: &Context, off: Option<&IdleStep>) {
    let both = [OFF_VOLTAGE, OFF_LEAKAGE];
    let Some(step) = off else {
        sheet.missing(&both, "", Blame::Plan, "the output was never left off");
        return;
    };
    let found = Trace::of(&step.take.capture, Signal::NodeVoltage)
        .and_then(|trace| mean(&trace, trace.first(), f64::INFINITY, false));
    let Some(level) = found else {
        sheet.missing(&both, "", Blame::Bench, NO_VOLTAGE);
        return;
    };
    let level = Estimate::new(level.value.abs(), level.u);
    sheet.add(OFF_VOLTAGE, "", Finding::Value(level), Vec::new());
    let bleeder = context.bleeder.map(Quantity::si).filter(|ohms| *ohms > 0.0);
    let Some(bleeder) = bleeder else {
        let reason = "the bench states no bleeder across the node";
        sheet.missing(&[OFF_LEAKAGE], "", Blame::Bench, reason);
        return;
    };
    // I = V / R: relative uncertainties add in squares (GUM 5.1.6).
    let leakage = level.value / bleeder;
    let u = combined([level.u / bleeder, leakage * rectangular(BLEEDER)]);
    let note = format!("through {}", show(bleeder, Dimension::Resistance));
    let finding = Finding::Value(Estimate::new(leakage, u));
    sheet.add(OFF_LEAKAGE, "", finding, vec![note]);
}

/// Whether a level is on the far side of a bound; `None` where its expanded
/// uncertainty does not tell.
fn beyond(level: Estimate, bound: f64) -> Option<bool> {
    let apart = level.value - bound;
    (apart.abs() > level.expanded()).then_some(apart > 0.0)
}

/// Dead in the one state, alive in every state that is on. What decides is a
/// level with its U, so the answer itself carries none.
fn obeyed(
    sheet: &mut Sheet<'_>,
    metric: (&str, Dimension),
    context: &Context,
    dead: Option<&IdleStep>,
    on: &[&IdleStep],
) {
    let Some(dead) = dead.filter(|_| !on.is_empty()) else {
        let reason = "the output was not taken in this state and on";
        sheet.missing(&[metric], "", Blame::Plan, reason);
        return;
    };
    let level = |step: &IdleStep| {
        let trace = Trace::of(&step.take.capture, Signal::NodeVoltage)?;
        top_state(&trace, trace.first(), f64::INFINITY)
    };
    let lowest = on
        .iter()
        .map(|step| level(step))
        .collect::<Option<Vec<Estimate>>>()
        .and_then(|levels| {
            let lower = |a: Estimate, b: Estimate| if b.value < a.value { b } else { a };
            levels.into_iter().reduce(lower)
        });
    let (Some(dead_level), Some(on_level)) = (level(dead), lowest) else {
        sheet.missing(&[metric], "", Blame::Bench, NO_VOLTAGE);
        return;
    };
    let supply = context.supply_voltage.si();
    let words = [(dead.state.word(), dead_level), ("on, at least", on_level)];
    let notes = words
        .map(|(word, level)| format!("{word} {}", show(level.value, Dimension::Voltage)))
        .into();
    let lives = beyond(dead_level, DEAD * supply);
    let drives = beyond(on_level, ALIVE * supply);
    let finding = match (lives, drives) {
        (Some(true), _) | (_, Some(false)) => Finding::Value(Estimate::new(0.0, 0.0)),
        (Some(false), Some(true)) => Finding::Value(Estimate::new(1.0, 0.0)),
        _ => Finding::unknown(
            Blame::Bench,
            "the output's level is within U of the level that decides",
        ),
    };
    sheet.add(metric, "", finding, notes);
}

/// Said where the source did not do as it was told.
const NOT_HELD: &str = "the board's first input shows another polarity than the signal source was \
     told to hold: look at the source and its wires";

/// Whether the output has the sign that its input asks for.
fn polarity(sheet: &mut Sheet<'_>, context: &Context, on: &[&IdleStep]) {
    if on.is_empty() {
        sheet.missing(&[POLARITY], "", Blame::Plan, NOT_ON);
    }
    for step in on {
        let at = step.drive.word();
        let Some(trace) = Trace::of(&step.take.capture, Signal::NodeVoltage) else {
            sheet.missing(&[POLARITY], at, Blame::Bench, NO_VOLTAGE);
            continue;
        };
        let line = step.take.capture.line(LogicLine::SignalA);
        let held = match step.drive {
            Polarity::Positive => Some(true),
            Polarity::Negative => Some(false),
            Polarity::Alternating => None,
        };
        if let (Some(held), Some(line)) = (held, line)
            && (line.initial != held || !line.changes.is_empty())
        {
            sheet.missing(&[POLARITY], at, Blame::Bench, NOT_HELD);
            continue;
        }
        let asked: Vec<bool> = match (step.drive, line) {
            (Polarity::Positive, _) => vec![true; trace.len()],
            (Polarity::Negative, _) => vec![false; trace.len()],
            (Polarity::Alternating, Some(line)) => {
                // Its changes lie in rising order: one walk over both.
                let mut changes = line.changes.iter().copied().peekable();
                let mut level = line.initial;
                let walk = (0..trace.len()).map(|index| {
                    while changes.next_if(|&at| at as usize <= index).is_some() {
                        level = !level;
                    }
                    level
                });
                walk.collect()
            }
            (Polarity::Alternating, None) => {
                let reason = "no line shows the board's first input";
                sheet.missing(&[POLARITY], at, Blame::Bench, reason);
                continue;
            }
        };
        let level = ALIVE * context.supply_voltage.si();
        let (mut alive, mut right) = (0_usize, 0_usize);
        for (value, positive) in trace.values().iter().zip(asked) {
            if value.abs() > level {
                alive += 1;
                right += usize::from((*value > 0.0) == positive);
            }
        }
        let obeys = 2 * alive >= trace.len() && 4 * right >= 3 * alive;
        let note = format!(
            "driven in {} of {} samples, rightly in {right}",
            alive,
            trace.len()
        );
        let value = Estimate::new(f64::from(u8::from(obeys)), 0.0);
        sheet.add(POLARITY, at, Finding::Value(value), vec![note]);
    }
}

/// Whether the fault line stays low in every state.
fn fault_line(sheet: &mut Sheet<'_>, full: &[&IdleStep]) {
    if full.is_empty() {
        sheet.missing(&[FAULT_LINE], "", Blame::Plan, "no state was taken");
        return;
    }
    let mut loud: Vec<String> = Vec::new();
    for step in full {
        let capture = &step.take.capture;
        let Some(line) = capture
            .line(LogicLine::Fault)
            .filter(|_| !capture.is_empty())
        else {
            let reason = "no line shows the board's fault output";
            sheet.missing(&[FAULT_LINE], "", Blame::Bench, reason);
            return;
        };
        if line.initial || !line.changes.is_empty() {
            loud.push(match step.state {
                OutputState::On => format!("it rose while on, {}", step.drive.word()),
                state => format!("it rose while {}", state.word()),
            });
        }
    }
    let value = Estimate::new(f64::from(u8::from(loud.is_empty())), 0.0);
    sheet.add(FAULT_LINE, "", Finding::Value(value), loud);
}
