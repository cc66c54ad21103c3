//! What must hold for any finite readings: no panic, no number that is not
//! finite, and the invariances each statistic is known for.

use super::super::capability::performance;
use super::super::charts::individuals;
use super::super::equivalence::Margin;
use super::super::gauge::GaugeStudy;
use super::super::lots::{LotComparison, LotSummary, compare, settle};
use super::super::ranks::rank_sum;
use super::super::risk::{Production, global_risk};
use super::super::shift::shift;
use super::super::spread::{bartlett, levene};
use super::super::{Sample, StatisticsFault, ToleranceLimits};
use super::sample;
use proptest::prelude::*;

/// Readings of every kind: any float at all, plain ones, ties, tiny spreads.
fn readings() -> impl Strategy<Value = Vec<f64>> {
    let any = prop::collection::vec(any::<f64>(), 0..8);
    let plain = prop::collection::vec(-10.0_f64..10.0, 0..70);
    let tied = prop::collection::vec((-3_i8..3).prop_map(f64::from), 0..70);
    let near = prop::collection::vec(prop::sample::select(vec![1.0, 1.0 + f64::EPSILON]), 0..9);
    let huge = prop::collection::vec(-1e140_f64..1e140, 0..9);
    let small = prop::collection::vec(-1e-139_f64..1e-139, 0..9);
    prop_oneof![any, plain, tied, near, huge, small]
}

