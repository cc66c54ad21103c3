//! The idle and the loss scenario against outputs made from their definition:
//! levels, a leak by Ohm's law, and an exponential decay whose fall to a
//! twentieth takes tau ln 20.

use crate::measurement::{Blame, Estimate, Finding, Metric};
use crate::scenario::context::Context;
use crate::scenario::idle::{IdleStep, OutputState};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::loss::{LossCause, SignalLost};
use crate::scenario::take::Proof;
use crate::scenario::terms::Polarity;
use crate::scenario::tests::made::{HALF, VOLTAGE, VOLTS, chance, context, loose, take};
use crate::scenario::tests::{metric, value};
use crate::units::{Ohms, Volts};
use crate::waveform::synthetic::{Sampling, ones};
use crate::waveform::{LogicLine, Signal};

/// `found` covers `truth` with its U, which is no more than `most`.
#[track_caller]
fn covers(metrics: &[Metric], key: &str, at: &str, truth: f64, most: f64) {
    let found = value(metrics, key, at);
    let expanded = found.expanded();
    assert!(
        (found.value - truth).abs() <= expanded && expanded <= most,
        "{key} at {at}: {found:?} for {truth}, U {expanded}"
    );
}

fn bled() -> Context {
    Context {
        bleeder: Some(Ohms::new(1000.0)),
        ..context()
    }
}

/// An unloaded board: what its output does in each state.
struct Unloaded {
    off: f64,
    braked: f64,
    /// The output follows its input, or runs against it.
    sense: f64,
    fault: bool,
}

const SOUND: Unloaded = Unloaded {
    off: 0.0,
    braked: 0.0,
    sense: 1.0,
    fault: false,
};

impl Unloaded {
    fn step(&self, state: OutputState, drive: Polarity, key: u64) -> IdleStep {
        let mut chance = chance(&[900, key]);
        let sampling = Sampling {
            first: 0.0,
            period: 2e-6,
            count: 5000,
        };
        let asked = |time: f64| match drive {
            Polarity::Positive => 1.0,
            Polarity::Negative => -1.0,
            Polarity::Alternating => ones(time, 11e-6, HALF),
        };
        let mut capture = sampling.capture();
        let output = sampling.channel(Signal::NodeVoltage, VOLTAGE, &mut chance, |t| match state {
            OutputState::Off => self.off,
            OutputState::Braked => self.braked * asked(t),
            // The drivers are 1 us late.
            OutputState::On => self.sense * VOLTS * asked(t - 1e-6),
        });
        capture.channels.push(output);
        let loud = self.fault && state == OutputState::On;
        capture.lines = vec![
            sampling.line(LogicLine::SignalA, |t| asked(t) > 0.0),
            sampling.line(LogicLine::Fault, |t| loud && t > 3e-3),
        ];
        IdleStep {
            supply: Volts::new(VOLTS),
            state,
            drive,
            input_current: Some(Estimate::new(0.040, 0.003)),
            take: take(capture, 0.01, Proof::None),
        }
    }

    fn steps(&self) -> Vec<IdleStep> {
        let mut low = self.step(OutputState::Off, Polarity::Alternating, 0);
        low.supply = Volts::new(6.0);
        vec![
            low,
            self.step(OutputState::Off, Polarity::Alternating, 1),
            self.step(OutputState::Braked, Polarity::Alternating, 2),
            self.step(OutputState::On, Polarity::Alternating, 3),
            self.step(OutputState::On, Polarity::Positive, 4),
            self.step(OutputState::On, Polarity::Negative, 5),
        ]
    }

    fn metrics(&self) -> Vec<Metric> {
        let steps = self.steps();
        evaluate(
            "idle",
            &bled(),
            &Observation::Idle(crate::scenario::idle::Seen { steps }),
        )
    }
}

#[track_caller]
fn answers(metrics: &[Metric], key: &str, at: &str, yes: bool) {
    let found = value(metrics, key, at);
    assert_eq!(found, Estimate::new(f64::from(u8::from(yes)), 0.0), "{key}");
}

#[test]
fn a_sound_board_obeys() {
    let metrics = SOUND.metrics();
    for key in [
        "off_when_disabled",
        "off_when_braked",
        "fault_line_inactive",
    ] {
        answers(&metrics, key, "", true);
    }
    for at in ["alternating", "positive", "negative"] {
        answers(&metrics, "polarity_correct", at, true);
        covers(&metrics, "input_current_on", at, 0.040, 0.006);
    }
    covers(&metrics, "input_current_off", "", 0.040, 0.006);
    covers(&metrics, "off_voltage", "", 0.0, 0.1);
    covers(&metrics, "off_leakage", "", 0.0, 0.1e-3);
}

/// 2.2 kohm from an 18 V rail over 1 kohm: 18 V / 3.2 = 5.625 V, 5.625 mA; a
/// leak against the output's sign is one too.
#[test]
fn a_leak_is_told_by_ohms_law() {
    for sign in [1.0, -1.0] {
        let made = Unloaded {
            off: sign * 5.625,
            ..SOUND
        };
        let metrics = made.metrics();
        covers(&metrics, "off_voltage", "", 5.625, 0.15);
        covers(&metrics, "off_leakage", "", 5.625e-3, 0.2e-3);
        answers(&metrics, "off_when_disabled", "", false);
        answers(&metrics, "off_when_braked", "", true);
    }
}

