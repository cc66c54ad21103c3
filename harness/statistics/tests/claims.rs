//! What is claimed of two lots: more boards never lose it, the interval shown
//! agrees with it, and the number of boards stated is the least that reaches the
//! power. The power itself is simulated by `tests/python/lots_check.py`.

use super::super::difference::{Common, LotDifference};
use super::super::equivalence::Margin;
use super::super::lots::{LotComparison, Outcome, Terms, compare_on, settle};
use super::super::needed::Lots;
use super::super::{Sample, StatisticsFault};
use super::{close, sample};
use proptest::prelude::*;

/// A lot of exactly this mean and standard deviation.
fn lot(count: usize, mean: f64, sd: f64) -> Sample {
    let odd = count % 2 == 1;
    let n = count as f64;
    let apart = if odd { sd } else { sd * ((n - 1.0) / n).sqrt() };
    let values: Vec<f64> = (0..count)
        .map(|place| match (odd && place == 0, place % 2) {
            (true, _) => mean,
            (_, 0) => mean + apart,
            _ => mean - apart,
        })
        .collect();
    sample(&values)
}

fn compared(counts: [usize; 2], difference: f64, sd: f64, common: Option<Common>) -> LotComparison {
    let margin = Margin::symmetric(1.0).expect("positive");
    let terms = Terms {
        alpha: 0.05,
        power: 0.9,
        common,
    };
    let (before, after) = (lot(counts[0], 0.0, sd), lot(counts[1], difference, sd));
    compare_on(&before, &after, &margin, &terms).expect("sound")
}

/// The case that was found: with u = 0.3 of the margin from a reference board
/// measured once with each lot, Welch and Satterthwaite's effective degrees of
/// freedom gave 24 boards an interval of +/- 0.91 margins and 50 boards one of
/// +/- 1.03.
#[test]
fn more_boards_beside_a_check_standard_lose_nothing() {
    for (u, dof) in [(0.3, 1.0), (0.15, 1.0), (0.3, 3.0)] {
        let common = Some(Common { u, dof });
        let mut before: Option<LotComparison> = None;
        for boards in [2, 3, 5, 12, 24, 50, 200, 5_000] {
            let now = compared([boards, boards], 0.0, 1.0, common);
            if let Some(before) = before {
                let width = |c: &LotComparison| c.equivalence.map(|e| e.interval.upper);
                assert!(width(&now) <= width(&before), "{boards} boards, {u} {dof}");
                let kept = before.outcome != Outcome::Equivalent;
                assert!(kept || now.outcome == Outcome::Equivalent, "{boards}");
            }
            before = Some(now);
        }
    }
    // Worked by hand: t for 90 % with 3 degrees of freedom is 2.353 (NIST/SEMATECH
    // e-Handbook 1.3.6.7.2) and with 46 is 1.679, so half the interval of 24
    // boards is sqrt((1.679 x sqrt(2 / 24))^2 + (2.353 x 0.3)^2) = 0.8564.
    let found = compared([24, 24], 0.0, 1.0, Some(Common { u: 0.3, dof: 3.0 }));
    let interval = found.equivalence.expect("they vary").interval;
    assert!((interval.upper - 0.8564).abs() < 1e-3, "{interval:?}");
}

/// Two boards against many: Welch's degrees of freedom fall from 2 to 1 as the
/// many grow, and his interval alone would grow from 2.92 to 4.46 deviations.
#[test]
fn many_boards_against_two_are_no_worse_than_two_against_two() {
    let reach = |many: usize| {
        let known = LotDifference::of(&lot(many, 0.0, 1.0), &lot(2, 0.0, 1.0), None);
        known
            .expect("they vary")
            .interval(0.9)
            .expect("sound")
            .upper
    };
    assert!(reach(1_000) <= reach(2) && reach(10) <= reach(3));
    // Neither is the difference known better than the mean of two: t for 90 %
    // with one degree of freedom is 6.314 (the same table).
    close(reach(100_000), 6.313_751_514_675_043 / 2.0_f64.sqrt(), 1e-3);
}

#[test]
fn a_common_part_that_is_no_number_is_refused() {
    for (u, dof) in [(f64::NAN, 3.0), (-1.0, 3.0), (1.0, 0.0), (1.0, f64::NAN)] {
        let known = LotDifference::of(
            &lot(5, 0.0, 1.0),
            &lot(5, 0.0, 1.0),
            Some(Common { u, dof }),
        );
        assert_eq!(
            known,
            Err(StatisticsFault::Argument("the common uncertainty"))
        );
    }
}

