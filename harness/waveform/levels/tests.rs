//! Levels and transitions against closed forms: RC and second-order steps, a
//! trapezoid. The numbers were computed independently, by root finding.

use super::*;
use crate::seed::Seed;

const UNIT: StateLevels = StateLevels {
    low: 0.0,
    high: 1.0,
    noise_low: 0.0,
    noise_high: 0.0,
    resolution: 0.0,
    samples: 0,
};

const SETTINGS: TransitionSettings = TransitionSettings {
    slew: (0.3, 0.7),
    reversal: 1e-3,
    noise: 0.0,
};

fn measured(samples: &[f64]) -> Transition {
    let middle = samples.windows(2).position(|w| w[0] < 0.5 && w[1] >= 0.5);
    let middle = middle.expect("the step crosses its middle") as f64;
    measure_transition(samples, middle, true, &UNIT, &SETTINGS).expect("a transition")
}

/// 10 to 90 % of an RC step takes ln 9 tau = 2.1972245773 tau (closed form).
#[test]
fn an_rc_step_rises_in_ln_9_tau() {
    let samples: Vec<f64> = (0..20_000)
        .map(|n| 1.0 - libm::exp(-f64::from(n) * 1e-3))
        .collect();
    let rise = measured(&samples).duration.expect("both levels are met") * 1e-3;
    assert!((rise - 2.197_224_577_336_22).abs() < 1e-6, "{rise}");
}

/// Second-order steps: overshoot exp(-pi z / sqrt(1 - z^2)), rise by root
/// finding.
#[test]
fn second_order_steps_overshoot_as_the_formula_says() {
    for (zeta, overshoot, rise) in [
        (0.2, 0.526_620_599_330_303, 1.203_429_900_925_475_9),
        (0.5, 0.163_033_534_821_580_48, 1.637_572_947_328_350_2),
        (0.7, 0.045_987_910_260_267_75, 2.126_201_869_710_138_6),
    ] {
        let damped = libm::sqrt(1.0 - zeta * zeta);
        let samples: Vec<f64> = (0..40_000)
            .map(|n| {
                let t = f64::from(n) * 1e-3;
                let swing = libm::cos(damped * t) + zeta / damped * libm::sin(damped * t);
                1.0 - libm::exp(-zeta * t) * swing
            })
            .collect();
        let found = measured(&samples);
        let duration = found.duration.expect("both levels are met") * 1e-3;
        assert!((duration - rise).abs() < 1e-6, "{zeta}: {duration}");
        assert!(
            (found.overshoot - overshoot).abs() < 1e-6,
            "{zeta}: {found:?}"
        );
        assert_eq!(found.distortion, None);
    }
}

/// Edges of 1 and 2 ms: 10 to 90 % in 0.8 and 1.6 ms, slope 1 and 0.5 per ms.
#[test]
fn a_trapezoid_has_the_slopes_it_was_given() {
    let samples: Vec<f64> = (0..12_000)
        .map(|n| {
            let t = f64::from(n) * 1e-6 - 1.5e-3;
            (t / 1e-3).min((8e-3 - t) / 2e-3).clamp(0.0, 1.0)
        })
        .collect();
    for (crossing, rising, duration, slew) in
        [(2000.0, true, 0.8e-3, 1e3), (8500.0, false, 1.6e-3, 0.5e3)]
    {
        let found =
            measure_transition(&samples, crossing, rising, &UNIT, &SETTINGS).expect("there");
        assert_eq!(found.rising, rising);
        let took = found.duration.expect("both levels are met") * 1e-6;
        assert!((took - duration).abs() < 1e-9, "{took}");
        let slope = found.slew.expect("both levels are met") / 1e-6;
        assert!((slope / slew - 1.0).abs() < 1e-6, "{slope}");
        assert!(found.samples_in_slew > 100);
        assert_eq!((found.overshoot, found.preshoot), (0.0, 0.0));
    }
}

