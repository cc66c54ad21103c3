//! What is stated to be common to all boards of a bench, against draws: on one
//! bench readings of one board scatter by what is left of u, not by u; from bench
//! to bench the whole of u is needed.

use super::made::{CURRENT, Flaws, VOLTAGE, VOLTS, chance, context, take};
use super::metric;
use crate::measurement::{Finding, Metric};
use crate::scenario::load::LoadStep;
use crate::scenario::{Observation, Polarity, Proof, evaluate};
use crate::units::Amperes;
use crate::waveform::synthetic::Sampling;
use crate::waveform::{ChannelAccuracy, Signal};

const DRAWS: u64 = 120;

/// Readings of one metric with what is stated of the last.
#[derive(Default)]
struct Readings {
    values: Vec<f64>,
    u: f64,
    common: f64,
}

impl Readings {
    fn add(&mut self, metrics: &[Metric], key: &str, at: &str) {
        let found = metric(metrics, key, at);
        let Finding::Value(estimate) = &found.finding else {
            panic!("{key}: {:?}", found.finding);
        };
        self.values.push(estimate.value);
        (self.u, self.common) = (estimate.u, found.common);
    }

    fn deviation(&self) -> f64 {
        let count = self.values.len() as f64;
        let mean = self.values.iter().sum::<f64>() / count;
        let squares: f64 = self.values.iter().map(|x| (x - mean) * (x - mean)).sum();
        libm::sqrt(squares / (count - 1.0))
    }

    fn own(&self) -> f64 {
        libm::sqrt(self.u * self.u - self.common * self.common)
    }
}

/// The steps of one run on a bench whose voltage channels read `gain` and `offset`
/// wrong.
fn load_run(key: [u64; 2], gain: f64, offset: f64) -> Vec<Metric> {
    let mut chance = chance(&[900, key[0], key[1]]);
    let sampling = Sampling {
        first: 0.0,
        period: 2e-6,
        count: 500,
    };
    let still = |flaws: Flaws| Flaws {
        gain_u: 0.0,
        offset_u: 0.0,
        ..flaws
    };
    let mut steps = Vec::new();
    for (drive, sign) in [(Polarity::Positive, 1.0), (Polarity::Negative, -1.0)] {
        for amperes in [0.0, 1.5, 3.0] {
            let mut capture = sampling.capture();
            let volts = sign * (17.6 - 0.2 * amperes);
            let rail = VOLTS - 0.05 * amperes;
            let mut channels = vec![
                sampling.channel(Signal::NodeVoltage, still(VOLTAGE), &mut chance, |_| {
                    gain * volts + offset
                }),
                sampling.channel(Signal::BoardSupply, still(VOLTAGE), &mut chance, |_| {
                    gain * rail + offset
                }),
                sampling.channel(Signal::OutputCurrent, still(CURRENT), &mut chance, |_| {
                    sign * amperes
                }),
            ];
            let accuracy = ChannelAccuracy {
                gain_u: 0.005,
                offset_u: 0.02,
            };
            channels[0].accuracy = accuracy;
            channels[1].accuracy = accuracy;
            capture.channels = channels;
            steps.push(LoadStep {
                drive,
                current: Amperes::new(amperes),
                take: take(capture, 0.0, Proof::None),
            });
        }
    }
    evaluate(
        "load",
        &context(),
        &Observation::Load(crate::scenario::load::Seen { steps }),
    )
}

#[test]
fn on_one_bench_boards_scatter_by_what_is_not_common() {
    let metrics = [
        ("output_voltage", "positive 1.5 A"),
        ("supply_droop", ""),
        ("output_resistance", "positive"),
    ];
    for (key, at) in metrics {
        let (mut one_bench, mut benches) = (Readings::default(), Readings::default());
        for draw in 0..DRAWS {
            one_bench.add(&load_run([1, draw], 1.004, -0.03), key, at);
            let mut bench = chance(&[901, draw]);
            let (gain, offset) = (1.0 + 0.005 * bench.normal(), 0.02 * bench.normal());
            benches.add(&load_run([2, draw], gain, offset), key, at);
        }
        let (own, scatter) = (one_bench.own(), one_bench.deviation());
        // Neither far less than the scatter nor many times as much, but for the
        // line through three points, whose residual is widened by Student's t.
        let widened = if key == "output_resistance" { 7.0 } else { 1.0 };
        assert!(scatter < 1.5 * own, "{key}: {scatter} of {own}");
        assert!(own < 3.0 * widened * scatter, "{key}: {own} for {scatter}");
        assert!(benches.deviation() < 1.3 * benches.u, "{key}");
        assert!(
            one_bench.common < one_bench.u && one_bench.common > 0.0,
            "{key}"
        );
    }
}

/// The offset of 20 mV enters the difference of both levels twice: u is 40 mV, and
/// all but a millivolt of that is common.
#[test]
fn symmetry_of_levels_is_mostly_common() {
    let found = load_run([3, 0], 1.0, 0.02);
    let symmetry = metric(&found, "level_asymmetry", "");
    assert!((symmetry.common - 0.04).abs() < 1e-3, "{symmetry:?}");
    let Finding::Value(estimate) = &symmetry.finding else {
        panic!("{symmetry:?}");
    };
    assert!((estimate.value - 0.04).abs() < 2e-3, "{estimate:?}");
    assert!(estimate.u < 0.0402, "{estimate:?}");
}

/// Old records say nothing of a common part, and metrics without one write none.
#[test]
fn a_metric_without_a_common_part_reads_and_writes_as_before() {
    let found = load_run([4, 0], 1.0, 0.0);
    let ripple = metric(&found, "ripple", "positive");
    let text = serde_json::to_string(ripple).expect("plain");
    assert!(!text.contains("common"), "{text}");
    let again: Metric = serde_json::from_str(&text).expect("an old metric");
    assert_eq!(&again, ripple);
    let voltage = metric(&found, "output_voltage", "positive 1.5 A");
    let text = serde_json::to_string(voltage).expect("plain");
    let again: Metric = serde_json::from_str(&text).expect("a new metric");
    assert_eq!(&again, voltage);
}
