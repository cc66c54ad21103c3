//! What is stated of comparisons of lots, held against lots that NumPy draws: the
//! chance to prove equivalence, numbers of boards, coverage of the shift's
//! interval. `tests/python/lots_check.py` simulates and judges.

use crate::python::{interpreter, script};
use bufferstop::seed::{Seed, Stream};
use bufferstop::statistics::Sample;
use bufferstop::statistics::equivalence::Margin;
use bufferstop::statistics::lots::Common;
use bufferstop::statistics::needed::Lots;
use bufferstop::statistics::shift::{shift, shift_of_unlike};
use serde_json::{Value, json};
use std::process::Command;

/// Designs of all kinds: lots of one size and of two, that vary alike or not, with
/// and without something beside them.
fn designs() -> Vec<Value> {
    let mut stream = Seed(41).stream(&[1]);
    let mut uniform = |from: f64, to: f64| from + (to - from) * stream.uniform();
    (0..24)
        .map(|index| {
            let sd = uniform(0.05, 0.9);
            let ratio = [1.0, 1.0, 0.3, 4.0][index % 4];
            let bench = (index % 3 == 1).then(|| Common {
                u: uniform(0.02, 0.25),
                dof: uniform(2.0, 20.0).round(),
            });
            let lots = Lots {
                difference: uniform(-0.5, 0.5),
                sds: [sd, sd * ratio],
                bench,
                resolution: 0.0,
                margin: Margin::new(-1.0, uniform(0.8, 1.4)).expect("around zero"),
                alpha: [0.05, 0.05, 0.025][index % 3],
            };
            let counts = [
                2 + uniform(0.0, 20.0) as usize,
                2 + uniform(0.0, 20.0) as usize,
            ];
            let wanted = [0.9, 0.8, 0.6][index % 3];
            json!({
                "difference": lots.difference, "sds": lots.sds, "bench": lots.bench,
                "margin": [lots.margin.lower(), lots.margin.upper()], "alpha": lots.alpha,
                "counts": counts, "power": lots.power(counts), "wanted": wanted,
                "boards": lots.boards(wanted), "more": lots.more(counts, wanted),
            })
        })
        .collect()
}

fn draw(stream: &mut Stream, count: usize, (kind, scale): (&str, f64)) -> Sample {
    let values: Vec<f64> = (0..count)
        .map(|_| match kind {
            "normal" => scale * stream.normal(),
            _ => scale * stream.normal().exp(),
        })
        .collect();
    Sample::new(&values).expect("finite")
}

/// 90 % intervals of the shift over a thousand pairs of lots each: alike in shape,
/// and with the small lot varying three times as much as the large one.
fn coverage() -> Vec<Value> {
    let (normal, skewed) = (("normal", 1.0), ("lognormal", 1.0));
    let (wide, wide_skewed) = (("normal", 3.0), ("lognormal", 3.0));
    let cases = [
        ([5, 100], normal, normal),
        ([12, 120], skewed, skewed),
        ([24, 60], normal, normal),
        ([5, 100], wide, normal),
        ([12, 120], wide, normal),
        ([60, 24], normal, wide),
        ([5, 100], wide_skewed, skewed),
        ([12, 120], wide_skewed, skewed),
        ([100, 5], skewed, wide_skewed),
        ([20, 20], normal, wide),
        ([100, 5], wide, normal),
    ];
    cases
        .into_iter()
        .enumerate()
        .map(|(place, (counts, first, second))| {
            let (mut plain, mut unlike) = (Vec::new(), Vec::new());
            let mut stated = 0.0;
            for index in 0..1000 {
                let mut stream = Seed(42).stream(&[place as u64, index]);
                let one = draw(&mut stream, counts[0], first);
                let two = draw(&mut stream, counts[1], second);
                let narrow = shift(&one, &two, 0.9).expect("sound");
                let wide = shift_of_unlike(&one, &two, 0.9).expect("sound");
                stated = narrow.confidence;
                plain.push([narrow.interval.lower, narrow.interval.upper]);
                unlike.push([wide.interval.lower, wide.interval.upper]);
            }
            let wider_small =
                |small: usize, large: usize, ratio: f64| 2 * small < large && ratio > 2.0;
            json!({
                "counts": counts, "first": first, "second": second, "alike": first == second,
                "lopsided": wider_small(counts[0], counts[1], first.1 / second.1)
                    || wider_small(counts[1], counts[0], second.1 / first.1),
                "stated": stated, "plain": plain, "unlike": unlike,
            })
        })
        .collect()
}

#[test]
fn numpy_draws_lots_that_do_what_is_stated() {
    let Some(python) = interpreter() else { return };
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("stated.json");
    let stated = json!({"designs": designs(), "coverage": coverage()});
    std::fs::write(&file, stated.to_string()).expect("written");
    let done = Command::new(python)
        .arg(script("lots_check.py"))
        .arg(&file)
        .output()
        .expect("Python starts");
    let said = String::from_utf8_lossy(&done.stdout);
    let complained = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{said}\n{complained}");
    assert!(said.trim_end().ends_with("0 failed"), "{said}");
    println!("{said}");
}