#[test]
fn without_a_bleeder_no_leakage_is_told() {
    let steps = SOUND.steps();
    let metrics = evaluate(
        "idle",
        &context(),
        &Observation::Idle(crate::scenario::idle::Seen { steps }),
    );
    let found = metric(&metrics, "off_leakage", "");
    assert!(
        matches!(&found.finding, Finding::Unknown { blame: Blame::Bench, reason }
            if reason.contains("bleeder")),
        "{found:?}"
    );
    value(&metrics, "off_voltage", "");
}

#[test]
fn a_brake_that_does_nothing_is_seen() {
    let made = Unloaded {
        braked: VOLTS,
        ..SOUND
    };
    let metrics = made.metrics();
    answers(&metrics, "off_when_braked", "", false);
    answers(&metrics, "off_when_disabled", "", true);
}

#[test]
fn an_output_the_wrong_way_round_and_a_dead_one_are_seen() {
    for sense in [-1.0, 0.0] {
        let metrics = Unloaded { sense, ..SOUND }.metrics();
        for at in ["alternating", "positive", "negative"] {
            answers(&metrics, "polarity_correct", at, false);
        }
        // A dead output obeys nothing.
        answers(&metrics, "off_when_disabled", "", sense != 0.0);
    }
}

#[test]
fn a_fault_line_that_rises_is_told_with_its_state() {
    let metrics = Unloaded {
        fault: true,
        ..SOUND
    }
    .metrics();
    answers(&metrics, "fault_line_inactive", "", false);
    let notes = &metric(&metrics, "fault_line_inactive", "").notes;
    assert_eq!(notes[0], "it rose while on, alternating");
}

/// A level at the bound itself, 1.8 V, decides nothing.
#[test]
fn a_level_at_the_bound_decides_nothing() {
    let mut chance = chance(&[901]);
    let sampling = Sampling {
        first: 0.0,
        period: 2e-6,
        count: 500,
    };
    let exact = crate::waveform::synthetic::Flaws {
        gain_u: 0.0,
        offset_u: 0.0,
        ..VOLTAGE
    };
    let mut steps = SOUND.steps();
    let channel = sampling.channel(Signal::NodeVoltage, exact, &mut chance, |_| 1.8);
    // Exact, but not known to be.
    let accuracy = crate::waveform::ChannelAccuracy {
        gain_u: 0.005,
        offset_u: 0.02,
    };
    let mut capture = sampling.capture();
    capture.channels = vec![crate::waveform::Channel {
        accuracy,
        ..channel
    }];
    steps[1].take.capture = capture;
    let metrics = evaluate(
        "idle",
        &bled(),
        &Observation::Idle(crate::scenario::idle::Seen { steps }),
    );
    let found = metric(&metrics, "off_when_disabled", "");
    assert!(
        matches!(
            &found.finding,
            Finding::Unknown {
                blame: Blame::Bench,
                ..
            }
        ),
        "{found:?}"
    );
}

/// A board that draws the supply's limit at the first step goes no further:
/// its current is at least that, which breaks any limit below it.
#[test]
fn a_board_that_draws_the_limit_is_a_bound() {
    let mut low = SOUND.step(OutputState::Off, Polarity::Alternating, 7);
    low.supply = Volts::new(6.0);
    low.take.supply_protected = true;
    low.input_current = Some(Estimate::new(0.5, 0.004));
    let seen = Observation::Idle(crate::scenario::idle::Seen { steps: vec![low] });
    let metrics = evaluate("idle", &bled(), &seen);
    let current = metric(&metrics, "input_current_off", "");
    assert_eq!(
        current.finding,
        Finding::Above(Estimate::new(0.5, 0.004)),
        "{current:?}"
    );
    assert_eq!(metrics.len(), 8);
    for other in metrics.iter().filter(|m| m.key != "input_current_off") {
        assert!(
            matches!(&other.finding, Finding::Unknown { blame: Blame::Board, reason }
                if reason.contains("6.000 V")),
            "{other:?}"
        );
    }
}

/// The signal's last edge, as made: line A alternates until here.
const LOST: f64 = 20.0 * HALF;

fn lost(cause: LossCause, key: u64, output: impl Fn(f64) -> f64) -> SignalLost {
    let mut chance = chance(&[910, key]);
    let sampling = Sampling {
        first: 0.0,
        period: 2e-6,
        count: 30_000,
    };
    let mut capture = sampling.capture();
    let channel = sampling.channel(Signal::NodeVoltage, VOLTAGE, &mut chance, output);
    capture.channels.push(channel);
    let until = |time: f64| ones(time.min(LOST), 0.0, HALF) > 0.0;
    let for_ever = |time: f64| ones(time, 0.0, HALF) > 0.0;
    let breaks = cause == LossCause::LineB;
    capture.lines = vec![
        sampling.line(LogicLine::SignalA, |t| {
            if breaks { for_ever(t) } else { until(t) }
        }),
        sampling.line(LogicLine::SignalB, |t| {
            // Broken it rests low.
            if breaks {
                t < LOST && !for_ever(t)
            } else {
                !until(t)
            }
        }),
    ];
    SignalLost {
        cause,
        take: take(capture, 0.05, Proof::None),
    }
}

