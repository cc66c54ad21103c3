//! Two lots: t tests, equivalence, power, ranks, shift, spread, the whole.

use super::super::equivalence::{Margin, two_one_sided_tests};
use super::super::lots::{LotComparison, LotSummary, Outcome, compare, settle};
use super::super::means::{MeanDifference, Variances};
use super::super::multiplicity::holm;
use super::super::power::{Aim, Sides};
use super::super::ranks::{Method, rank_sum, superiority};
use super::super::shift::shift;
use super::super::spread::{bartlett, brown_forsythe, levene, variance_ratio};
use super::super::{Moments, Sample, StatisticsFault};
use super::data::{AUTO_JAPAN_MPG, AUTO_US_MPG, CERAMIC_BATCH1, CERAMIC_BATCH2, GEAR};
use super::{close, moments, printed, sample};

fn difference(first: &[f64], second: &[f64], variances: Variances) -> MeanDifference {
    MeanDifference::of(sample(first).moments(), sample(second).moments(), variances)
        .expect("they vary")
}

/// NIST/SEMATECH e-Handbook 1.3.5.3 (printed digits from memory), recomputed
/// with SciPy 1.17.1.
#[test]
fn t_tests_of_the_handbook() {
    let pooled = difference(&AUTO_US_MPG, &AUTO_JAPAN_MPG, Variances::Pooled);
    let test = pooled.test(0.0);
    printed(test.t, -12.62059, 5);
    assert_eq!(pooled.dof, 326.0);
    close(test.t, -12.620591288724363, 1e-12);
    close(test.p_two_sided, 5.2729354566083755e-30, 1e-10);
    let welch = difference(&AUTO_US_MPG, &AUTO_JAPAN_MPG, Variances::Welch);
    let test = welch.test(0.0);
    printed(test.t, -12.94627, 5);
    close(welch.dof, 136.87497667258336, 1e-12);
    close(test.p_two_sided, 1.570854784295441e-25, 1e-10);
}

/// Student's sleep data, R 4.2.2 `t.test`.
#[test]
fn welch_on_the_sleep_data() {
    let first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0];
    let second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4];
    let means = difference(&first, &second, Variances::Welch);
    let test = means.test(0.0);
    close(test.t, -1.8608134674868526, 1e-13);
    close(means.dof, 17.776473516178488, 1e-13);
    close(test.p_two_sided, 0.0793941401873583, 1e-12);
    let interval = means.interval(0.95).expect("sound");
    printed(interval.lower, -3.3654832, 7);
    printed(interval.upper, 0.2054832, 7);
}

/// The clinic data with the results of R's `equivalence` package, as recorded
/// in the tests of statsmodels 0.15.0.
#[test]
fn equivalence_of_the_clinic_data() {
    let a1 = [
        2.84, 2.51, 2.41, 2.95, 3.14, 3.79, 4.14, 3.85, 3.02, 3.45, 5.37, 3.81, 4.19, 3.16, 3.84,
    ];
    let a2 = [
        2.6, 2.82, 2.18, 3.46, 4.01, 3.04, 3.47, 4.06, 2.91, 3.59, 4.51, 3.16, 3.86, 3.31, 3.02,
    ];
    let b1 = [
        4.0, 3.26, 4.14, 3.42, 3.25, 4.34, 4.97, 4.31, 3.11, 3.41, 5.02, 4.21, 4.59, 5.3, 4.32,
    ];
    let b2 = [
        3.76, 3.66, 3.65, 3.6, 3.48, 2.87, 3.24, 3.92, 3.99, 4.21, 4.21, 3.31, 3.61, 2.97, 2.73,
    ];
    let logs = |values: &[f64]| values.iter().map(|x| libm::log(*x)).collect::<Vec<_>>();
    let welch = Variances::Welch;
    let cases = [
        (
            difference(&a1, &a2, welch),
            0.6,
            [0.0027486770517333127, 0.04853083976236962],
            [-0.2666862980722534, 0.596019631405587],
            true,
        ),
        (
            difference(&a1, &a2, Variances::Pooled),
            0.6,
            [0.0026699217350227, 0.048273151007614507],
            [-0.2659960620757337, 0.595329395409067],
            true,
        ),
        (
            difference(&b1, &b2, welch),
            0.6,
            [7.313053011499644e-06, 0.43179368125948114],
            [0.194916250699966, 0.930417082633366],
            false,
        ),
        (
            difference(&logs(&a1), &logs(&a2), welch),
            0.22314355131420976,
            [0.0005813528794046121, 0.010470855931388977],
            [-0.0819851930203655, 0.1682298566654122],
            true,
        ),
    ];
    for (means, margin, p, interval, equivalent) in cases {
        let margin = Margin::symmetric(margin).expect("positive");
        let tests = two_one_sided_tests(&means, &margin, 0.05).expect("sound");
        close(tests.p_lower, p[0], 1e-10);
        close(tests.p_upper, p[1], 1e-10);
        close(tests.interval.lower, interval[0], 1e-11);
        close(tests.interval.upper, interval[1], 1e-11);
        assert_eq!(tests.equivalent, equivalent);
        assert_eq!(tests.p, tests.p_lower.max(tests.p_upper));
    }
}

