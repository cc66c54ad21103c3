//! The board's own reading against a bench current that is known: the truth of
//! each step comes from the converter's equation, never from the evaluation.

use super::seen::SenseStep;
use crate::measurement::{Blame, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::Proof;
use crate::scenario::terms::Polarity;
use crate::scenario::tests::made::{CURRENT, Flaws, HALF, VOLTAGE, VOLTS, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::seed::Stream;
use crate::units::{Amperes, Dimension};
use crate::waveform::Signal;
use crate::waveform::synthetic::{Sampling, ones};

/// 5 V over 2^10 codes behind 0.4 V/A (common practice, no source): 12.207 mA
/// a count.
const SCALE: f64 = 5.0 / 1024.0 / 0.4;

const STEPS: [f64; 5] = [0.0, 0.75, 1.5, 2.25, 3.0];

/// A board and the errors of the bench that looks at it.
struct Made {
    /// Amperes of one count.
    scale: f64,
    /// What the board believes to flow when nothing does, in amperes.
    offset: f64,
    /// A bow: counts more in the middle of the rated current.
    bow: f64,
    /// Deviation of one reading of the board, in counts.
    jitter: f64,
    /// True errors of the current's channel.
    gain: f64,
    zero: f64,
    drives: Vec<Polarity>,
}

impl Made {
    fn new() -> Self {
        Self {
            scale: SCALE,
            offset: 0.0,
            bow: 0.0,
            jitter: 0.0,
            gain: 1.0,
            zero: 0.0,
            drives: vec![Polarity::Positive, Polarity::Negative],
        }
    }

    /// What an ideal converter says of `amperes`.
    fn counts(&self, amperes: f64, chance: &mut Stream) -> f64 {
        let bow = self.bow * (1.0 - (amperes / 1.5 - 1.0) * (amperes / 1.5 - 1.0));
        let exact = (amperes + self.offset) / self.scale + bow + self.jitter * chance.normal();
        libm::round(exact).max(0.0)
    }

    fn step(&self, drive: Polarity, amperes: f64, chance: &mut Stream) -> SenseStep {
        let sampling = Sampling {
            first: 0.0,
            period: 2e-6,
            count: 1740,
        };
        let sign = |t: f64| match drive {
            Polarity::Positive => 1.0,
            Polarity::Negative => -1.0,
            Polarity::Alternating => ones(t, 0.0, HALF),
        };
        // The true errors are this board's, not drawn anew for each step.
        let still = |flaws: Flaws| Flaws {
            gain_u: 0.0,
            offset_u: 0.0,
            ..flaws
        };
        let mut capture = sampling.capture();
        let node = sampling.channel(Signal::NodeVoltage, still(VOLTAGE), chance, |t| {
            VOLTS * sign(t)
        });
        let mut current = sampling.channel(Signal::OutputCurrent, still(CURRENT), chance, |t| {
            self.gain * amperes * sign(t) + self.zero
        });
        current.accuracy.gain_u = CURRENT.gain_u;
        current.accuracy.offset_u = CURRENT.offset_u;
        capture.channels = vec![node, current];
        SenseStep {
            drive,
            current: Amperes::new(amperes),
            counts: (0..10).map(|_| self.counts(amperes, chance)).collect(),
            take: take(capture, 0.0, Proof::None),
        }
    }

    fn steps(&self, chance: &mut Stream) -> Vec<SenseStep> {
        let mut steps = Vec::new();
        for &drive in &self.drives {
            for amperes in STEPS {
                steps.push(self.step(drive, amperes, chance));
            }
        }
        steps
    }

    fn metrics(&self, chance: &mut Stream) -> Vec<Metric> {
        judged(self.steps(chance))
    }
}

fn judged(steps: Vec<SenseStep>) -> Vec<Metric> {
    let seen = Observation::Sense(crate::scenario::sense::Seen {
        last_count: 1023,
        steps,
    });
    evaluate("sense", &context(), &seen)
}

#[test]
fn a_ten_bit_converter_behind_400_mv_an_ampere() {
    for drives in [
        vec![Polarity::Positive, Polarity::Negative],
        vec![Polarity::Alternating],
        vec![Polarity::Negative],
    ] {
        let made = Made {
            drives: drives.clone(),
            ..Made::new()
        };
        let metrics = made.metrics(&mut chance(&[60]));
        let scale = value(&metrics, "scale_factor", "");
        assert!(
            (scale.value / 12.207e-3 - 1.0).abs() < 2e-3,
            "{drives:?} {scale:?}"
        );
        // 1023 counts of it are 12.488 A.
        let full = value(&metrics, "full_scale", "");
        assert!((full.value - 12.488).abs() < 0.03, "{drives:?} {full:?}");
        let offset = value(&metrics, "zero_offset", "");
        assert!(offset.value.abs() < 6e-3, "{drives:?} {offset:?}");
        // An ideal converter is never half a count off, the line a little.
        let apart = value(&metrics, "non_linearity", "");
        assert!(apart.value < 0.6 * SCALE, "{drives:?} {apart:?}");
    }
}

/// The truth lies within two standard uncertainties about nineteen times in
/// twenty, with gain, zero, offset and jitter drawn anew.
#[test]
fn uncertainties_cover_the_truth() {
    const DRAWS: u64 = 200;
    let mut inside = [0, 0, 0];
    let mut squares = 0.0;
    for draw in 0..DRAWS {
        let mut chance = chance(&[61, draw]);
        let made = Made {
            scale: SCALE * (1.0 + 0.02 * chance.normal()),
            offset: 0.05 + 0.02 * chance.uniform(),
            jitter: 0.8,
            gain: 1.0 + CURRENT.gain_u * chance.normal(),
            zero: CURRENT.offset_u * chance.normal(),
            ..Made::new()
        };
        let metrics = made.metrics(&mut chance);
        let truth = [
            ("scale_factor", made.scale),
            ("zero_offset", made.offset),
            ("full_scale", 1023.0 * made.scale - made.offset),
        ];
        for (hits, (key, truth)) in inside.iter_mut().zip(truth) {
            let found = value(&metrics, key, "");
            *hits += u32::from((found.value - truth).abs() <= found.expanded());
            if key == "scale_factor" {
                squares += ((found.value - truth) / found.u).powi(2);
            }
        }
    }
    for hits in inside {
        // Binomial with p = 0.954: below 180 of 200 comes once in 10^3.
        assert!(hits >= 180, "{inside:?}");
    }
    // Not by being large: the scale's errors are about one u.
    let typical = (squares / DRAWS as f64).sqrt();
    assert!((0.7..1.2).contains(&typical), "{typical}");
}

/// Each planted error moves the metric that it should.
#[test]
fn each_error_shows_where_it_should() {
    let plain = Made::new().metrics(&mut chance(&[62]));
    let of = |made: Made| made.metrics(&mut chance(&[62]));
    let moved = |metrics: &[Metric], key| {
        let (now, before) = (value(metrics, key, ""), value(&plain, key, ""));
        now.value - before.value
    };
    let wide = of(Made {
        scale: SCALE * 1.05,
        ..Made::new()
    });
    assert!((moved(&wide, "scale_factor") / SCALE - 0.05).abs() < 0.004);
    assert!(moved(&wide, "zero_offset").abs() < 8e-3);
    let shifted = of(Made {
        offset: 0.1,
        ..Made::new()
    });
    assert!((moved(&shifted, "zero_offset") - 0.1).abs() < 8e-3);
    assert!(moved(&shifted, "scale_factor").abs() / SCALE < 0.004);
    let bowed = of(Made {
        bow: 8.0,
        ..Made::new()
    });
    // A parabola through 0, 6, 8, 6, 0 has mean 4: 4 counts at the farthest.
    let apart = value(&bowed, "non_linearity", "");
    assert!((apart.value / SCALE - 4.0).abs() < 0.9, "{apart:?}");
    // A zero error of the bench cancels between the polarities.
    let bench = of(Made {
        zero: 0.05,
        ..Made::new()
    });
    assert!(moved(&bench, "zero_offset").abs() < 8e-3);
    let single = Made {
        zero: 0.05,
        drives: vec![Polarity::Positive],
        ..Made::new()
    };
    let single = value(&of(single), "zero_offset", "");
    assert!((single.value + 0.05).abs() < 8e-3, "{single:?}");
    assert!(single.u >= CURRENT.offset_u, "{single:?}");
}

/// A sensor in one half-bridge sees nothing of the other polarity.
#[test]
fn half_a_sensor_is_a_wrong_scale_far_from_a_line() {
    let mut steps = Made::new().steps(&mut chance(&[63]));
    for step in &mut steps {
        if step.drive == Polarity::Negative {
            step.counts.fill(0.0);
        }
    }
    let metrics = judged(steps);
    let apart = value(&metrics, "non_linearity", "");
    assert!(apart.value > 1.0, "{apart:?}");
}

#[test]
fn what_cannot_be_measured_says_whose_fault_it_is() {
    let blamed = |steps: Vec<SenseStep>, word: &str, whose: Blame| {
        for found in judged(steps) {
            let Finding::Unknown { reason, blame } = &found.finding else {
                panic!("{word}: {found:?}");
            };
            assert!(reason.contains(word), "{reason}");
            assert_eq!(*blame, whose, "{reason}");
        }
    };
    let plain = || Made::new().steps(&mut chance(&[64]));
    let mut silent = plain();
    silent[3].counts.clear();
    blamed(silent, "gave no counts", Blame::Board);
    let mut ended = plain();
    ended[4].counts[2] = 1023.0;
    blamed(ended, "end of its converter at 3.000 A", Blame::Board);
    let mut blind = plain();
    blind[1]
        .take
        .capture
        .channels
        .retain(|c| c.signal != Signal::OutputCurrent);
    blamed(blind, "no channel sees the output current", Blame::Bench);
    let one = plain().into_iter().map(|step| SenseStep {
        current: Amperes::new(0.0),
        take: plain()[0].take.clone(),
        ..step
    });
    let one: Vec<SenseStep> = one.filter(|s| s.drive == Polarity::Positive).collect();
    blamed(one, "only one current", Blame::Plan);
    blamed(plain()[..2].to_vec(), "too few steps", Blame::Plan);
}

/// A reading that never moves is a fail of the scale, not a missing number.
#[test]
fn a_dead_sensor_is_a_bound() {
    let mut steps = Made::new().steps(&mut chance(&[65]));
    for step in &mut steps {
        step.counts.fill(7.0);
    }
    let metrics = judged(steps);
    let scale = metric(&metrics, "scale_factor", "");
    assert!(
        matches!(&scale.finding, Finding::Above(e) if e.value > 100.0 * SCALE),
        "{scale:?}"
    );
}

/// GUM 7.2.6: U to two significant digits, the value to the same place.
#[test]
fn the_label_is_rounded_as_the_guide_says() {
    for (value, u, text) in [
        (SCALE, 23e-6, "12.207 +/- 0.046 mA/count"),
        (SCALE, 60e-6, "12.21 +/- 0.12 mA/count"),
        (SCALE, 0.5e-3, "12.2 +/- 1.0 mA/count"),
        (SCALE, 49.8e-6, "12.21 +/- 0.10 mA/count"),
    ] {
        let shown = Finding::Value(crate::measurement::Estimate::new(value, u));
        assert_eq!(shown.show(Dimension::CountScale), text);
    }
}
