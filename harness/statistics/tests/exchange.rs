//! Random lots with their statistics, written out for an outside check by
//! `tests/python/statistics_check.py`; and the time the whole takes. It checks
//! nothing of the numbers itself.

use super::super::equivalence::{Margin, two_one_sided_tests};
use super::super::lots::{LotSummary, compare, settle};
use super::super::means::{MeanDifference, Variances};
use super::super::multiplicity::holm;
use super::super::power::{Aim, Sides};
use super::super::proportion::{clopper_pearson, wilson};
use super::super::ranks::{rank_sum, superiority};
use super::super::shift::shift;
use super::super::spread::{bartlett, brown_forsythe, levene, variance_ratio};
use super::super::tolerance::Coverage;
use super::super::{Sample, ToleranceLimits};
use super::sample;
use crate::seed::{Seed, Stream};
use serde_json::{Value, json};

const SIZES: [usize; 11] = [2, 3, 4, 5, 8, 12, 25, 40, 60, 300, 2000];

/// One lot: normal or skewed, on a random level and scale, sometimes rounded so
/// coarsely that most readings tie.
fn lot(stream: &mut Stream, count: usize, level: f64, scale: f64, ties: bool) -> Vec<f64> {
    let skewed = stream.uniform() < 0.3;
    (0..count)
        .map(|_| {
            let normal = stream.normal();
            let shape = if skewed { libm::exp(normal) } else { normal };
            let shape = if ties {
                (2.0 * shape).round() / 2.0
            } else {
                shape
            };
            level + scale * shape
        })
        .collect()
}

fn pair(index: u64) -> (Vec<f64>, Vec<f64>) {
    let mut stream = Seed(2026).stream(&[index]);
    let mut pick = || SIZES[(stream.uniform() * SIZES.len() as f64) as usize];
    let (mut m, mut n) = (pick(), pick());
    if index % 50 == 7 {
        (m, n) = (10_000, 9_000);
    }
    let level = [0.0, 1.0, 25e-6, 1e6][(stream.uniform() * 4.0) as usize];
    let scale = if level == 0.0 { 1.0 } else { level * 0.01 };
    let ties = stream.uniform() < 0.4;
    let apart = scale * (stream.uniform() - 0.5) * 2.0;
    let first = lot(&mut stream, m, level, scale, ties);
    let second = lot(&mut stream, n, level + apart, scale * 1.3, ties);
    (first, second)
}

fn value<T: serde::Serialize, E>(result: Result<T, E>) -> Value {
    result.map_or(Value::Null, |x| serde_json::to_value(x).unwrap_or_default())
}

fn results(first: &[f64], second: &[f64]) -> Value {
    let samples = [sample(first), sample(second)];
    let (a, b) = (samples[0].moments(), samples[1].moments());
    let means = |variances| MeanDifference::of(a, b, variances);
    let size = a.sd().max(b.sd()).max(1e-9);
    let margin = Margin::symmetric(size).expect("positive");
    let tost = |variances| means(variances).and_then(|m| two_one_sided_tests(&m, &margin, 0.05));
    json!({
        "first": first,
        "second": second,
        "margin": size,
        "mean": a.mean(),
        "sd": a.sd(),
        "median": samples[0].median(),
        "quantile_30": value(samples[0].quantile(0.3)),
        "mad": samples[0].median_absolute_deviation(),
        "welch": value(means(Variances::Welch)),
        "welch_test": value(means(Variances::Welch).map(|m| m.test(0.0))),
        "welch_interval": value(means(Variances::Welch).and_then(|m| m.interval(0.95))),
        "pooled_test": value(means(Variances::Pooled).map(|m| m.test(0.0))),
        "tost_welch": value(tost(Variances::Welch)),
        "tost_pooled": value(tost(Variances::Pooled)),
        "rank_sum": value(rank_sum(&samples[0], &samples[1])),
        "superiority": value(superiority(&samples[0], &samples[1], 0.95)),
        "shift": value(shift(&samples[0], &samples[1], 0.95)),
        "variance_ratio": value(variance_ratio(a, b, 0.95)),
        "brown_forsythe": value(brown_forsythe(&samples)),
        "levene": value(levene(&samples)),
        "bartlett": value(bartlett(&[*a, *b])),
    })
}

