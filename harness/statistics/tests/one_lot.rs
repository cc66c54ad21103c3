//! One lot: moments, capability, tolerance factors, outliers, charts, shares.

use super::super::capability::{capability, performance};
use super::super::charts::{
    EwmaSettings, RangeConstants, ewma, individuals, means_and_deviations, means_and_ranges,
    sd_bias,
};
use super::super::outliers::extreme_deviates;
use super::super::proportion::{clopper_pearson, wilson};
use super::super::tolerance::{Coverage, tolerance_interval};
use super::super::{Sample, StatisticsFault, ToleranceLimits};
use super::data::{GEAR, MAVRO, MICHELSO, ROSNER, WAFERS};
use super::{close, moments, printed, sample};

/// NIST Statistical Reference Datasets, univariate: certified values. The
/// tolerances are what double precision reaches on data that are not exactly
/// representable.
#[test]
fn moments_are_those_certified() {
    let alternating = |first: f64, low: f64, high: f64| {
        let mut values = vec![first];
        for _ in 0..500 {
            values.extend([low, high]);
        }
        values
    };
    let accurate_1 = [10_000_001.0, 10_000_003.0, 10_000_002.0];
    let accurate_2 = alternating(1.2, 1.1, 1.3);
    let accurate_3 = alternating(1_000_000.2, 1_000_000.1, 1_000_000.3);
    let cases: [(&[f64], f64, f64, f64, f64); 5] = [
        (
            &MICHELSO,
            299.8524,
            0.0790105478190518,
            0.535199668621283,
            1e-13,
        ),
        (
            &MAVRO,
            2.001856,
            0.000429123454003053,
            0.937989183438248,
            1e-12,
        ),
        (&accurate_1, 10_000_002.0, 1.0, -0.5, 1e-15),
        (&accurate_2, 1.2, 0.1, -0.999, 1e-14),
        (&accurate_3, 1_000_000.2, 0.1, -0.999, 1e-8),
    ];
    for (values, mean, sd, autocorrelation, tolerance) in cases {
        let sample = sample(values);
        close(sample.moments().mean(), mean, 1e-15);
        close(sample.moments().sd(), sd, tolerance);
        let lag_1 = sample.autocorrelation().expect("it varies");
        close(lag_1, autocorrelation, 10.0 * tolerance);
    }
}

/// R 4 and NumPy: quantile type 7 of 1..4 at a third; mad of 1 1 2 2 4 6 9 is
/// 1 (the example of the mathematical literature, from memory).
#[test]
fn order_statistics_follow_their_definitions() {
    let four = sample(&[4.0, 1.0, 3.0, 2.0]);
    assert_eq!(four.median(), 2.5);
    assert_eq!(four.quantile(0.25), Ok(1.75));
    assert_eq!(four.quantile(1.0), Ok(4.0));
    assert_eq!(four.quantile(0.0), Ok(1.0));
    assert!(four.quantile(1.1).is_err());
    let seven = sample(&[1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0]);
    assert_eq!(seven.median(), 2.0);
    assert_eq!(seven.median_absolute_deviation(), 1.0);
}

