//! A take and what is known of it, as the examination of a fault wants them.
//! How a fault is found and read is told there.

use super::context::Context;
use super::take::{Proof, Take};
use super::terms::Place;
use crate::interruption::{
    self, Before, Closure, Current, Examined, Line, Provocation, Terms, Witnesses,
};
use crate::measurement::{Blame, combined, rectangular};
use crate::units::Quantity;
use crate::waveform::{Edge, LogicLine, Signal, Trace, edges};

/// The levels and times of the context.
fn terms(context: &Context) -> Terms {
    let rated = context.rated_current.si();
    Terms {
        onset: context.onset_level.si().abs(),
        off: context
            .off_level
            .map_or(0.05 * rated, |level| level.si().abs()),
        calm: 0.1 * rated,
        quiet: context.half_bit.si().max(context.cutout.si()),
        bounce: context.bounce.si(),
    }
}

/// The current `signal` of `take`, whose provocation comes at `provoked` or
/// later; `None` where no channel sees it.
pub(super) fn current(
    take: &Take,
    signal: Signal,
    provoked: f64,
    context: &Context,
) -> Option<Current> {
    let trace = Trace::of(&take.capture, signal)?;
    Some(Current::of(
        trace,
        Before::Provoked(provoked),
        &terms(context),
    ))
}

/// The closure of the branch at `place` in `take`.
pub(super) fn closure(take: &Take, place: Place, context: &Context) -> Closure {
    let (marker, pilot) = match place {
        Place::Near => (LogicLine::NearMarker, LogicLine::NearPilot),
        Place::Far => (LogicLine::FarMarker, LogicLine::FarPilot),
    };
    let capture = &take.capture;
    if take.proof == Proof::Load {
        return shorted_by_load(take, context);
    }
    let line = match take.proof {
        Proof::PilotCurrent if capture.line(pilot).is_some() => pilot,
        _ => marker,
    };
    let line = Line {
        initial: capture.line(line).map(|track| track.initial),
        edges: edges(capture, line),
        first: capture.first.si(),
        follows: take.proof != Proof::None,
        proves: match take.proof {
            Proof::PilotCurrent => line == pilot,
            Proof::SecondPole => true,
            Proof::None | Proof::Marker | Proof::Load => false,
        },
    };
    Closure::of(line, context.bounce.si())
}

/// The load's own short: from the trigger, which its current gave, for as long as it
/// was asked for.
fn shorted_by_load(take: &Take, context: &Context) -> Closure {
    let edge = |at, rising| Edge { at, rising };
    let line = Line {
        initial: Some(false),
        edges: vec![edge(0.0, true), edge(take.pulse.si(), false)],
        first: take.capture.first.si(),
        follows: true,
        proves: false,
    };
    Closure::of(line, context.bounce.si())
}

/// How well it is known when a short ended that the load times itself: the trigger
/// comes with the current's polarity, up to a half-bit or cutout late, and loads keep
/// their times to a hundredth (common practice, no source).
pub(super) fn opening_u(take: &Take, context: &Context) -> f64 {
    match take.proof {
        Proof::Load => combined([
            rectangular(terms(context).quiet),
            rectangular(0.01 * take.pulse.si()),
        ]),
        _ => 0.0,
    }
}

/// Looks for the fault that a short at `place`, or the load where `None`, made
/// in `take`.
pub(super) fn examine(take: &Take, place: Option<Place>, context: &Context) -> Examined {
    // A load that shorts its input draws as in any pulse of its own.
    let by_load = take.proof == Proof::Load;
    let place = place.filter(|_| !by_load);
    let closure = place.map(|place| closure(take, place, context));
    let closed_at = closure.as_ref().and_then(|closure| closure.closed_at);
    // Of an alternating output the half before may have begun it.
    let early = if by_load {
        -2.0 * terms(context).quiet
    } else {
        0.0
    };
    let provoked = closed_at.map_or(early, |at| at.min(0.0));
    let Some(current) = current(take, Signal::OutputCurrent, provoked, context) else {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: "no channel sees the output current".into(),
        };
    };
    let pulse = take.pulse.si();
    let supply = Trace::of(&take.capture, Signal::BoardSupply);
    let output = Trace::of(&take.capture, Signal::NodeVoltage);
    let witnesses = Witnesses {
        provocation: match &closure {
            Some(closure) => Provocation::Short { closure, pulse },
            None => Provocation::Load { pulse },
        },
        supply: supply
            .as_ref()
            .map(|rail| (rail, context.lowest_supply.si())),
        output: output
            .as_ref()
            .map(|output| (output, context.supply_voltage.si())),
        fuse_intact: take.fuse_intact,
        load_protected: take.load_protected,
        supply_protected: take.supply_protected,
    };
    interruption::examine(current, &terms(context), &witnesses)
}

/// The first instant from `from` on at which the supply rail is under its
/// stated minimum for two samples running.
pub(super) fn rail_failed(take: &Take, from: f64, context: &Context) -> Option<f64> {
    let rail = Trace::of(&take.capture, Signal::BoardSupply)?;
    interruption::rail_failed(&rail, context.lowest_supply.si(), from)
}

/// Whether the output is still on after the current ended at `end`.
pub(super) fn output_stays(take: &Take, end: f64, quiet: f64, context: &Context) -> bool {
    Trace::of(&take.capture, Signal::NodeVoltage).is_some_and(|output| {
        interruption::output_stays(&output, context.supply_voltage.si(), end, quiet)
    })
}
