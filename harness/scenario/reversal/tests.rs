//! Outcomes at a section boundary, each made from the board's and the
//! upstream's polarity as functions of time.

use super::seen::GapClosing;
use super::settings::Direction;
use crate::measurement::{Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::Proof;
use crate::scenario::tests::made::{Flaws, HALF, VOLTAGE, VOLTS, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::units::{Seconds, Volts};
use crate::waveform::synthetic::{Sampling, ones};
use crate::waveform::{LogicLine, Signal};

const CLOSED: f64 = 0.7e-6;
const OPENED: f64 = 20e-3;
const GAP: Flaws = Flaws {
    range: 80.0,
    noise: 0.05,
    gain_u: 0.01,
    offset_u: 0.02,
};

/// `board(t)` is the board's phase against the input, +1, -1 or 0 when off;
/// the upstream, whose phase is -1, is on while `upstream(t)`; `share` is the
/// node's voltage along the board's polarity while they fight.
fn bridged(board: impl Fn(f64) -> f64, upstream: impl Fn(f64) -> bool, share: f64) -> Vec<Metric> {
    let mut chance = chance(&[70]);
    let sampling = Sampling {
        first: -3e-3,
        period: 2e-6,
        count: 13_000,
    };
    let phase = 17e-6;
    let delay = 1e-6;
    let signal = |t: f64| ones(t, phase, HALF);
    let bridged = |t: f64| (CLOSED..OPENED).contains(&t);
    let fighting = |t: f64| bridged(t) && upstream(t) && board(t) == 1.0;
    let mut capture = sampling.capture();
    capture.channels = vec![
        sampling.channel(Signal::NodeVoltage, VOLTAGE, &mut chance, |t| {
            let size = if fighting(t) {
                share
            } else if board(t) != 0.0 {
                VOLTS * board(t)
            } else if bridged(t) && upstream(t) {
                -17.0
            } else {
                0.0
            };
            size * signal(t - delay)
        }),
        sampling.channel(Signal::GapCurrent, GAP, &mut chance, |t| {
            let into = (t - phase).rem_euclid(HALF);
            let size = match () {
                () if fighting(t) => 40.0,
                // Spikes of 4 us at each edge, once the phases agree.
                () if bridged(t) && into < 4e-6 => 60.0,
                () if bridged(t) && upstream(t) => 1.0,
                () => 0.0,
            };
            size * signal(t)
        }),
        sampling.channel(Signal::UpstreamVoltage, VOLTAGE, &mut chance, |t| {
            if upstream(t) { -17.0 * signal(t) } else { 0.0 }
        }),
    ];
    capture.lines = vec![
        sampling.line(LogicLine::SignalA, |t| signal(t) > 0.0),
        sampling.line(LogicLine::GapMarker, bridged),
    ];
    let closing = GapClosing {
        direction: Direction::Forward,
        upstream_voltage: Volts::new(17.0),
        take: take(capture, OPENED, Proof::Marker),
    };
    let seen = Observation::Reversal(crate::scenario::reversal::Seen {
        closings: vec![closing],
        upstream_trip: Seconds::new(0.060),
        upstream_trip_u: Seconds::new(0.0005),
        short: None,
    });
    evaluate("reversal", &context(), &seen)
}

fn noted(metrics: &[Metric], words: &str) -> bool {
    let notes = &metric(metrics, "reversal_time", "forward").notes;
    notes.iter().any(|note| note.contains(words))
}

#[test]
fn a_reversal_is_timed_wherever_it_falls_in_a_half_bit() {
    for step in 0..29 {
        let turn = 5e-3 + f64::from(step) * 2.3e-6;
        let metrics = bridged(|t| if t < turn { 1.0 } else { -1.0 }, |_| true, 8.6);
        assert!(noted(&metrics, "reversed"), "{metrics:#?}");
        let time = value(&metrics, "reversal_time", "forward");
        let error = time.value - (turn - CLOSED);
        // A turn in the first microsecond after an edge shows at the delayed
        // output edge, 1 us later.
        assert!(error.abs() <= time.expanded() + 1e-6, "{step}: {error}");
        assert!(time.u < 2e-6);
        assert_eq!(value(&metrics, "reversals", "forward").value, 1.0);
        let margin = value(&metrics, "selectivity_margin", "forward");
        assert!((margin.value - (0.060 - time.value)).abs() < 1e-12);
        assert!((margin.u - 0.0005).abs() < 1e-5);
        // The fight's 40 A, not the spikes' 60 A.
        let peak = value(&metrics, "peak_current", "forward");
        assert!((peak.value - 40.0).abs() <= peak.expanded(), "{peak:?}");
    }
}

#[test]
fn a_board_that_only_trips_has_not_reversed() {
    let metrics = bridged(|t| if t < 5e-3 { 1.0 } else { 0.0 }, |_| true, 8.6);
    assert!(noted(&metrics, "tripped instead"), "{metrics:#?}");
    let time = &metric(&metrics, "reversal_time", "forward").finding;
    assert!(
        matches!(time, Finding::Above(e) if (e.value - OPENED).abs() < 5e-6),
        "{time:?}"
    );
    assert_eq!(value(&metrics, "reversals", "forward").value, 0.0);
}

#[test]
fn the_upstream_may_trip_first() {
    let metrics = bridged(|_| 1.0, |t| t < 9e-3, 8.6);
    assert!(noted(&metrics, "upstream tripped first"), "{metrics:#?}");
    let margin = &metric(&metrics, "selectivity_margin", "forward").finding;
    assert!(
        matches!(margin, Finding::Below(e) if e.value == 0.0),
        "{margin:?}"
    );
    let time = &metric(&metrics, "reversal_time", "forward").finding;
    assert!(
        matches!(time, Finding::Above(e) if (e.value - 9e-3).abs() < 120e-6),
        "{time:?}"
    );
}

#[test]
fn chatter_and_turning_back_are_seen() {
    let chatter = |t: f64| match t {
        t if t < 4e-3 => 1.0,
        t if t < 6e-3 => -1.0,
        t if t < 8e-3 => 1.0,
        _ => -1.0,
    };
    let metrics = bridged(chatter, |_| true, 8.6);
    assert_eq!(value(&metrics, "reversals", "forward").value, 3.0);
    let back = |t: f64| {
        if (4e-3..21e-3).contains(&t) {
            -1.0
        } else {
            1.0
        }
    };
    let metrics = bridged(back, |_| true, 8.6);
    assert!(
        matches!(
            metric(&metrics, "reversal_time", "forward").finding,
            Finding::Value(_) | Finding::Above(_)
        ),
        "{metrics:#?}"
    );
    assert_eq!(value(&metrics, "reversals", "forward").value, 2.0);
    let never = bridged(|_| 1.0, |_| true, 8.6);
    assert!(noted(&never, "neither reversed nor tripped"));
}

/// A strong upstream holds the node in the new polarity from the closing on;
/// then only the gap current tells when the board turned.
#[test]
fn a_strong_upstream_does_not_hide_the_turn() {
    let turn = 5.01e-3;
    let metrics = bridged(|t| if t < turn { 1.0 } else { -1.0 }, |_| true, -6.0);
    let time = value(&metrics, "reversal_time", "forward");
    assert!(noted(&metrics, "gap current"), "{metrics:#?}");
    let error = (time.value - (turn - CLOSED)).abs();
    assert!(error <= time.expanded(), "{time:?} {error}");
}
