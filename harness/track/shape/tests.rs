//! Edges laid over each other against closed forms: RC and second-order steps,
//! straight edges. The numbers were computed independently, by root finding.

use super::super::residues::Noise;
use super::*;
use crate::seed::Seed;
use crate::waveform::levels::BEYOND_READING;

/// Levels before and after, V: between -4 V and +4 V lie two fifths.
const START: f64 = -10.0;
const END: f64 = 10.0;
const SILENT: Noise = Noise::Hidden {
    deviation: 0.0,
    slow: false,
};
/// Sampled so many times, at as many phases of the sampling.
const EDGES: u32 = 8;

fn known(apparent: f64) -> Known {
    Known {
        start: START,
        end: END,
        level_u: 0.0,
        noise: 0.0,
        apparent,
        quantum: 0.0,
        scale_u: 0.0,
        period: 1.0,
        laid_u: 0.0,
        reversal: 0.5,
    }
}

/// Edges of `length` samples that go the share `way` (of samples after their
/// start), which they begin at sample `begin` and have half of after `zero`.
fn laid(length: u32, begin: f64, zero: f64, way: impl Fn(f64) -> f64) -> Vec<Laid> {
    let edge = |number: u32| {
        let begin = begin + f64::from(number) / f64::from(EDGES);
        let volts = |n: u32| START + (END - START) * way((f64::from(n) - begin).max(0.0));
        Laid {
            volts: (0..length).map(volts).collect(),
            zero: begin + zero,
        }
    };
    (0..EDGES).map(edge).collect()
}

fn read(edges: &[Laid], apparent: f64) -> ShapeFigures {
    let overlay = Overlay::of(edges, known(apparent), &SILENT).expect("two levels");
    overlay.figures()
}

/// An estimate is what was planted, within `within` of it.
fn planted(found: Option<Estimate>, expected: f64, within: f64) {
    let found = found.expect("a reading");
    let off = (found.value / expected - 1.0).abs();
    assert!(off < within, "{found:?} for {expected}");
    let error = (found.value - expected).abs();
    assert!(error <= found.expanded() + 1e-6 * expected, "{found:?}");
}

/// 10 to 90 % of an RC step takes ln 9 tau = 2.1972245773 tau, -4 V to +4 V of
/// it ln (0.7 / 0.3) (closed forms).
#[test]
fn an_rc_step_rises_in_ln_9_tau() {
    let tau = 1000.0;
    let step = |t: f64| 1.0 - libm::exp(-t / tau);
    let found = read(
        &laid(16_000, 4000.0, tau * std::f64::consts::LN_2, step),
        1386.0,
    );
    planted(found.duration, 2.197_224_577_336_22 * tau, 1e-6);
    planted(found.slew, 8.0 / (tau * libm::log(0.7 / 0.3)), 1e-6);
    // Edges that are all alike; single ones are compared with all of them at a
    // few places, between which there are lines.
    let slowest = found.slowest.expect("a reading").value;
    let share = slowest * tau * libm::log(0.7 / 0.3) / 8.0;
    assert!((share - 1.0).abs() < 2e-4, "{share}");
    assert_eq!((found.slew_bounded, found.distorted), (0, 0));
    assert!(!found.overshoot_bounded);
    let over = found.overshoot.expect("a settled top").0;
    assert!(over.value.abs() < 1e-6, "{over:?}");
}

/// Second-order steps: overshoot exp(-pi z / sqrt(1 - z^2)), rise and the
/// passing of the middle by root finding.
#[test]
fn second_order_steps_overshoot_as_the_formula_says() {
    for (zeta, overshoot, rise) in [
        (0.2, 0.526_620_599_330_303, 1.203_429_900_925_475_9),
        (0.5, 0.163_033_534_821_580_48, 1.637_572_947_328_350_2),
        (0.7, 0.045_987_910_260_267_75, 2.126_201_869_710_138_6),
    ] {
        let (unit, damped) = (1000.0, libm::sqrt(1.0 - zeta * zeta));
        let step = |t: f64| {
            let t = t / unit;
            let swing = libm::cos(damped * t) + zeta / damped * libm::sin(damped * t);
            1.0 - libm::exp(-zeta * t) * swing
        };
        let (mut early, mut late) = (0.0, 2.0 * unit);
        for _ in 0..60 {
            let middle = f64::midpoint(early, late);
            if step(middle) < 0.5 {
                early = middle;
            } else {
                late = middle;
            }
        }
        let found = read(&laid(16_000, 4000.0, early, step), 1386.0);
        planted(found.duration, rise * unit, 1e-5);
        let (mean, worst) = found.overshoot.expect("a top");
        planted(Some(mean), overshoot, 2e-4);
        planted(Some(worst), overshoot, 2e-4);
        assert_eq!((found.distorted, found.distortion), (0, None));
    }
}