#[test]
fn running_backwards_at_the_crossing_is_distortion() {
    let rise = [-10.0, -10.0, -6.0, -1.0, 1.5, -1.8, 1.0, 6.0, 10.0, 10.0];
    let levels = StateLevels {
        low: -10.0,
        high: 10.0,
        ..UNIT
    };
    let settings = TransitionSettings {
        slew: (-4.0, 4.0),
        reversal: 0.5,
        noise: 0.1,
    };
    let found = measure_transition(&rise, 5.0, true, &levels, &settings).expect("there");
    assert_eq!(found.distortion, Some((-1.8, 1.5)));
    let fall: Vec<f64> = rise.iter().rev().copied().collect();
    let found = measure_transition(&fall, 3.0, false, &levels, &settings).expect("there");
    assert_eq!(found.distortion, Some((-1.8, 1.5)));
}

#[test]
fn a_step_between_two_samples_only_bounds_the_slew() {
    let samples = [0.0, 0.0, 0.0, 1.0, 1.0, 1.0];
    let found = measure_transition(&samples, 2.5, true, &UNIT, &SETTINGS).expect("there");
    assert_eq!(found.samples_in_slew, 0);
}

/// Two levels with Gaussian noise and a stretch at zero between: the modes are
/// the levels, to within a few standard errors of the noise.
#[test]
fn modes_find_the_levels_under_noise_and_cutouts() {
    let mut noise = Seed(11).stream(&[1]);
    let mut histogram = LevelHistogram::new(0.0);
    for n in 0..60_000_u32 {
        let level = match n % 3 {
            0 => -14.8,
            1 => 15.2,
            _ if n % 15 == 2 => 0.01,
            _ => 15.2,
        };
        histogram.push(level + 0.05 * noise.normal());
    }
    let levels = histogram.levels().expect("two levels");
    assert!((levels.low + 14.8).abs() < 0.01, "{levels:?}");
    assert!((levels.high - 15.2).abs() < 0.01, "{levels:?}");
    assert!((levels.noise_high - 0.05).abs() < 0.01, "{levels:?}");
    assert!((levels.reference(10.0) + 11.8).abs() < 0.01);
}

#[test]
fn codes_keep_their_place_however_far_the_range_grows() {
    let mut histogram = LevelHistogram::new(1.0);
    for _ in 0..5000 {
        histogram.push(3.0);
        histogram.push(4.0);
    }
    for _ in 0..20_000 {
        histogram.push(-30_000.0);
        histogram.push(30_000.0);
    }
    let levels = histogram.levels().expect("two levels");
    assert!(
        (levels.low + 30_000.0).abs() <= levels.resolution,
        "{levels:?}"
    );
    assert!(
        (levels.high - 30_000.0).abs() <= levels.resolution,
        "{levels:?}"
    );
    assert!(levels.resolution <= 32.0);
}

#[test]
fn one_level_is_not_two() {
    let mut histogram = LevelHistogram::new(1.0);
    assert_eq!(histogram.levels(), None);
    for _ in 0..10_000 {
        histogram.push(7.0);
    }
    assert_eq!(histogram.levels(), None);
}

proptest::proptest! {
    #[test]
    fn no_window_panics(
        samples in proptest::collection::vec(proptest::num::f64::ANY, 0..40),
        crossing in proptest::num::f64::ANY,
    ) {
        for rising in [false, true] {
            let _ = measure_transition(&samples, crossing, rising, &UNIT, &SETTINGS);
        }
    }

    #[test]
    fn no_values_panic(
        values in proptest::collection::vec(proptest::num::f64::ANY, 0..60),
        quantum in 0.0..2.0_f64,
    ) {
        let mut histogram = LevelHistogram::new(quantum);
        for &value in values.iter().cycle().take(100 * values.len()) {
            histogram.push(value);
        }
        let _ = histogram.levels();
    }
}