/// CRAN TOSTER 0.8.6, from summary statistics; the second case recomputed with
/// SciPy.
#[test]
fn equivalence_from_summaries() {
    let second = moments(89, 5.22, 0.83);
    let means =
        MeanDifference::of(&moments(95, 5.25, 0.95), &second, Variances::Welch).expect("they vary");
    let margin = Margin::new(-0.384, 0.384).expect("around zero");
    let tests = two_one_sided_tests(&means, &margin, 0.05).expect("sound");
    close(means.dof, 181.13436716050748, 1e-12);
    close(tests.t_lower, 3.1530150921001763, 1e-12);
    close(tests.t_upper, -2.696056383100147, 1e-12);
    close(tests.p_lower, 0.0009458744965475309, 1e-11);
    close(tests.p_upper, 0.003838994283237449, 1e-11);
    close(tests.interval.lower, -0.1870843118284537, 1e-11);
    let pooled = MeanDifference::of(&moments(95, 5.25, 0.91), &second, Variances::Pooled)
        .expect("they vary");
    let margin = Margin::symmetric(0.429).expect("positive");
    let tests = two_one_sided_tests(&pooled, &margin, 0.05).expect("sound");
    close(tests.p_lower, 0.00023061929990992878, 1e-11);
    close(tests.p_upper, 0.0011182452428923982, 1e-11);
}

/// R 4.2.2 `power.t.test` and statsmodels 0.15.0; NIST/SEMATECH e-Handbook
/// 7.2.2.2 from memory.
#[test]
fn power_of_the_t_test() {
    let aim = Aim {
        difference: 1.0,
        sd: 1.0,
        alpha: 0.05,
    };
    close(
        aim.t_test_power(20, Sides::Two).expect("sound"),
        0.8689530277239897,
        1e-12,
    );
    close(aim.t_test_power_of(22.0211, Sides::Two), 0.9, 2e-6);
    close(aim.t_test_power_of(17.84713, Sides::One), 0.9, 2e-6);
    assert_eq!(aim.t_test_boards(0.9, Sides::Two), Ok(23));
    assert_eq!(aim.t_test_boards(0.9, Sides::One), Ok(18));
    let normal = aim
        .one_sample_boards_normal(0.95, Sides::One)
        .expect("sound");
    close(normal, 10.822173816381651, 1e-13);
    let none = Aim {
        difference: 0.0,
        ..aim
    };
    assert_eq!(
        none.t_test_boards(0.9, Sides::Two),
        Err(StatisticsFault::Unreachable)
    );
}

/// The crossover design with 20 subjects, variation 20 %, true ratio 0.95 and
/// limits 0.80 to 1.25 has power 0.8347 (E. Diletti et al., Int. J. Clinical
/// Pharmacology 29 (1991) 1-8, and the PowerTOST package of R, from memory; an
/// adaptive SciPy quadrature gives 0.8346801908569002). The others are SciPy's.
#[test]
fn power_of_equivalence() {
    let sd = libm::sqrt(libm::log(1.04));
    let aim = Aim {
        difference: libm::log(0.95),
        sd,
        alpha: 0.05,
    };
    let margin = Margin::symmetric(libm::log(1.25)).expect("positive");
    let power = aim.equivalence_power_of(sd * libm::sqrt(0.1), 18.0, &margin);
    printed(power, 0.8347, 4);
    close(power, 0.8346801908569002, 1e-9);
    for (difference, boards, margin, power) in [
        (0.0, 12, 1.5, 0.944258054952383),
        (0.3, 30, 1.0, 0.8490893750890705),
    ] {
        let aim = Aim {
            difference,
            sd: 1.0,
            alpha: 0.05,
        };
        let margin = Margin::symmetric(margin).expect("positive");
        close(
            aim.equivalence_power(boards, &margin).expect("sound"),
            power,
            1e-9,
        );
        let needed = aim
            .equivalence_boards(power - 1e-6, &margin)
            .expect("inside");
        assert_eq!(needed, boards);
    }
    let outside = Aim {
        difference: 0.3,
        ..aim
    };
    assert_eq!(
        outside.equivalence_boards(0.9, &margin),
        Err(StatisticsFault::Unreachable)
    );
}

