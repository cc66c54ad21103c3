//! Crossings against closed forms, and the skipping path against the plain
//! one. Noise here is seeded.

use super::*;
use crate::seed::Seed;

const PLAIN: Thresholds = Thresholds {
    level: 0.0,
    hysteresis: 1.0,
    dwell: f64::INFINITY,
};

fn crossings<S: Sample>(thresholds: Thresholds, samples: &[S], piece: usize) -> Vec<Crossing> {
    let mut found = Vec::new();
    let mut detector = CrossingDetector::new(thresholds);
    for samples in samples.chunks(piece) {
        detector.push(samples, &mut |crossing| found.push(crossing));
    }
    found
}

/// An RC step 1 - exp(-t / tau) crosses 0.5 at ln 2 tau; between samples the
/// straight line errs by no more than Ts^2 max|y''| / (8 slope). Positions and
/// bounds of the interpolated crossing were computed independently in closed
/// form (double precision, quoted to 15 digits).
#[test]
fn linear_interpolation_errs_as_much_as_its_bound_allows() {
    for (per_tau, expected, bound) in [
        (10, 0.693_461_734_611_566, 0.001_313_541_493_096_88),
        (20, 0.693_294_122_594_134_7, 0.000_320_377_601_454_153_35),
        (50, 0.693_192_180_591_850_8, 5.050_166_655_554_247_6e-5),
        (100, 0.693_157_970_730_585_5, 1.256_260_416_649_301_1e-5),
    ] {
        let step = 1.0 / f64::from(per_tau);
        let samples: Vec<f64> = (0..5 * per_tau)
            .map(|n| 1.0 - libm::exp(-f64::from(n) * step))
            .collect();
        let thresholds = Thresholds {
            level: 0.5,
            hysteresis: 0.1,
            dwell: f64::INFINITY,
        };
        let found = crossings(thresholds, &samples, 7);
        assert_eq!(found.len(), 1, "{per_tau}");
        let at = found[0].position * step;
        assert!((at - expected).abs() < 1e-9, "{per_tau}: {at}");
        assert!((at - std::f64::consts::LN_2).abs() < bound, "{per_tau}");
        assert_eq!(found[0].to, Polarity::Positive);
    }
}

/// A trapezoid 0 to 1 with edges of 1 and 2 ms and a top of 5 ms is 6.5 ms
/// wide at half height (IEEE 181 pulse duration, by arithmetic).
#[test]
fn a_trapezoid_is_as_wide_as_it_should_be() {
    let samples: Vec<f32> = (0..12_000)
        .map(|n| {
            let t = f64::from(n) * 1e-6 - 1.5e-3;
            (t / 1e-3).min((8e-3 - t) / 2e-3).clamp(0.0, 1.0) as f32
        })
        .collect();
    let thresholds = Thresholds {
        level: 0.5,
        hysteresis: 0.2,
        dwell: f64::INFINITY,
    };
    let found = crossings(thresholds, &samples, 1000);
    let width = (found[1].position - found[0].position) * 1e-6;
    assert!((width - 0.0065).abs() < 1e-9, "{width}");
}

#[test]
fn noise_inside_the_band_crosses_nothing() {
    let mut noise = Seed(3).stream(&[1]);
    let mut samples = vec![2.0; 100];
    samples.extend((0..5000).map(|_| noise.uniform() * 1.9 - 0.95));
    samples.extend(vec![2.0; 100]);
    assert_eq!(crossings(PLAIN, &samples, 64), vec![]);
}

#[test]
fn chatter_at_the_crossing_is_one_crossing_in_its_middle() {
    let samples = [3.0, 0.5, -0.5, 0.5, -0.5, -3.0];
    let found = crossings(PLAIN, &samples, 6);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].position, 2.5);
    assert_eq!(found[0].ambiguity, 2.0);
    assert_eq!(found[0].to, Polarity::Negative);
}

#[test]
fn joined_rails_are_a_state_of_their_own() {
    let mut samples = vec![10_i16; 700];
    samples.extend(vec![0; 700]);
    samples.extend(vec![10; 700]);
    samples.extend(vec![-10; 700]);
    let thresholds = Thresholds {
        dwell: 8.0,
        ..PLAIN
    };
    let found = crossings(thresholds, &samples, 2800);
    let states: Vec<Polarity> = found.iter().map(|c| c.to).collect();
    assert_eq!(
        states,
        [Polarity::Zero, Polarity::Positive, Polarity::Negative]
    );
    // From 10 to 0 in one sample the band's border 1 is met after nine tenths.
    assert!((found[0].position - 699.9).abs() < 1e-9);
    assert!((found[1].position - 1399.1).abs() < 1e-9);
    assert!((found[2].position - 2099.5).abs() < 1e-9);
}