/// NIST/SEMATECH e-Handbook 6.1.6 and D. C. Montgomery, "Introduction to
/// Statistical Quality Control", both from memory; intervals of Cpk computed
/// with SciPy 1.17.1.
#[test]
fn capability_is_that_of_the_handbook() {
    let limits = ToleranceLimits::new(Some(8.0), Some(20.0)).expect("in order");
    let indices = performance(&moments(30, 16.0, 2.0), &limits, 0.95).expect("it varies");
    close(indices.spread.expect("two limits").value, 1.0, 1e-15);
    close(indices.nearer.value, 0.6666666666666666, 1e-15);
    close(
        indices.off_centre.expect("two limits"),
        0.3333333333333333,
        1e-15,
    );
    close(
        indices.to_lower.expect("a limit"),
        1.3333333333333333,
        1e-15,
    );

    let limits = ToleranceLimits::new(Some(38.0), Some(62.0)).expect("in order");
    let indices = performance(&moments(20, 50.0, 1.75), &limits, 0.95).expect("it varies");
    let cp = indices.spread.expect("two limits");
    close(cp.value, 2.2857142857142856, 1e-15);
    close(cp.interval.lower, 1.56494500453774, 1e-12);
    close(cp.interval.upper, 3.0055794297420433, 1e-12);

    // Count, index, interval of Cp, interval and lower bound of Cpk.
    for (count, index, cp, cpk, bound) in [
        (
            10,
            1.0,
            [0.5477620631036758, 1.4538366024129867],
            [0.49393947524733606, 1.506060524752664],
            0.5753006197245387,
        ),
        (
            20,
            1.33,
            [0.9106023745153976, 1.7488715306811515],
            [0.8826060505594018, 1.7773939494405984],
            0.9545351617590028,
        ),
        (
            100,
            0.67,
            [0.5767532681326473, 0.7630920003725137],
            [0.5560810183968161, 0.783918981603184],
            0.5743961768957772,
        ),
    ] {
        let half = 3.0 * index;
        let limits = ToleranceLimits::new(Some(-half), Some(half)).expect("in order");
        let indices = performance(&moments(count, 0.0, 1.0), &limits, 0.95).expect("it varies");
        let spread = indices.spread.expect("two limits").interval;
        close(spread.lower, cp[0], 1e-12);
        close(spread.upper, cp[1], 1e-12);
        close(indices.nearer.interval.lower, cpk[0], 1e-12);
        close(indices.nearer.interval.upper, cpk[1], 1e-12);
        close(indices.nearer.at_least, bound, 1e-12);
        // One limit alone gives the same distance and no width.
        let one = ToleranceLimits::new(None, Some(half)).expect("one is enough");
        let one = performance(&moments(count, 0.0, 1.0), &one, 0.95).expect("it varies");
        assert_eq!((one.nearer, one.spread), (indices.nearer, None));
    }
}

/// A level that moves between subgroups widens the whole spread, not the one
/// within: Cpk is above Ppk.
#[test]
fn capability_looks_within_subgroups() {
    let subgroups = [
        sample(&[9.9, 10.1, 10.0]),
        sample(&[10.9, 11.1, 11.0]),
        sample(&[8.9, 9.1, 9.0]),
    ];
    let limits = ToleranceLimits::new(Some(7.0), Some(13.0)).expect("in order");
    let within = capability(&subgroups, &limits, 0.9).expect("they vary");
    close(within.nearer.value, 10.0, 1e-12);
    let all: Vec<f64> = subgroups.iter().flat_map(|s| s.values().to_vec()).collect();
    let whole = performance(sample(&all).moments(), &limits, 0.9).expect("it varies");
    assert!(whole.nearer.value < 1.3);
    // Six degrees of freedom within, eight over all.
    let relative = |index: super::super::capability::Index| index.at_least / index.value;
    assert!(relative(within.spread.expect("two")) < relative(whole.spread.expect("two")));
}

/// Factors printed to six places, computed with mpmath by other routines and
/// spot-checked there against NIST/SEMATECH e-Handbook 7.2.6.3 and the EnvStats
/// manual: n, share, confidence, one-sided exact, approximate, two-sided exact,
/// approximate.
#[test]
fn tolerance_factors_are_those_of_the_tables() {
    for (n, share, confidence, one, one_rough, two, two_rough) in [
        (3, 0.9, 0.9, 4.258165, 3.868404, 5.788074, 5.851372),
        (3, 0.99, 0.95, 10.552730, 13.331949, 12.647106, 13.132764),
        (6, 0.9, 0.99, 4.411081, 5.280827, 5.383200, 5.335977),
        (8, 0.95, 0.95, 3.187294, 3.144566, 3.745507, 3.736017),
        (10, 0.99, 0.99, 5.073725, 5.351547, 5.610168, 5.608927),
        (20, 0.95, 0.95, 2.396002, 2.378348, 2.760346, 2.752285),
        (20, 0.99, 0.9, 3.051543, 3.015680, 3.371519, 3.370611),
        (43, 0.9, 0.99, 1.873954, 1.875190, 2.222825, 2.217316),
        (50, 0.95, 0.95, 2.064993, 2.058490, 2.381560, 2.378769),
        (200, 0.99, 0.95, 2.569737, 2.567913, 2.816244, 2.815785),
    ] {
        let coverage = Coverage::new(n, share, confidence).expect("sound");
        printed(coverage.one_sided().expect("finite"), one, 6);
        printed(
            coverage.one_sided_approximate().expect("finite"),
            one_rough,
            6,
        );
        printed(coverage.two_sided().expect("finite"), two, 6);
        printed(
            coverage.two_sided_approximate().expect("finite"),
            two_rough,
            6,
        );
    }
    let hopeless = Coverage::new(3, 0.9, 0.99).expect("sound");
    assert_eq!(
        hopeless.one_sided_approximate(),
        Err(StatisticsFault::OutOfRange)
    );
}

