//! What becomes of good and bad boards and of benches that prove too little:
//! each case with the finding that its definition demands.

use crate::judgement::{DecisionRule, Limit, Verdict, decide};
use crate::measurement::{Blame, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::overload::{OverloadRamp, OverloadStep};
use crate::scenario::take::{Proof, Take};
use crate::scenario::tests::made::{
    HALF, OFF, Shorted, VOLTAGE, VOLTS, chance, context, pulse, retrying, take,
};
use crate::scenario::tests::{metric, value};
use crate::units::{Amperes, Seconds};
use crate::waveform::synthetic::{Flaws, Sampling, ones};
use crate::waveform::{LogicLine, LogicTrack, Signal};

fn at_most(upper: f64) -> Limit {
    Limit {
        lower: None,
        upper: Some(upper),
        rule: DecisionRule::GuardedAcceptance { guard: 1.0 },
        source: "test".into(),
    }
}

/// The metrics of one short with this fast take.
fn shorted(fast: Take) -> Vec<Metric> {
    let pulses = vec![pulse(1, fast, None, &mut chance(&[99]))];
    evaluate(
        "short",
        &context(),
        &Observation::Short(crate::scenario::short::Seen { pulses }),
    )
}

/// A short that trips 2 ms after inception, changed by `change`.
fn altered(change: impl FnOnce(&mut Take)) -> Vec<Metric> {
    let mut fast = Shorted::new(2e-3).take(&mut chance(&[50]));
    change(&mut fast);
    shorted(fast)
}

#[track_caller]
fn blamed(metrics: &[Metric], key: &str, whose: Blame) {
    let found = &metric(metrics, key, "near").finding;
    assert!(
        matches!(found, Finding::Unknown { blame, .. } if *blame == whose),
        "{found:?}"
    );
}

#[track_caller]
fn above(metrics: &[Metric], key: &str, at: &str, bound: f64, within: f64) {
    let found = &metric(metrics, key, at).finding;
    assert!(
        matches!(found, Finding::Above(e) if (e.value - bound).abs() <= within),
        "{key}: {found:?}, not > {bound}"
    );
}

#[test]
fn a_board_that_never_trips_fails() {
    let mut made = Shorted::new(1.0);
    made.sag = 0.0;
    let metrics = shorted(made.take(&mut chance(&[51])));
    // Closed for 10 ms, onset 2 us after inception at 3 us.
    above(&metrics, "trip_time", "near", 10e-3 - 5e-6, 10e-6);
    above(&metrics, "peak_current", "near", 25.0, 1.0);
    let time = &metric(&metrics, "trip_time", "near").finding;
    assert_eq!(decide(time, &at_most(5e-3)).verdict, Verdict::Fail);
    assert_eq!(decide(time, &at_most(50e-3)).verdict, Verdict::Inconclusive);
}

#[test]
fn proof_of_closure_decides_whose_the_interruption_is() {
    let made = Shorted::new(2e-3);
    let truth = made.short.falls_under(OFF) - made.short.reaches(4.0);
    let proven = value(&altered(|_| ()), "trip_time", "near");
    assert!((proven.value - truth).abs() <= 3.0 * proven.u, "{proven:?}");
    for proof in [Proof::None, Proof::Marker] {
        blamed(&altered(|t| t.proof = proof), "trip_time", Blame::Bench);
    }
    let second = altered(|t| t.proof = Proof::SecondPole);
    value(&second, "trip_time", "near");
    blamed(
        &altered(|t| t.fuse_intact = Some(false)),
        "trip_time",
        Blame::Bench,
    );
    // A pilot that is not captured proves nothing.
    let lost = altered(|t| t.capture.lines.retain(|l| l.line != LogicLine::NearPilot));
    blamed(&lost, "trip_time", Blame::Bench);
}

/// With no more than a marker, a retry into the same short within the pulse
/// shows that the board itself had let go.
#[test]
fn a_retry_proves_the_interruption() {
    let mut chance = chance(&[52]);
    let mut made = retrying(0.5, 1.8, 0.1, &mut chance);
    made.proof = Proof::Marker;
    let metrics = shorted(made);
    let time = value(&metrics, "trip_time", "near");
    assert!(
        (time.value - 8e-3).abs() <= HALF + time.expanded(),
        "{time:?}"
    );
}

#[test]
fn an_interruption_that_is_not_the_boards_is_a_bound() {
    // Inception at 3 us; the trip at 2.003 ms is the synthetic truth.
    let until = 2.0e-3;
    for change in [
        (|t: &mut Take| t.load_protected = true) as fn(&mut Take),
        |t| t.supply_protected = true,
    ] {
        above(&altered(change), "trip_time", "near", until, 20e-6);
    }
    // The rail sags at 400 V/s: 17.5 V after 1.25 ms.
    let mut made = Shorted::new(2e-3);
    made.sag = 8000.0;
    let metrics = shorted(made.take(&mut chance(&[53])));
    // 18 V to 9 V at 8000 V/s takes 1.125 ms.
    above(&metrics, "trip_time", "near", 1.125e-3, 20e-6);
    above(&metrics, "supply_dip", "near", 9.0, 0.3);
    // The contact parts at 1 ms while the board carries on.
    let mut made = Shorted::new(8e-3);
    made.opened = 1e-3;
    let metrics = shorted(made.take(&mut chance(&[54])));
    above(&metrics, "trip_time", "near", 1e-3 - 5e-6, 10e-6);
}

/// The contact parts for 100 us, 300 us after closing, longer than a half-bit:
/// one fault, from the first onset.
#[test]
fn bounce_is_one_fault() {
    let made = Shorted::new(2e-3);
    let mut fast = made.take(&mut chance(&[55]));
    let (first, period) = (made.sampling.first, made.sampling.period);
    let apart = |index: usize| (0.3e-3..0.4e-3).contains(&(first + index as f64 * period));
    for (index, code) in fast.capture.channels[1].codes.iter_mut().enumerate() {
        if apart(index) {
            *code = 0;
        }
    }
    let count = made.sampling.count;
    for track in &mut fast.capture.lines[2..] {
        let levels: Vec<bool> = (0..count).map(|i| track.level(i) && !apart(i)).collect();
        *track = LogicTrack::from_levels(track.line, levels);
    }
    let metrics = shorted(fast);
    let truth = made.short.falls_under(OFF) - made.short.reaches(4.0);
    let found = value(&metrics, "trip_time", "near");
    assert!((found.value - truth).abs() <= found.expanded(), "{found:?}");
    let notes = &metric(&metrics, "trip_time", "near").notes;
    assert!(notes.iter().any(|n| n.contains("bounced")), "{notes:?}");
}

#[test]
fn a_trip_within_a_few_samples_is_a_bound() {
    let mut made = Shorted::new(2e-6);
    made.short.tau = 1e-6;
    made.short.decay = 0.3e-6;
    let metrics = shorted(made.take(&mut chance(&[56])));
    let found = &metric(&metrics, "trip_time", "near").finding;
    assert!(
        matches!(found, Finding::Below(e) if e.value == 6e-6),
        "{found:?}"
    );
    assert_eq!(decide(found, &at_most(1e-3)).verdict, Verdict::Pass);
    let peak = &metric(&metrics, "peak_current", "near").finding;
    assert!(matches!(peak, Finding::Above(_)), "{peak:?}");
}

#[test]
fn a_current_below_the_onset_level_judges_nothing() {
    let mut made = Shorted::new(2e-3);
    made.short.prospective = 3.0;
    let metrics = shorted(made.take(&mut chance(&[57])));
    blamed(&metrics, "trip_time", Blame::Plan);
    let peak = value(&metrics, "peak_current", "near");
    assert!((peak.value - 3.0).abs() <= peak.expanded(), "{peak:?}");
    made.short.prospective = 0.0;
    let metrics = shorted(made.take(&mut chance(&[58])));
    blamed(&metrics, "trip_time", Blame::Bench);
    // A dead output is the board's own.
    let mut fast = made.take(&mut chance(&[59]));
    fast.capture.channels[0].codes.fill(0);
    blamed(&shorted(fast), "trip_time", Blame::Board);
}

#[test]
fn the_worst_of_the_repeats_is_the_finding() {
    let mut chance = chance(&[60]);
    let mut pulses = Vec::new();
    for (repeat, trip) in [(1, 2e-3), (2, 3e-3), (3, 2.5e-3)] {
        let fast = Shorted::new(trip).take(&mut chance);
        pulses.push(pulse(repeat, fast, None, &mut chance));
    }
    let seen = |pulses: &[_]| {
        Observation::Short(crate::scenario::short::Seen {
            pulses: pulses.to_vec(),
        })
    };
    let metrics = evaluate("short", &context(), &seen(&pulses));
    let time = value(&metrics, "trip_time", "near");
    assert!((time.value - 3e-3).abs() < 20e-6, "{time:?}");
    // One repeat that is not known leaves the worst open upwards.
    pulses[2].fast.fuse_intact = Some(false);
    let metrics = evaluate("short", &context(), &seen(&pulses));
    above(&metrics, "trip_time", "near", 3e-3, 20e-6);
    let healthy = value(&metrics, "recovered_voltage", "near");
    assert!(
        (healthy.value - 1.0).abs() <= healthy.expanded(),
        "{healthy:?}"
    );
}

#[test]
fn retries_and_recovery() {
    let mut chance = chance(&[61]);
    let slow = retrying(0.5, 1.8, 0.1234, &mut chance);
    let fast = Shorted::new(2e-3).take(&mut chance);
    let pulses = vec![pulse(1, fast, Some(slow), &mut chance)];
    let metrics = evaluate(
        "short",
        &context(),
        &Observation::Short(crate::scenario::short::Seen { pulses }),
    );
    assert_eq!(value(&metrics, "retries", "near").value, 3.0);
    // Bursts of 8 ms every 500 ms; alternation blurs each end by no more than
    // a sample, since every magnitude within a burst is 25 A.
    let interval = value(&metrics, "retry_interval", "near");
    assert!(
        (interval.value - 0.492).abs() <= interval.expanded(),
        "{interval:?}"
    );
    assert!(interval.u < 20e-6);
    let back = value(&metrics, "recovery_time", "near");
    assert!((back.value - 0.1234).abs() <= back.expanded(), "{back:?}");
    assert!(back.u < 20e-6);
}

#[test]
fn an_output_that_stays_dead_is_a_bound() {
    let mut chance = chance(&[62]);
    let slow = retrying(9.0, 1.0, 9.0, &mut chance);
    let end = slow.capture.time((slow.capture.len() - 1) as f64);
    let fast = Shorted::new(2e-3).take(&mut chance);
    let mut dead = pulse(1, fast, Some(slow), &mut chance);
    dead.after.capture.channels[0].codes.fill(0);
    let seen = Observation::Short(crate::scenario::short::Seen { pulses: vec![dead] });
    let metrics = evaluate("short", &context(), &seen);
    assert_eq!(value(&metrics, "retries", "near").value, 0.0);
    above(&metrics, "retry_interval", "near", 1.0 - 8e-3, 100e-6);
    above(&metrics, "recovery_time", "near", end - 1.0, 100e-6);
    assert_eq!(value(&metrics, "recovered_voltage", "near").value, 0.0);
}

const QUIET: Flaws = Flaws {
    range: 20.0,
    noise: 0.01,
    gain_u: 0.0,
    offset_u: 0.0,
};

/// A capture of an alternating output with this magnitude of current, and the
/// voltage on or off.
fn driven(size: impl Fn(f64) -> f64, on: impl Fn(f64) -> bool, period: f64, count: usize) -> Take {
    let mut chance = chance(&[63]);
    let sampling = Sampling {
        first: -20.0 * period,
        period,
        count,
    };
    let mut capture = sampling.capture();
    capture.channels = vec![
        sampling.channel(Signal::NodeVoltage, VOLTAGE, &mut chance, |t| {
            if on(t) {
                VOLTS * ones(t, 0.0, HALF)
            } else {
                0.0
            }
        }),
        sampling.channel(Signal::OutputCurrent, QUIET, &mut chance, |t| {
            if t < 0.0 {
                0.0
            } else {
                size(t) * ones(t, 0.0, HALF)
            }
        }),
    ];
    take(capture, 20e-3, Proof::None)
}

fn overloaded(take: Take, hold: Option<OverloadRamp>) -> Vec<Metric> {
    let steps = vec![OverloadStep {
        multiple: 2.0,
        current: Amperes::new(8.0),
        take,
    }];
    let seen = Observation::Overload(crate::scenario::overload::Seen {
        ramp: None,
        steps,
        hold,
    });
    evaluate("overload", &context(), &seen)
}

#[test]
fn overload_outcomes() {
    let off_after = |end: f64| move |t: f64| if t < end { 8.0 } else { 0.0 };
    let tripped = overloaded(driven(off_after(8e-3), |t| t < 8e-3, 2e-6, 12_000), None);
    let time = value(&tripped, "trip_time", "2 x");
    assert!((time.value - 8e-3).abs() <= time.expanded(), "{time:?}");
    let never = driven(off_after(20e-3), |_| true, 2e-6, 12_000);
    above(&overloaded(never, None), "trip_time", "2 x", 20e-3, 10e-6);
    // The voltage stays when the current goes: the load let go.
    let let_go = overloaded(driven(off_after(8e-3), |_| true, 2e-6, 12_000), None);
    let found = &metric(&let_go, "trip_time", "2 x").finding;
    assert!(
        matches!(
            found,
            Finding::Unknown {
                blame: Blame::Bench,
                ..
            }
        ),
        "{found:?}"
    );
    let limits = |t: f64| if t < 3e-3 { 8.0 } else { 5.0 };
    let limited = overloaded(driven(limits, |_| true, 2e-6, 9_000), None);
    let notes = &metric(&limited, "trip_time", "2 x").notes;
    assert!(
        notes.iter().any(|n| n.starts_with("limits at ")),
        "{notes:?}"
    );
}

#[test]
fn trips_during_the_hold_are_counted() {
    let hold = |take| OverloadRamp {
        from: Amperes::new(3.6),
        to: Amperes::new(3.6),
        duration: Seconds::new(1.0),
        take,
    };
    let step = || driven(|_| 8.0, |_| true, 2e-6, 100);
    let steady = hold(driven(
        |t| if t < 1.0 { 3.6 } else { 0.0 },
        |_| true,
        20e-6,
        51_000,
    ));
    let metrics = overloaded(step(), Some(steady));
    assert_eq!(value(&metrics, "nuisance_trips", "").value, 0.0);
    let gap = |t: f64| (0.2..0.3).contains(&t) || (0.6..0.7).contains(&t);
    let twice = hold(driven(
        move |t| if gap(t) || t > 1.0 { 0.0 } else { 3.6 },
        move |t| !gap(t),
        20e-6,
        51_000,
    ));
    let metrics = overloaded(step(), Some(twice));
    assert_eq!(value(&metrics, "nuisance_trips", "").value, 2.0);
    let starved = hold(driven(|_| 2.5, |_| true, 20e-6, 51_000));
    let metrics = overloaded(step(), Some(starved));
    let found = &metric(&metrics, "nuisance_trips", "").finding;
    assert!(matches!(found, Finding::Unknown { .. }), "{found:?}");
}