/// SciPy 1.17.1's documented example, and M. Hollander and D. A. Wolfe's
/// permeability data with the outputs of R 4.2.2 `wilcox.test`.
#[test]
fn rank_sums_and_shifts() {
    let (x, y) = (
        sample(&[19.0, 22.0, 16.0, 29.0, 24.0]),
        sample(&[20.0, 11.0, 17.0, 12.0]),
    );
    let test = rank_sum(&x, &y).expect("they vary");
    assert_eq!((test.u_first, test.u_second), (17.0, 3.0));
    assert_eq!(test.method, Method::Exact);
    close(test.p_two_sided, 0.1111111111111111, 1e-15);
    let distance = shift(&x, &y, 0.95).expect("sound");
    assert_eq!(distance.shift, 7.0);
    assert_eq!(
        (distance.interval.lower, distance.interval.upper),
        (-1.0, 17.0)
    );

    let x = sample(&[0.8, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46]);
    let y = sample(&[1.15, 0.88, 0.9, 0.74, 1.21]);
    let test = rank_sum(&x, &y).expect("they vary");
    assert_eq!(test.u_first, 35.0);
    close(test.p_greater, 0.1272061272061272, 1e-14);
    close(test.p_two_sided, 0.2544122544122544, 1e-14);
    let distance = shift(&x, &y, 0.95).expect("sound");
    close(distance.shift, 0.305, 1e-12);
    close(distance.interval.lower, -0.15, 1e-12);
    close(distance.interval.upper, 0.76, 1e-12);
    assert!(distance.confidence >= 0.95);
}

/// The pain scores of SciPy's tests, compared there with R's `lawstat`.
#[test]
fn brunner_and_munzels_pain_scores() {
    let x = [1., 2., 1., 1., 1., 1., 1., 1., 1., 1., 2., 4., 1., 1.];
    let y = [3., 3., 4., 3., 1., 2., 3., 1., 1., 5., 4.];
    let test = superiority(&sample(&x), &sample(&y), 0.95).expect("they overlap");
    close(test.statistic, 3.1374674823029505, 1e-13);
    close(test.p_two_sided, 0.005786208666151538, 1e-12);
    close(test.p_first_lower, 0.002893104333075734, 1e-12);
    close(test.p_first_higher, 0.9971068956669242, 1e-12);
    close(test.second_above_first, 0.788961038961039, 1e-14);
    let (low, high) = (sample(&[1.0, 2.0]), sample(&[3.0, 4.0]));
    assert_eq!(
        superiority(&low, &high, 0.95),
        Err(StatisticsFault::Separated)
    );
    let flat = sample(&[3.0, 3.0]);
    assert_eq!(
        superiority(&flat, &flat, 0.95),
        Err(StatisticsFault::NoSpread)
    );
}

/// NIST/SEMATECH e-Handbook 1.3.5.7, 1.3.5.9 and 1.3.5.10 (printed digits from
/// memory; two are single precision), recomputed with SciPy 1.17.1.
#[test]
fn spreads_of_the_handbook() {
    let gears: Vec<Sample> = GEAR.iter().map(|batch| sample(batch)).collect();
    let by_median = brown_forsythe(&gears).expect("they vary");
    close(by_median.f, 1.705917693000894, 1e-10);
    close(by_median.p, 0.09908297555220481, 1e-10);
    assert!((by_median.f - 1.70591).abs() < 1e-5);
    let by_mean = levene(&gears).expect("they vary");
    close(by_mean.f, 2.1594598564728518, 1e-10);
    close(by_mean.p, 0.03223682655978304, 1e-10);
    let of_gears: Vec<Moments> = gears.iter().map(|g| *g.moments()).collect();
    let test = bartlett(&of_gears).expect("they vary");
    close(test.statistic, 20.785873428064864, 1e-10);
    close(test.p, 0.013635863278057483, 1e-10);
    assert!((test.statistic - 20.7858).abs() < 1e-4);

    let (first, second) = (sample(&CERAMIC_BATCH1), sample(&CERAMIC_BATCH2));
    let ratio = variance_ratio(first.moments(), second.moments(), 0.95).expect("they vary");
    printed(ratio.f, 1.123037, 5);
    close(ratio.f, 1.1230375233083825, 1e-12);
    close(ratio.p_two_sided, 0.3703829302694809, 1e-11);
    // The interval is f over the printed critical values 1.2894 and 0.7756.
    close(ratio.interval.lower, 1.1230375 / 1.2894, 1e-4);
    close(ratio.interval.upper, 1.1230375 / 0.7756, 1e-4);
}

