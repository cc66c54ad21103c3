//! What readings cannot show is no finding, and what they show keeps its digits.

use super::super::capability::performance;
use super::super::equivalence::Margin;
use super::super::lots::{LotSummary, Outcome, compare, settle};
use super::super::{Sample, StatisticsFault, ToleranceLimits};
use super::{close, sample};

/// Readings one unit in the last place apart made an outlier, a detected shift
/// and a Ppk of 3e15.
#[test]
fn readings_one_digit_apart_are_the_same_reading() {
    let limits = ToleranceLimits::new(Some(-1.0), Some(21.0)).expect("in order");
    let margin = Margin::symmetric(0.5).expect("positive");
    for level in [10.0, -0.004, 1e6] {
        let next = f64::next_up(level);
        let mut values = vec![level; 12];
        values[7] = next;
        let before = sample(&values);
        let after = sample(&[next; 12]);
        let summary = LotSummary::of(&before, Some(&limits));
        assert_eq!(before.moments().sd(), 0.0);
        assert_eq!(summary.performance, None, "{level}");
        let outliers = summary.outliers.expect("twelve boards");
        assert_eq!(outliers.indices().count(), 0);
        let found = compare(&before, &after, &margin, 0.05).expect("sound");
        assert_eq!(
            (found.welch, found.rank_sum, found.spread_p),
            (None, None, None)
        );
        assert!(!found.differs());
        let settled = settle(&[found], 0.05).expect("sound");
        assert_eq!(settled[0].outcome, Outcome::Equivalent);
    }
}

/// The same of readings that their own uncertainty does not tell apart, and the
/// opposite of those that it does.
#[test]
fn readings_are_told_apart_by_their_own_uncertainty() {
    let limits = ToleranceLimits::new(None, Some(5.1)).expect("one is enough");
    let values = [5.0001, 5.0002, 5.0, 5.0001, 5.0004, 5.0001];
    let shifted = values.map(|x| x + 0.0003);
    for (resolution, told_apart) in [(1e-3, false), (1e-5, true)] {
        let lot = |values: &[f64]| Sample::resolved(values, resolution).expect("sound");
        let (before, after) = (lot(&values), lot(&shifted));
        assert_eq!(
            LotSummary::of(&before, Some(&limits)).performance.is_some(),
            told_apart
        );
        let margin = Margin::symmetric(0.05).expect("positive");
        let found = compare(&before, &after, &margin, 0.05).expect("sound");
        assert_eq!(
            found.welch.is_some_and(|test| test.p_two_sided < 0.05),
            told_apart
        );
        assert_eq!(found.rank_sum.is_some(), told_apart);
        assert_eq!(found.outcome, Outcome::Equivalent);
    }
    for bad in [f64::NAN, f64::INFINITY, -1.0] {
        assert_eq!(
            Sample::resolved(&values, bad),
            Err(StatisticsFault::Argument("the resolution of the readings"))
        );
    }
}

/// Lots that vary by more than readings resolve, but lie closer together than
/// that: no shift, however many boards.
#[test]
fn a_shift_below_the_resolution_is_no_shift() {
    let values: Vec<f64> = (0..2000).map(|n| 5.0 + 1e-3 * f64::from(n % 7)).collect();
    let near: Vec<f64> = values.iter().map(|x| x + 4e-4).collect();
    let margin = Margin::symmetric(0.05).expect("positive");
    for (resolution, found) in [(5e-4, false), (1e-6, true)] {
        let lot = |values: &[f64]| Sample::resolved(values, resolution).expect("sound");
        let comparison = compare(&lot(&values), &lot(&near), &margin, 0.05).expect("sound");
        let p = comparison.welch.expect("they vary").p_two_sided;
        assert_eq!(p < 0.05, found, "{p}");
    }
}

/// Numerically hard lots in the manner of the NIST Statistical Reference Datasets
/// NumAcc3 and NumAcc4 (a constant, then pairs either side of it) with limits that
/// share most of their digits with the mean. Pp, Ppk and k are worked out from the
/// doubles as stored, with 60 digits (Python's fractions and decimal).
#[test]
fn capability_keeps_the_digits_that_limits_and_mean_share() {
    let alternating = |level: f64, apart: f64| {
        let mut values = vec![level];
        for _ in 0..500 {
            values.extend([level - apart, level + apart]);
        }
        values
    };
    for (values, (lower, upper), pp, ppk, k) in HARD
        .map(|(level, apart, limits, pp, ppk, k)| (alternating(level, apart), limits, pp, ppk, k))
    {
        let limits = ToleranceLimits::new(Some(lower), Some(upper)).expect("in order");
        let lot = sample(&values);
        let found = performance(lot.moments(), &limits, 0.95).expect("it varies");
        close(found.spread.expect("two limits").value, pp, 1e-13);
        close(found.nearer.value, ppk, 1e-13);
        close(found.off_centre.expect("two limits"), k, 1e-11);
    }
}

/// Level, distance, limits, and Pp, Ppk, k.
#[allow(clippy::type_complexity)]
const HARD: [(f64, f64, (f64, f64), f64, f64, f64); 4] = [
    (
        1000000.2,
        0.1,
        (999999.9, 1000000.6),
        1.1666666668606922,
        1.0,
        0.14285714299969224,
    ),
    (
        10000000.2,
        0.1,
        (9999999.7, 10000000.9),
        2.0000000093132257,
        1.6666666728754838,
        0.1666666674427688,
    ),
    (
        1.0,
        1e-09,
        (0.999999995, 1.000000007),
        1.9999999259851338,
        1.6666666296407482,
        0.16666665434009778,
    ),
    (
        2.5e-05,
        3e-13,
        (2.4999998e-05, 2.5000004e-05),
        3.3333333163926744,
        2.222222213438177,
        0.33333333258041514,
    ),
];