/// Straight edges of 100 and 200 samples: 10 to 90 % in 80 and 160, slopes of
/// 0.2 and 0.1 V a sample, nothing past the levels.
#[test]
fn straight_edges_have_the_slopes_they_were_given() {
    for length in [100.0, 200.0] {
        let straight = |t: f64| (t / length).min(1.0);
        let found = read(&laid(1200, 400.0, length / 2.0, straight), length);
        planted(found.duration, 0.8 * length, 1e-6);
        planted(found.slew, (END - START) / length, 1e-6);
        let (over, pre) = (found.overshoot.expect("a top"), found.preshoot);
        let sizes = [over.0, over.1, pre.expect("a foot").0].map(|e| e.value);
        assert!(sizes.iter().all(|size| size.abs() < 1e-9), "{sizes:?}");
        assert_eq!((found.distorted, found.slew_bounded), (0, 0));
    }
}

#[test]
fn running_backwards_at_the_crossing_is_distortion() {
    let rise = [-10.0, -10.0, -6.0, -1.0, 1.5, -1.8, 1.0, 6.0, 10.0, 10.0];
    let edge = || Laid {
        volts: rise.to_vec(),
        zero: 5.0 + 1.8 / 2.8,
    };
    let found = read(&[edge(), edge(), edge()], 3.0);
    assert_eq!((found.measured, found.distorted), (3, 3));
    assert_eq!(found.distortion, Some((-1.8, 1.5)));
}

/// A jump between two samples took one period at most, and less is not known.
#[test]
fn a_step_between_two_samples_only_bounds_the_slew() {
    let edge = |_| Laid {
        volts: [vec![START; 30], vec![END; 30]].concat(),
        zero: 29.5,
    };
    let edges: Vec<Laid> = (0..4).map(edge).collect();
    let found = read(&edges, 1.0);
    assert_eq!(found.slew_bounded, 4);
    let bound = [found.slew, found.slowest].map(|slew| slew.expect("a bound").value);
    assert_eq!(bound, [8.0, 8.0]);
    assert!(found.overshoot_bounded);
}

/// A jump that overshoots by 2 V and decays in a sample: over all phases of the
/// sampling the first sample behind it shows 1 - 1 / e of that on average. What is
/// read is no less, and no more than there is.
#[test]
fn the_first_sample_behind_a_jump_counts() {
    let edge = |number: u32| {
        let begin = 30.0 + (f64::from(number) + 0.5) / f64::from(EDGES);
        let volts = |n: u32| match f64::from(n) - begin {
            before if before < 0.0 => START,
            behind => END + 2.0 * libm::exp(-behind),
        };
        Laid {
            volts: (0..60).map(volts).collect(),
            zero: 30.5,
        }
    };
    let edges: Vec<Laid> = (0..EDGES).map(edge).collect();
    let found = read(&edges, 1.0);
    assert!(found.overshoot_bounded);
    let (mean, worst) = found.overshoot.expect("a top");
    let most = 2.0 / (END - START);
    let shown = most * (1.0 - libm::exp(-1.0));
    for over in [mean, worst] {
        assert!((0.99 * shown..=most).contains(&over.value), "{over:?}");
    }
}

/// Errors over standard uncertainties of mean and worst overshoot, squared and summed
/// over captures of `count` edges in `noise`, sampled at any phase: each edge rises in
/// `length` samples, and `behind` says what is past the level so many samples later.
fn squares(
    (count, noise, length): (u32, f64, f64),
    behind: impl Fn(u32, f64) -> f64,
    truth: [f64; 2],
) -> [f64; 2] {
    let seen = Noise::Hidden {
        deviation: noise,
        slow: false,
    };
    let mut squares = [0.0; 2];
    for key in 0..CAPTURES {
        let mut chance = Seed(20_261).stream(&[key, u64::from(count)]);
        let mut edge = |number: u32| {
            let begin = 40.0 + chance.uniform();
            let mut volts = |n: u32| {
                let after = f64::from(n) - begin;
                let way = (after / length).clamp(0.0, 1.0);
                let past = (after - length).max(0.0);
                let past = if after < length {
                    0.0
                } else {
                    behind(number, past)
                };
                START + (END - START) * way + past + noise * chance.normal()
            };
            Laid {
                volts: (0..160).map(&mut volts).collect(),
                zero: begin + length / 2.0,
            }
        };
        let edges: Vec<Laid> = (0..count).map(&mut edge).collect();
        let known = Known {
            noise,
            ..known(length)
        };
        let overlay = Overlay::of(&edges, known, &seen).expect("two levels");
        let (mean, worst) = overlay.figures().overshoot.expect("a top");
        for ((sum, found), truth) in squares.iter_mut().zip([mean, worst]).zip(truth) {
            *sum += ((found.value - truth) / found.u).powi(2);
        }
    }
    squares
}