fn told(lost: SignalLost) -> Vec<Metric> {
    let losses = vec![lost];
    evaluate(
        "loss",
        &context(),
        &Observation::Loss(crate::scenario::loss::Seen { losses }),
    )
}

const STOPS: &str = "signal stops";

/// Held for 2 ms after the loss, then falling with tau = 1 ms: a twentieth is
/// reached after 2 ms + 1 ms ln 20 = 4.9957 ms (closed form).
#[test]
fn a_board_that_lets_go_is_timed() {
    let metrics = told(lost(LossCause::SignalStops, 1, |t| {
        let since = t - LOST;
        if since < 2e-3 {
            VOLTS * ones(t.min(LOST), 0.0, HALF)
        } else {
            VOLTS * libm::exp(-(since - 2e-3) / 1e-3)
        }
    }));
    let truth = 2e-3 + 1e-3 * 20.0_f64.ln();
    assert!((truth - 4.995_732e-3).abs() < 1e-9);
    // 20 mV of noise and of zero at a slope of 0.9 V/ms: 50 us at k = 2.
    covers(&metrics, "shutdown_time", STOPS, truth, 0.2e-3);
    covers(&metrics, "residual_dc", STOPS, 0.0, 0.1);
}

/// An edge that falls between two samples is known to a part of a period.
#[test]
fn a_sharp_end_is_known_to_a_sample() {
    for (key, cause) in [
        (2, LossCause::SignalStops),
        (3, LossCause::LineA),
        (4, LossCause::LineB),
    ] {
        let metrics = told(lost(cause, key, |t| {
            if t < LOST + 1.2345e-3 {
                VOLTS * ones(t, 0.0, HALF)
            } else {
                0.0
            }
        }));
        // sqrt 2 times 2 us / sqrt 12, k = 2.
        covers(&metrics, "shutdown_time", cause.word(), 1.2345e-3, 2e-6);
    }
}

#[test]
fn a_board_that_holds_is_a_bound_and_leaves_all() {
    let held = lost(LossCause::SignalStops, 5, |t| {
        VOLTS * ones(t.min(LOST), 0.0, HALF)
    });
    let end = 29_999.0 * 2e-6 - LOST;
    let metrics = told(held);
    let time = metric(&metrics, "shutdown_time", STOPS);
    assert!(
        matches!(time.finding, Finding::Above(e) if (e.value - end).abs() < 3e-6),
        "{time:?}"
    );
    covers(&metrics, "residual_dc", STOPS, VOLTS, 0.3);
}

/// One half-bridge alone: half waves, whose mean is half the voltage; and a
/// signal of the board's own has none.
#[test]
fn what_still_alternates_leaves_its_mean() {
    let half_wave = lost(LossCause::LineB, 6, |t| {
        let wave = ones(t, 0.0, HALF);
        VOLTS * if t < LOST { wave } else { wave.max(0.0) }
    });
    let metrics = told(half_wave);
    covers(&metrics, "residual_dc", "line b breaks", VOLTS / 2.0, 0.3);
    let own = lost(LossCause::SignalStops, 7, |t| VOLTS * ones(t, 0.0, HALF));
    let metrics = told(own);
    covers(&metrics, "residual_dc", STOPS, 0.0, 0.2);
    let notes = &metric(&metrics, "residual_dc", STOPS).notes;
    assert_eq!(notes[0], "the output still alternates");
}

#[test]
fn a_signal_that_was_not_lost_and_a_dead_output_are_told() {
    let mut kept = lost(LossCause::LineB, 8, |t| VOLTS * ones(t, 0.0, HALF));
    // Line A never stops in this one.
    kept.cause = LossCause::SignalStops;
    for found in told(kept) {
        let why = Finding::unknown(Blame::Bench, "the signal was not lost while captured");
        assert_eq!(found.finding, why);
    }
    let metrics = told(lost(LossCause::SignalStops, 9, |_| 0.0));
    let time = metric(&metrics, "shutdown_time", STOPS);
    let why = "the output was dead before the signal was lost";
    assert_eq!(time.finding, Finding::unknown(Blame::Board, why));
    covers(&metrics, "residual_dc", STOPS, 0.0, 0.1);
}

/// A line that nobody captured says that, whatever the output does.
#[test]
fn without_the_input_line_nothing_is_told() {
    let made = lost(LossCause::SignalStops, 10, |_| VOLTS);
    let mut capture = made.take.capture;
    capture.lines.clear();
    let metrics = told(SignalLost {
        cause: LossCause::SignalStops,
        take: loose(capture),
    });
    assert_eq!(metrics.len(), 2);
    for found in metrics {
        assert!(
            matches!(
                found.finding,
                Finding::Unknown {
                    blame: Blame::Bench,
                    ..
                }
            ),
            "{found:?}"
        );
    }
}