/// NIST/SEMATECH e-Handbook 7.2.6.3; its data file has 25 of the 43 readings.
#[test]
fn tolerance_intervals_of_the_wafers() {
    let wafers = sample(&WAFERS);
    close(wafers.moments().mean(), 97.06983999999999, 1e-15);
    close(wafers.moments().sd(), 0.026798134263414822, 1e-12);
    let interval = tolerance_interval(&moments(43, 97.07, 0.0268), 0.9, 0.99).expect("it varies");
    // The exact factor 2.222825 in place of Howe's 2.217 moves the fourth place.
    printed(interval.lower, 97.0104, 4);
    printed(interval.upper, 97.1296, 4);
}

/// The statistics and critical values printed in NIST/SEMATECH e-Handbook
/// 1.3.5.17.3, from memory: three outliers, found through the masking.
#[test]
fn rosners_outliers_are_flagged() {
    let sample = sample(&ROSNER);
    let outliers = extreme_deviates(&sample, 10, 0.05).expect("enough readings");
    let found: Vec<f64> = outliers.indices().map(|i| sample.values()[i]).collect();
    assert_eq!(found, [6.01, 5.42, 5.34]);
    assert!(!outliers.rough);
    let statistics = [
        3.118, 2.942, 3.179, 2.810, 2.815, 2.848, 2.279, 2.310, 2.101, 2.067,
    ];
    let critical = [
        3.158, 3.151, 3.143, 3.136, 3.128, 3.120, 3.111, 3.103, 3.094, 3.085,
    ];
    assert_eq!(outliers.suspects.len(), 10);
    for ((suspect, r), lambda) in outliers.suspects.iter().zip(statistics).zip(critical) {
        // The page rounds and cuts alike.
        assert!((suspect.statistic - r).abs() < 1.1e-3, "{suspect:?} {r}");
        assert!((suspect.critical - lambda).abs() < 1.1e-3, "{suspect:?}");
    }
}

#[test]
fn outliers_need_a_spread_and_three_readings() {
    assert!(extreme_deviates(&sample(&[1.0, 2.0]), 1, 0.05).is_err());
    let flat = extreme_deviates(&sample(&[4.0; 9]), 3, 0.05).expect("enough");
    assert_eq!((flat.flagged, flat.suspects.len()), (0, 0));
    let lone = [5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 5.0, 9.0];
    let lone = extreme_deviates(&sample(&lone), 3, 0.05).expect("enough");
    assert_eq!(lone.indices().collect::<Vec<_>>(), [8]);
}

/// R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3
/// (from memory).
#[test]
fn wilson_intervals_are_newcombes() {
    for (x, n, lower, upper) in [
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ] {
        let interval = wilson(x, n, 0.95).expect("sound").interval;
        printed(interval.lower, lower, 4);
        printed(interval.upper, upper, 4);
    }
    assert_eq!(wilson(20, 20, 0.95).expect("sound").interval.upper, 1.0);
    assert!(wilson(2, 1, 0.95).is_err() && wilson(0, 0, 0.95).is_err());
}

/// The same table, method 5 (from memory), and the closed form where nothing
/// happened: the upper end is 1 - (alpha / 2)^(1 / n).
#[test]
fn exact_intervals_are_clopper_and_pearsons() {
    for (x, n, lower, upper) in [
        (81, 263, 0.2527, 0.3676),
        (15, 148, 0.0578, 0.1617),
        (0, 20, 0.0, 0.1684),
        (1, 29, 0.0009, 0.1776),
    ] {
        let found = clopper_pearson(x, n, 0.95).expect("sound");
        printed(found.interval.lower, lower, 4);
        printed(found.interval.upper, upper, 4);
        // What is a success and what a failure is a matter of naming.
        let turned = clopper_pearson(n - x, n, 0.95).expect("sound").interval;
        assert!((turned.lower + found.interval.upper - 1.0).abs() < 1e-12);
    }
    for n in [1, 7, 100, 5000] {
        let upper = clopper_pearson(0, n, 0.95).expect("sound").interval.upper;
        close(upper, 1.0 - 0.025_f64.powf(1.0 / n as f64), 1e-10);
    }
    assert_eq!(
        clopper_pearson(9, 9, 0.9).expect("sound").interval.upper,
        1.0
    );
    assert!(clopper_pearson(2, 1, 0.95).is_err() && clopper_pearson(0, 0, 0.95).is_err());
}