/// Captures that are read, and what squares of as many normal deviates sum up to: chi-squared
/// with 24 degrees of freedom is above 51.2 in one of a thousand (tables, from memory); six
/// stands for half of the stated uncertainty.
const CAPTURES: u64 = 24;
const HONEST: std::ops::Range<f64> = 6.0..51.2;

/// Behind a straight edge H x exp(1 - x), x in time constants: H at most, where x is 1
/// (derivative), and steeper before that than behind. Six of 240 edges have 1.2 V more,
/// so that the mean is higher by a fortieth of that (arithmetic): what is read of all
/// and of the worst errs as much as it says, in noise of a third of that.
#[test]
fn a_round_top_and_the_few_that_are_higher_are_read_as_well_as_they_say() {
    let (height, more, constant) = (1.0, 1.2, 8.0);
    let rounded = |number: u32, past: f64| {
        let own = if number % 40 == 7 { more } else { 0.0 };
        let x = past / constant;
        (height + own) * x * libm::exp(1.0 - x)
    };
    let truth = [height + more / 40.0, height + more].map(|volts| volts / (END - START));
    let found = squares((240, 0.4, 16.0), rounded, truth);
    assert!(found.iter().all(|sum| HONEST.contains(sum)), "{found:?}");
}

/// Four of 200 edges are 2 V higher, and sampled at a phase of their own: the mean is
/// higher by a fiftieth of that (arithmetic), and theirs is the worst. The top is a
/// parabola of 1 V.
#[test]
fn a_few_edges_at_a_phase_of_their_own_are_not_all() {
    let edge = |number: u32| {
        let (own, begin) = match number % 50 {
            7 => (2.0, 40.75),
            _ => (0.0, 40.25),
        };
        let volts = |n: u32| {
            let after = f64::from(n) - begin;
            let way = (after / 16.0).clamp(0.0, 1.0);
            let x = ((after - 24.0) / 8.0).clamp(-1.0, 1.0);
            START + (END - START) * way + (1.0 + own) * (1.0 - x * x)
        };
        Laid {
            volts: (0..160).map(volts).collect(),
            zero: begin + 8.0,
        }
    };
    let edges: Vec<Laid> = (0..200).map(edge).collect();
    let (mean, worst) = read(&edges, 16.0).overshoot.expect("a top");
    for (found, volts) in [(mean, 1.0 + 2.0 / 50.0), (worst, 3.0)] {
        let truth = volts / (END - START);
        let off = (found.value - truth).abs();
        assert!(off <= found.expanded().max(2e-3), "{found:?} for {truth}");
    }
}

/// A settled top has no overshoot: the highest of many means is chance.
#[test]
fn a_flat_top_has_no_overshoot_in_noise() {
    let found = squares((240, 0.4, 16.0), |_, _| 0.0, [0.0; 2]);
    assert!(found.iter().all(|sum| *sum < HONEST.end), "{found:?}");
}

proptest::proptest! {
    #[test]
    fn no_edges_panic(
        // Windows with wilder samples are left out before.
        samples in proptest::collection::vec(-BEYOND_READING..BEYOND_READING, 8..40),
        place in 0.0..1.0_f64,
        levels in (-100.0..100.0_f64, -100.0..100.0_f64),
    ) {
        let zero = 2.0 + place * (samples.len() as f64 - 5.0);
        let edge = |_| Laid { volts: samples.clone(), zero };
        let edges: Vec<Laid> = (0..3).map(edge).collect();
        let known = Known { start: levels.0, end: levels.1, ..known(3.0) };
        if let Some(overlay) = Overlay::of(&edges, known, &SILENT) {
            let _ = overlay.figures();
        }
    }
}
