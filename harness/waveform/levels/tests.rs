//! Levels against those that samples were made with, in noise, and histograms
//! whose range grows.

use super::*;
use crate::seed::Seed;

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