/// d2, d3 and c4 as in ASTM MNL 7 to its 3 to 4 digits, here with six from an
/// mpmath quadrature of their definitions.
#[test]
fn chart_constants_are_those_of_the_tables() {
    for (n, d2, d3, c4) in [
        (2, 1.128379, 0.852502, 0.797885),
        (3, 1.692569, 0.888368, 0.886227),
        (5, 2.325929, 0.864082, 0.939986),
        (10, 3.077505, 0.797051, 0.972659),
        (25, 3.930629, 0.708441, 0.989640),
    ] {
        let range = RangeConstants::of(n).expect("a size in the tables");
        printed(range.mean, d2, 6);
        printed(range.sd, d3, 6);
        printed(sd_bias(n).expect("two or more"), c4, 6);
    }
    // The two formulas for c4 meet.
    let (below, above) = (sd_bias(10_001), sd_bias(10_002));
    let step = above.expect("sound") - below.expect("sound");
    assert!((step - 2.5e-9).abs() < 1e-10, "{step:e}");
}

/// NIST/SEMATECH e-Handbook 6.3.2.2, flow rates, from memory. It rounds d2 to
/// 1.128, so its limits lie farther out by that.
#[test]
fn individuals_have_the_handbooks_limits() {
    let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let chart = individuals(&sample(&flow)).expect("it varies");
    close(chart.readings.centre, 50.81, 1e-14);
    close(chart.moving_range.centre, 1.8777777777777784, 1e-13);
    let d2 = 2.0 / std::f64::consts::PI.sqrt();
    let rounded = (chart.readings.upper - 50.81) * d2 / 1.128;
    close(50.81 + rounded, 55.80408983451537, 1e-13);
    close(50.81 - rounded, 45.81591016548463, 1e-13);
    assert!((chart.moving_range.upper - 6.1347).abs() < 2e-3);
    assert_eq!(chart.moving_range.lower, 0.0);
    assert!(chart.readings.signals(56.0) && !chart.readings.signals(53.6));
}

/// NIST/SEMATECH e-Handbook 6.3.2.4, from memory: the averages printed to two
/// places, the limits to four (the page rounds a root, so one unit off).
#[test]
fn the_moving_average_is_the_handbooks() {
    let readings = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8,
        51.2, 52.6, 52.4, 53.6, 52.1,
    ];
    let averages = [
        50.6, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52,
        50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    let settings = EwmaSettings {
        target: 50.0,
        sd: 2.0539,
        weight: 0.3,
        width: 3.0,
    };
    let chart = ewma(&sample(&readings), &settings).expect("sound settings");
    for (got, want) in chart.averages.iter().zip(averages) {
        printed(*got, want, 2);
    }
    assert!((chart.settled.upper - 52.5884).abs() < 1e-4);
    assert!((chart.settled.lower - 47.4115).abs() < 1e-4);
    close(chart.limits[0].upper, 51.84851, 1e-12);
    close(chart.limits[4].upper, 52.551611460073964, 1e-12);
    let broken = EwmaSettings {
        weight: 0.0,
        ..settings
    };
    assert!(ewma(&sample(&readings), &broken).is_err());
}

/// GEAR.DAT of the e-Handbook; limits computed from the standard formulas with
/// six-digit constants (NumPy).
#[test]
fn subgroup_charts_of_the_gears() {
    let gears: Vec<Sample> = GEAR.iter().map(|batch| sample(batch)).collect();
    let ranges = means_and_ranges(&gears).expect("they vary");
    close(ranges.means.centre, 0.99764, 1e-14);
    close(ranges.means.upper, 1.0032195734267826, 1e-8);
    close(ranges.means.lower, 0.9920604265732174, 1e-8);
    close(ranges.spread.upper, 0.032163289931121275, 1e-6);
    close(ranges.spread.lower, 0.004036710068878713, 1e-6);
    let deviations = means_and_deviations(&gears).expect("they vary");
    close(deviations.means.upper, 1.0030853093849756, 1e-8);
    close(deviations.spread.centre, 0.005582928132751788, 1e-12);
    close(deviations.spread.upper, 0.009581948533025462, 1e-6);
    close(deviations.spread.lower, 0.001583907732478114, 1e-6);
    let uneven = [sample(&[1.0, 2.0]), sample(&[1.0, 2.0, 3.0])];
    assert_eq!(means_and_ranges(&uneven), Err(StatisticsFault::Unbalanced));
}