fn common() -> impl Strategy<Value = Option<Common>> {
    prop::option::of((0.001_f64..0.6, 1_u8..30).prop_map(|(u, dof)| Common {
        u,
        dof: f64::from(dof),
    }))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// More boards of the same mean and standard deviation, in either lot or
    /// both, never lose equivalence.
    #[test]
    fn more_boards_never_lose_equivalence(
        counts in [2_usize..60, 2_usize..60], more in [0_usize..300, 0_usize..300],
        difference in -1.1_f64..1.1, sd in 0.01_f64..2.0, common in common(),
    ) {
        let few = compared(counts, difference, sd, common);
        let many = compared([counts[0] + more[0], counts[1] + more[1]], difference, sd, common);
        prop_assert!(few.outcome != Outcome::Equivalent || many.outcome == Outcome::Equivalent);
        prop_assert!(few.outcome != Outcome::Different || many.outcome == Outcome::Different);
    }

    /// p values and intervals are one computation.
    #[test]
    fn p_values_are_the_tails_at_which_intervals_end(
        counts in [2_usize..40, 2_usize..40], difference in -3.0_f64..3.0, sd in 0.01_f64..2.0,
        common in common(), tail in 0.001_f64..0.4,
    ) {
        let known = LotDifference::of(
            &lot(counts[0], difference, sd), &lot(counts[1], 0.0, sd), common,
        ).expect("they vary");
        let interval = known.interval(1.0 - 2.0 * tail).expect("sound");
        prop_assert!((known.test(interval.lower).p_greater / tail - 1.0).abs() < 1e-8);
        prop_assert!((known.test(interval.upper).p_less / tail - 1.0).abs() < 1e-8);
    }

    /// Over many metrics settled together: the interval shown lies inside the
    /// margin where lots are equivalent, wholly beyond it where they are
    /// different, and across an edge of it where it is neither.
    #[test]
    fn interval_and_verdict_never_contradict_each_other(
        metrics in prop::collection::vec(
            (2_usize..9, 2_usize..9, -4.0_f64..4.0, 0.05_f64..1.5, common()), 1..12,
        ),
    ) {
        let margin = Margin::symmetric(1.0).expect("positive");
        let tests: Vec<LotComparison> = metrics
            .iter()
            .map(|(m, n, difference, sd, common)| compared([*m, *n], *difference, *sd, *common))
            .collect();
        let settled = settle(&tests, 0.05).expect("sound");
        prop_assert_eq!(settled.len(), tests.len());
        for (found, test) in settled.iter().zip(&tests) {
            let inside = margin.holds(&found.interval);
            let beyond = margin.excludes(&found.interval);
            prop_assert_eq!(inside, found.outcome == Outcome::Equivalent);
            prop_assert_eq!(beyond, found.outcome == Outcome::Different);
            prop_assert!(found.confidence >= 0.9 - 1e-12);
            // Settling takes claims of a difference back, and nothing else.
            let kept = found.outcome == test.outcome;
            prop_assert!(kept || test.outcome == Outcome::Different);
        }
    }

    /// The number stated reaches the power, one less does not, and the chance
    /// rises with every board, as far as its integrals are exact, wherever many
    /// boards prove equivalence at all. (A difference outside of what the bench
    /// leaves of the margin is called equivalent by luck only, the less the more
    /// boards there are; and so are two boards whose readings happen to agree, which
    /// is rarer than the risk that the test itself takes.)
    #[test]
    fn the_number_of_boards_is_the_least_that_reaches_the_power(
        difference in -0.6_f64..0.6, sds in [0.02_f64..1.2, 0.02_f64..1.2], common in common(),
        counts in [2_usize..30, 2_usize..30], power in 0.5_f64..0.97,
    ) {
        let lots = Lots {
            difference,
            sds,
            bench: common.filter(|common| common.dof > 4.0),
            resolution: 0.0,
            margin: Margin::symmetric(1.0).expect("positive"),
            alpha: 0.05,
        };
        if let Some(boards) = lots.boards(power) {
            prop_assert!(lots.power([boards; 2]) >= power);
            prop_assert!(boards == 2 || lots.power([boards - 1; 2]) < power);
        }
        if let Some(more) = lots.more(counts, power) {
            let with = |more: usize| lots.power(counts.map(|count| count + more));
            prop_assert!(with(more) >= power);
            prop_assert!(more == 1 || with(more - 1) < power);
        }
        let chances: Vec<f64> = [0, 1, 2, 5, 20, 100]
            .map(|more| lots.power(counts.map(|count| count + more)))
            .to_vec();
        let rises = |pair: &[f64]| pair[1] >= pair[0] - 1e-4 || pair[0] < lots.alpha;
        let provable = lots.power([5_000; 2]) > 0.9;
        prop_assert!(!provable || chances.windows(2).all(rises), "{:?}", chances);
    }
}

/// Where the lots vary alike and nothing stands beside them, the chance is that of
/// the crossover tables but for Welch's degrees of freedom: a little less. SciPy's
/// value for the pooled test is the one in `power_of_equivalence`.
#[test]
fn the_chance_is_a_little_less_than_that_of_the_pooled_test() {
    let lots = Lots {
        difference: 0.3,
        sds: [1.0; 2],
        bench: None,
        resolution: 0.0,
        margin: Margin::symmetric(1.0).expect("positive"),
        alpha: 0.05,
    };
    let (pooled, found) = (0.8490893750890705, lots.power([30, 30]));
    assert!(found < pooled && found > pooled - 0.002, "{found}");
    let beyond = Lots {
        difference: 1.0,
        ..lots
    };
    assert_eq!((beyond.boards(0.9), beyond.more([3, 9], 0.9)), (None, None));
    // A bench that varies by more than the margin leaves no room for any board.
    let shaken = Lots {
        bench: Some(Common { u: 0.5, dof: 2.0 }),
        ..lots
    };
    assert_eq!(shaken.boards(0.9), None);
}