fn tables() -> Value {
    let mut stream = Seed(7).stream(&[1]);
    let aims: Vec<Value> = (0..30)
        .map(|_| {
            let aim = Aim {
                difference: 2.0 * stream.uniform(),
                sd: 0.2 + stream.uniform(),
                alpha: 0.01 + 0.1 * stream.uniform(),
            };
            let boards = 2 + (stream.uniform() * 60.0) as usize;
            let margin = Margin::symmetric(2.2).expect("positive");
            json!({
                "difference": aim.difference, "sd": aim.sd, "alpha": aim.alpha, "boards": boards,
                "margin": 2.2,
                "one": value(aim.t_test_power(boards, Sides::One)),
                "two": value(aim.t_test_power(boards, Sides::Two)),
                "equivalence": value(aim.equivalence_power(boards, &margin)),
            })
        })
        .collect();
    let factors: Vec<Value> = [2, 3, 7, 30, 500, 10_000]
        .into_iter()
        .flat_map(|n| [(n, 0.9, 0.95), (n, 0.99, 0.9), (n, 0.999, 0.99)])
        .map(|(n, share, confidence)| {
            let coverage = Coverage::new(n, share, confidence).expect("sound");
            json!({
                "n": n, "share": share, "confidence": confidence,
                "one": value(coverage.one_sided()), "two": value(coverage.two_sided()),
            })
        })
        .collect();
    let shares: Vec<Value> = [(0, 5), (1, 12), (12, 12), (50, 60), (9_000, 10_000)]
        .into_iter()
        .map(|(x, n)| {
            let exact = value(clopper_pearson(x, n, 0.9));
            json!({"x": x, "n": n, "wilson": value(wilson(x, n, 0.9)), "exact": exact})
        })
        .collect();
    let p_values: Vec<f64> = (0..60)
        .map(|_| stream.uniform() * stream.uniform())
        .collect();
    let adjusted = value(holm(&p_values));
    json!({"aims": aims, "factors": factors, "shares": shares, "p": p_values, "holm": adjusted})
}

#[test]
#[ignore = "writes a file for tests/python/statistics_check.py"]
fn write_results_for_the_outside_check() {
    let Ok(path) = std::env::var("BUFFERSTOP_STATISTICS_RESULTS") else {
        panic!("BUFFERSTOP_STATISTICS_RESULTS names the file to write");
    };
    let lots: Vec<Value> = (0..200)
        .map(|index| {
            let (first, second) = pair(index);
            results(&first, &second)
        })
        .collect();
    let text = json!({"lots": lots, "tables": tables()}).to_string();
    std::fs::write(path, text).expect("the file can be written");
}

/// Sixty metrics of two lots of ten thousand boards, summed up and compared.
#[test]
#[ignore = "a time, meaningful in release only"]
fn sixty_metrics_of_ten_thousand_boards_take_less_than_a_second() {
    let lots: Vec<[Sample; 2]> = (0..60)
        .map(|metric| {
            let mut stream = Seed(1).stream(&[metric]);
            let mut draw = |level| sample(&lot(&mut stream, 10_000, level, 0.02, metric % 3 == 0));
            [draw(5.0), draw(5.001)]
        })
        .collect();
    let limits = ToleranceLimits::new(Some(4.9), Some(5.1)).expect("in order");
    let margin = Margin::symmetric(0.01).expect("positive");
    let start = std::time::Instant::now();
    let mut comparisons = Vec::new();
    for [baseline, candidate] in &lots {
        // Checking and sorting the readings is part of the work.
        let (baseline, candidate) = (sample(baseline.values()), sample(candidate.values()));
        let comparison = compare(&baseline, &candidate, &margin, 0.05).expect("sound");
        comparisons.push(comparison);
        for lot in [&baseline, &candidate] {
            assert!(LotSummary::of(lot, Some(&limits)).tolerance.is_some());
        }
    }
    let outcomes = settle(&comparisons, 0.05).expect("sound");
    let taken = start.elapsed().as_secs_f64();
    assert_eq!(outcomes.len(), 60);
    assert!(cfg!(debug_assertions) || taken < 1.0, "{taken} s");
    // Seen with --nocapture.
    let _ = std::io::Write::write_fmt(&mut std::io::stderr(), format_args!("{taken} s\n"));
}
