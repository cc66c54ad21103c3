//! Metrics of the supply scenario: the current that the customer's supply
//! delivers, its droop, whether it hiccups, and whether the board would ever
//! see its trip current from it. It says nothing of the board itself.

use super::metrics::ENTRY;
use super::seen::{Seen, SupplyStep};
use crate::measurement::{Blame, COVERAGE, Estimate, Finding, combined};
use crate::scenario::context::Context;
use crate::scenario::sheet::Sheet;
use crate::units::{Dimension, Quantity, show};
use crate::waveform::{Signal, Trace};

const DELIVERED: (&str, Dimension) = ENTRY.metric("delivered_current");
const DROOP: (&str, Dimension) = ENTRY.metric("droop");
const HICCUP: (&str, Dimension) = ENTRY.metric("hiccup");
const REACHABLE: (&str, Dimension) = ENTRY.metric("trip_reachable");
const ALL: [(&str, Dimension); 4] = [DELIVERED, DROOP, HICCUP, REACHABLE];

/// A load that draws less than this share of what it is asked for loads
/// nothing.
const FOLLOWED: f64 = 0.9;

/// What the supply rail did over one step.
struct Rail {
    mean: f64,
    gain_u: f64,
    /// Standard uncertainty of one sample but for gain and zero.
    own_u: f64,
    /// Times at which it went under the lowest supply by more than U.
    falls: usize,
    /// Times at which it came back above by more than U.
    returns: usize,
    /// It was never within U of the lowest supply or under it.
    clear: bool,
}

impl Rail {
    fn of(step: &SupplyStep, context: &Context) -> Option<Self> {
        let trace = Trace::of(&step.take.capture, Signal::BoardSupply)?;
        let lowest = context.lowest_supply.si();
        let within = COVERAGE * combined([trace.scale_u(lowest), trace.sample_u()]);
        let values = trace.values();
        let (mut falls, mut returns, mut clear) = (0, 0, true);
        let mut down = false;
        // One stray sample is neither a fall nor a return.
        for pair in values.windows(2) {
            let most = pair[0].max(pair[1]);
            let least = pair[0].min(pair[1]);
            clear &= most >= lowest + within;
            if !down && most < lowest - within {
                (down, falls) = (true, falls + 1);
            } else if down && least > lowest + within {
                (down, returns) = (false, returns + 1);
            }
        }
        Some(Self {
            mean: values.iter().sum::<f64>() / values.len() as f64,
            gain_u: trace.gain_u(),
            own_u: trace.sample_u(),
            falls,
            returns,
            clear: clear && values.len() > 1,
        })
    }

    /// How far `later` lies below this level: zero cancels, the gain acts on
    /// the difference alone, what is each reading's own adds up (GUM 5.2.2
    /// with fully correlated gain and zero).
    fn droop(&self, later: &Self) -> Estimate {
        let droop = self.mean - later.mean;
        let u = combined([self.gain_u * droop, self.own_u, later.own_u]);
        Estimate::new(droop, u)
    }
}

pub(in crate::scenario) fn evaluate(sheet: &mut Sheet<'_>, context: &Context, seen: &Seen) {
    let (trip_current, steps) = (context.onset_level.si(), seen.steps.as_slice());
    let rails: Option<Vec<Rail>> = steps.iter().map(|step| Rail::of(step, context)).collect();
    let Some(rails) = rails else {
        sheet.missing(&ALL, "", Blame::Bench, "no channel sees the supply rail");
        return;
    };
    if !steps.iter().any(|step| step.current.si() > 0.0) {
        sheet.missing(&ALL, "", Blame::Plan, "nothing was drawn");
        return;
    }
    if let Some(reason) = dead_from_the_start(steps, &rails) {
        sheet.missing(&ALL, "", Blame::Bench, &reason);
        return;
    }
    let seen: Vec<(&SupplyStep, &Rail)> = steps.iter().zip(&rails).collect();
    let drawing = || {
        let drawing = seen.iter().filter(|(step, _)| step.current.si() > 0.0);
        drawing.filter(|(step, _)| !step.resistive)
    };
    if let Some(reason) = drawing().find_map(|(step, rail)| not_followed(step, rail)) {
        sheet.missing(&ALL, "", Blame::Bench, &reason);
        return;
    }
    // Up to the first step that is not clear: what comes after a supply that
    // gave way once proves nothing.
    let holding = drawing()
        .take_while(|(_, rail)| rail.clear)
        .filter_map(|(step, rail)| Some((*step, *rail, step.drawn?)))
        .last();
    let failing = drawing().find(|(_, rail)| rail.falls > 0).map(|s| s.0);
    let failing = failing.map(|step| (step, at_failure(step, holding.map(|h| h.2))));
    delivered(sheet, holding.map(|h| h.2), failing.map(|f| f.1));
    let bare = seen.iter().find(|(step, _)| step.current.si() == 0.0);
    match (bare, holding) {
        (Some((_, bare)), Some((step, rail, _))) => {
            let note = format!("at {}", step.current);
            sheet.add(DROOP, "", Finding::Value(bare.droop(rail)), vec![note]);
        }
        (None, _) => sheet.missing(&[DROOP], "", Blame::Plan, "no look before the load"),
        (_, None) => sheet.missing(&[DROOP], "", Blame::Bench, "no step holds"),
    }
    hiccup(sheet, &seen);
    reachable(
        sheet,
        trip_current,
        holding.map(|h| h.2),
        failing.map(|f| f.1),
    );
}