#[test]
fn every_sample_type_says_the_same() {
    let wave: Vec<i8> = (0..4000)
        .map(|n| if (n / 58) % 2 == 0 { 100 } else { -100 })
        .collect();
    let expected = crossings(PLAIN, &wave, 999);
    assert_eq!(expected.len(), 4000 / 58);
    let i16s: Vec<i16> = wave.iter().map(|&v| v.into()).collect();
    let i32s: Vec<i32> = wave.iter().map(|&v| v.into()).collect();
    let f32s: Vec<f32> = wave.iter().map(|&v| v.into()).collect();
    let f64s: Vec<f64> = wave.iter().map(|&v| v.into()).collect();
    assert_eq!(crossings(PLAIN, &i16s, 4000), expected);
    assert_eq!(crossings(PLAIN, &i32s, 1), expected);
    assert_eq!(crossings(PLAIN, &f32s, 513), expected);
    assert_eq!(crossings(PLAIN, &f64s, 31), expected);
}

#[test]
fn samples_that_are_no_numbers_are_passed_over() {
    let mut samples: Vec<f64> = (0..2000)
        .map(|n| if (n / 100) % 2 == 0 { 5.0 } else { -5.0 })
        .collect();
    for index in [0, 99, 100, 511, 512, 1023, 1999] {
        samples[index] = f64::NAN;
    }
    assert_eq!(crossings(PLAIN, &samples, 2000).len(), 19);
    assert!(crossings(PLAIN, &[f64::NAN; 1000], 1000).is_empty());
}

/// The fast path against one that steps through every sample: bit for bit.
fn agree<S: Sample>(dwell: u16, samples: &[S], piece: usize) {
    let thresholds = Thresholds {
        level: 0.0,
        hysteresis: 30.0,
        dwell: f64::from(dwell),
    };
    let skipped = crossings(thresholds, samples, piece);
    let mut stepped = Vec::new();
    let mut detector = CrossingDetector::new(thresholds);
    for (index, sample) in samples.iter().enumerate() {
        detector.push_at(index as f64, sample.number(), &mut |c| stepped.push(c));
    }
    assert_eq!(skipped, stepped);
}

proptest::proptest! {
    /// Skipping blocks changes nothing, wherever the pieces are cut.
    #[test]
    fn skipping_and_stepping_agree(
        seed: u64,
        lengths in proptest::collection::vec(1_usize..900, 1..12),
        piece in 1_usize..2000,
        noise in 0_i16..40,
        dwell in 2_u16..700,
    ) {
        let mut stream = Seed(seed).stream(&[1]);
        let mut samples = Vec::new();
        for length in lengths {
            let level = [-100, 0, 100][(stream.next_u64() % 3) as usize];
            for _ in 0..length {
                let jitter = (stream.uniform() * f64::from(2 * noise + 1)) as i16 - noise;
                samples.push(level + jitter);
            }
        }
        agree(dwell, &samples, piece);
        agree(dwell, &samples.iter().map(|&s| (s / 2) as i8).collect::<Vec<_>>(), piece);
        agree(dwell, &samples.iter().map(|&s| i32::from(s)).collect::<Vec<_>>(), piece);
        // Some samples are no numbers.
        let holes = |s: i16| if s % 13 == 5 { f64::NAN } else { f64::from(s) * 1.1 };
        agree(dwell, &samples.iter().map(|&s| holes(s) as f32).collect::<Vec<_>>(), piece);
        agree(dwell, &samples.iter().map(|&s| holes(s)).collect::<Vec<_>>(), piece);
    }
}

/// Code zero belongs to neither side: where a slow edge stays on it, the
/// crossing lies in the middle of its stay, upwards and downwards alike.
#[test]
fn samples_at_the_level_count_for_neither_side() {
    let stair = |n: i32| ((n - 40) / 8) as i8;
    let up: Vec<i8> = (0..90).map(stair).collect();
    let down: Vec<i8> = up.iter().map(|code| -code).collect();
    // (n - 40) / 8 is zero from 33 to 47.
    for wave in [&up, &down] {
        let found = crossings(PLAIN, wave, 7);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].position, 40.0);
    }
    // Touching it is no crossing.
    let touched = [3_i8, 2, 0, 0, 2, 3, 3, 0, -2];
    let found = crossings(PLAIN, &touched, 9);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].position, 7.0);
}