/// statsmodels 0.15.0 `multipletests(method="holm")`.
#[test]
fn holm_adjusts_as_statsmodels_does() {
    let adjusted = holm(&[0.01, 0.04, 0.03, 0.005]).expect("probabilities");
    for (got, want) in adjusted.iter().zip([0.03, 0.06, 0.06, 0.02]) {
        close(*got, want, 1e-14);
    }
    assert!(holm(&[0.5, f64::NAN]).is_err());
    assert_eq!(holm(&[]), Ok(vec![]));
}

/// Planted: the same, shifted beyond the margin, and too few to tell.
#[test]
fn a_comparison_finds_what_was_planted() {
    let lot = |count: usize, level: f64| {
        let mut stream = crate::seed::Seed(7).stream(&[count as u64, level.to_bits()]);
        let values: Vec<f64> = (0..count).map(|_| level + 0.1 * stream.normal()).collect();
        sample(&values)
    };
    let margin = Margin::symmetric(0.3).expect("positive");
    let outcome = |count, level| {
        compare(&lot(count, 5.0), &lot(count, level), &margin, 0.05)
            .map(|comparison| comparison.outcome)
    };
    assert_eq!(outcome(40, 5.1), Ok(Outcome::Equivalent));
    assert_eq!(outcome(40, 5.5), Ok(Outcome::Different));
    assert_eq!(outcome(2, 5.25), Ok(Outcome::NotEnough));
    assert!(outcome(1, 5.0).is_err());
    let few = compare(&lot(3, 5.0), &lot(3, 5.05), &margin, 0.05).expect("sound");
    assert!(
        few.boards_needed
            .is_some_and(|boards| (2..100).contains(&boards))
    );
}

fn outcomes(comparisons: &[LotComparison]) -> Vec<Outcome> {
    let settled = settle(comparisons, 0.05).expect("sound");
    settled.into_iter().map(|found| found.outcome).collect()
}

#[test]
fn a_metric_without_spread_is_compared_as_it_is() {
    let (one, two) = (sample(&[1.0; 5]), sample(&[2.0; 5]));
    let margin = Margin::symmetric(0.5).expect("positive");
    let same = compare(&one, &one, &margin, 0.05).expect("sound");
    assert_eq!((same.outcome, same.rank_sum), (Outcome::Equivalent, None));
    let other = compare(&one, &two, &margin, 0.05).expect("sound");
    assert_eq!(other.outcome, Outcome::Different);
    assert_eq!(
        outcomes(&[same, other]),
        [Outcome::Equivalent, Outcome::Different]
    );
    assert_eq!(
        LotSummary::of(&one, None).outliers.map(|o| o.flagged),
        Some(0)
    );
}

/// Among sixty metrics that do not differ by more than the margin, one small p
/// by chance is not called a difference.
#[test]
fn many_metrics_are_settled_together() {
    let margin = Margin::symmetric(0.01).expect("positive");
    let before = sample(&[1.0, 1.1, 0.9, 1.05, 0.95]);
    let after = sample(&[1.2, 1.3, 1.1, 1.25, 1.15]);
    let borderline = compare(&before, &after, &margin, 0.05).expect("sound");
    assert_eq!(borderline.outcome, Outcome::Different);
    let alike = compare(&before, &before, &margin, 0.05).expect("sound");
    assert_eq!(outcomes(&[borderline]), [Outcome::Different]);
    let mut many = vec![alike; 59];
    many.push(borderline);
    let settled = outcomes(&many);
    assert!(settled.iter().all(|outcome| *outcome == Outcome::NotEnough));
    // What is shown then is the interval that a difference would have needed.
    let shown = settle(&many, 0.05).expect("sound")[59];
    close(shown.confidence, 1.0 - 0.05 / 60.0, 1e-12);
    assert!(shown.interval.lower < 0.01 && shown.interval.upper > 0.01);
}