/// A rail that is not there before anything is drawn says nothing of a supply.
fn dead_from_the_start(steps: &[SupplyStep], rails: &[Rail]) -> Option<String> {
    let mut bare = steps.iter().zip(rails).filter(|s| s.0.current.si() == 0.0);
    let dead = bare.any(|(_, rail)| !rail.clear);
    dead.then(|| "the supply rail is too low before anything is drawn".to_owned())
}

/// A load that does not draw what it should while the rail is up.
fn not_followed(step: &SupplyStep, rail: &Rail) -> Option<String> {
    if !rail.clear {
        return None;
    }
    match step.drawn {
        None => Some("the load gave no reading of its current".to_owned()),
        Some(drawn) if drawn.value < FOLLOWED * step.current.si() => Some(format!(
            "the load drew only {} when asked for {}",
            show(drawn.value, Dimension::Current),
            step.current
        )),
        Some(_) => None,
    }
}

/// The current of a step that fails: what the load was asked for, known as
/// well as it is at the step before; it cannot read what does not flow.
fn at_failure(step: &SupplyStep, before: Option<Estimate>) -> Estimate {
    /// Where there is no step before: a hundredth, as a wide guess.
    const GUESS: f64 = 0.01;
    let asked = step.current.si().abs();
    let u = before.map_or(GUESS * asked, |drawn| drawn.u.abs());
    Estimate::new(asked, u)
}

fn sound(estimate: Estimate) -> Estimate {
    Estimate::new(estimate.value, estimate.u.abs())
}

fn delivered(sheet: &mut Sheet<'_>, holding: Option<Estimate>, failing: Option<Estimate>) {
    let shown = |current: Estimate| show(current.value, Dimension::Current);
    let (finding, note) = match (holding, failing) {
        (Some(most), None) => (
            Finding::Above(sound(most)),
            "no step brings the rail down".to_owned(),
        ),
        (Some(most), Some(least)) => (
            Finding::Value(sound(most)),
            format!("it gives way at {}", shown(least)),
        ),
        (None, Some(least)) => (Finding::Below(least), "no step holds".to_owned()),
        (None, None) => (
            Finding::unknown(
                Blame::Bench,
                "the rail is within U of the lowest supply voltage at every step",
            ),
            String::new(),
        ),
    };
    let notes = if note.is_empty() { vec![] } else { vec![note] };
    sheet.add(DELIVERED, "", finding, notes);
}

fn hiccup(sheet: &mut Sheet<'_>, seen: &[(&SupplyStep, &Rail)]) {
    let certain = |number: f64| Finding::Value(Estimate::new(number, 0.0));
    let again = seen.iter().find(|(_, rail)| rail.falls > 1);
    let once = seen
        .iter()
        .find(|(_, rail)| rail.falls == 1 && rail.returns > 0);
    let stays = seen
        .iter()
        .find(|(_, rail)| rail.falls == 1 && rail.returns == 0);
    let (finding, notes) = match (again, once, stays) {
        (Some((step, rail)), _, _) => {
            let note = format!("{} falls at {}", rail.falls, step.current);
            (certain(1.0), vec![note])
        }
        (None, Some((step, _)), _) => {
            let reason = format!(
                "at {} the rail fell and came back once: too short a hold to see it again",
                step.current
            );
            (Finding::unknown(Blame::Plan, reason), Vec::new())
        }
        (None, None, Some((step, _))) => {
            let note = format!("at {} the rail falls and stays down", step.current);
            (certain(0.0), vec![note])
        }
        (None, None, None) => (certain(0.0), Vec::new()),
    };
    sheet.add(HICCUP, "", finding, notes);
}

/// Whether the trip current is within the supply's reach: never guessed where
/// it lies within U of a step or between two.
fn reachable(
    sheet: &mut Sheet<'_>,
    trip: f64,
    holding: Option<Estimate>,
    failing: Option<Estimate>,
) {
    let low = |e: Estimate| e.value - COVERAGE * e.u.abs();
    let high = |e: Estimate| e.value + COVERAGE * e.u.abs();
    let certain = |number: f64| Finding::Value(Estimate::new(number, 0.0));
    let finding = if holding.is_some_and(|most| low(most) >= trip) {
        certain(1.0)
    } else if failing.is_some_and(|least| high(least) <= trip) {
        certain(0.0)
    } else {
        let reason = format!(
            "the trip current of {} lies between the step that holds and the one that does not, \
             or within U of it",
            show(trip, Dimension::Current)
        );
        Finding::unknown(Blame::Plan, reason)
    };
    let note = format!("for a trip current of {}", show(trip, Dimension::Current));
    sheet.add(REACHABLE, "", finding, vec![note]);
}