fn finite_comparison(c: &LotComparison) -> bool {
    let text = format!("{c:?}");
    !text.contains("NaN") && !text.contains("inf")
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_readings_make_it_panic(first in readings(), second in readings(), margin in any::<f64>()) {
        let samples: Result<Vec<Sample>, StatisticsFault> =
            [&first, &second].into_iter().map(|x| Sample::new(x)).collect();
        let Ok(samples) = samples else { return Ok(()) };
        let margin = Margin::symmetric(margin.abs()).or_else(|_| Margin::symmetric(1.0));
        let margin = margin.expect("one is positive");
        if let Ok(comparison) = compare(&samples[0], &samples[1], &margin, 0.05) {
            prop_assert!(finite_comparison(&comparison), "{comparison:?}");
            prop_assert!(settle(&[comparison], 0.05).is_ok());
        }
        let limits = ToleranceLimits::new(Some(-1.0), Some(1.0)).expect("in order");
        let summary = format!("{:?}", LotSummary::of(&samples[0], Some(&limits)));
        prop_assert!(!summary.contains("NaN") && !summary.contains("inf"), "{summary}");
        let _ = individuals(&samples[0]);
        let _ = levene(&samples);
        let _ = bartlett(&[*samples[0].moments(), *samples[1].moments()]);
        let parts = first.len() / 2;
        let _ = GaugeStudy::new(1, parts, 2, &first).map(|s| (s.anova(0.25), s.average_and_range()));
    }

    /// The selected order statistics are those of the listed differences.
    #[test]
    fn the_shift_is_the_median_of_all_differences(
        first in prop::collection::vec(-50_i32..50, 1..80),
        second in prop::collection::vec(-50_i32..50, 1..80),
        scale in 0.001_f64..1000.0,
    ) {
        let scaled = |x: &[i32]| x.iter().map(|v| f64::from(*v) * scale).collect::<Vec<_>>();
        let (x, y) = (scaled(&first), scaled(&second));
        let mut all: Vec<f64> = x.iter().flat_map(|a| y.iter().map(move |b| a - b)).collect();
        all.sort_by(f64::total_cmp);
        let middle = all.len() / 2;
        let median = if all.len() % 2 == 1 {
            all[middle]
        } else {
            (all[middle - 1] + all[middle]) / 2.0
        };
        let found = shift(&sample(&x), &sample(&y), 0.9).expect("finite");
        prop_assert!((found.shift - median).abs() <= 1e-13 * median.abs());
        prop_assert!(all.contains(&found.interval.lower) && all.contains(&found.interval.upper));
        let below = all.partition_point(|d| *d < found.interval.lower);
        let above = all.len() - all.partition_point(|d| *d <= found.interval.upper);
        // The interval is symmetric in ranks but for ties.
        prop_assert!(below <= all.len() / 2 && above <= all.len() / 2);
    }

    /// A level shift moves the means and nothing else; exchanging the lots
    /// exchanges the one-sided results.
    #[test]
    fn levels_and_order_do_not_matter(
        first in prop::collection::vec(-8_i32..8, 2..30),
        second in prop::collection::vec(-8_i32..8, 2..30),
        level in -64_i32..64,
    ) {
        let at = |values: &[i32], level: i32| {
            let values: Vec<f64> = values.iter().map(|v| f64::from(v + level)).collect();
            sample(&values)
        };
        let margin = Margin::symmetric(1.0).expect("positive");
        let here = compare(&at(&first, 0), &at(&second, 0), &margin, 0.05).expect("sound");
        let there = compare(&at(&first, level), &at(&second, level), &margin, 0.05).expect("sound");
        prop_assert_eq!(here.rank_sum, there.rank_sum);
        prop_assert_eq!(here.superiority, there.superiority);
        prop_assert_eq!(here.outcome, there.outcome);
        if let (Some(a), Some(b)) = (here.welch, there.welch) {
            prop_assert!((a.p_two_sided - b.p_two_sided).abs() < 1e-10);
        }
        let swapped = compare(&at(&second, 0), &at(&first, 0), &margin, 0.05).expect("sound");
        prop_assert!((here.shift.shift + swapped.shift.shift).abs() < 1e-12);
        prop_assert_eq!(here.outcome, swapped.outcome);
        if let (Some(a), Some(b)) = (here.rank_sum, swapped.rank_sum) {
            prop_assert!((a.p_less - b.p_greater).abs() < 1e-12);
        }
    }

    /// Exact and asymptotic p values agree where both should hold.
    #[test]
    fn exact_ranks_are_near_the_normal_ones(order in Just((0..80).collect::<Vec<i32>>()).prop_shuffle()) {
        let values: Vec<f64> = order.iter().map(|v| f64::from(*v)).collect();
        let exact = rank_sum(&sample(&values[..40]), &sample(&values[40..])).expect("varied");
        let mut tied = values.clone();
        // One tie far out turns the method asymptotic and hardly moves U.
        let (least, next) = (
            values.iter().position(|v| *v == 0.0).expect("there"),
            values.iter().position(|v| *v == 1.0).expect("there"),
        );
        tied[next] = tied[least];
        let normal = rank_sum(&sample(&tied[..40]), &sample(&tied[40..])).expect("varied");
        prop_assert_ne!(exact.method, normal.method);
        prop_assert!((exact.p_two_sided - normal.p_two_sided).abs() < 0.02);
    }

    /// A wider guard band never raises the consumer's risk nor lowers the
    /// producer's.
    #[test]
    fn guard_bands_trade_risks(u in 0.01_f64..0.5, guard in 0.0_f64..0.4, more in 0.01_f64..0.4) {
        let limits = ToleranceLimits::new(Some(-1.5), Some(1.2)).expect("in order");
        let production = Production { mean: 0.1, sd: 0.6, uncertainty: u };
        let narrow = global_risk(&production, &limits, guard).expect("sound");
        let wide = global_risk(&production, &limits, guard + more).expect("sound");
        prop_assert!(wide.consumer <= narrow.consumer + 1e-14);
        prop_assert!(wide.producer >= narrow.producer - 1e-14);
    }
}

#[test]
fn faults_name_what_is_wrong() {
    assert_eq!(
        Sample::new(&[]),
        Err(StatisticsFault::TooFew {
            needed: 1,
            found: 0
        })
    );
    for bad in [f64::NAN, f64::INFINITY] {
        assert_eq!(Sample::new(&[1.0, bad]), Err(StatisticsFault::NotFinite));
    }
    for lost in [[1e200, 1.0], [1e-200, 2e-200]] {
        assert_eq!(Sample::new(&lost), Err(StatisticsFault::OutOfRange));
    }
    let limits = ToleranceLimits::new(None, Some(1.0)).expect("one is enough");
    let one = sample(&[1.0]);
    assert!(matches!(
        performance(one.moments(), &limits, 0.95),
        Err(StatisticsFault::TooFew { .. })
    ));
    let flat = sample(&[1.0; 4]);
    assert_eq!(
        performance(flat.moments(), &limits, 0.95),
        Err(StatisticsFault::NoSpread)
    );
    assert!(ToleranceLimits::new(None, None).is_err());
    assert!(ToleranceLimits::new(Some(2.0), Some(1.0)).is_err());
    assert!(Margin::symmetric(0.0).is_err());
}
