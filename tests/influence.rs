//! x
use crate::lots::Workshop;
use bufferstop::measurement::Finding;
use bufferstop::model_board::{BOARD, BoardParameters};
use bufferstop::seed::Seed;
use bufferstop::units::Ratio;
use std::collections::BTreeMap;

fn findings(workshop: &mut Workshop, board: &BoardParameters) -> BTreeMap<String, Finding> {
    let record = workshop.accept(board, Seed(1));
    let metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
    metrics
        .map(|j| {
            let m = &j.metric;
            (
                format!("{}.{} {}", m.scenario, m.key, m.at),
                m.finding.clone(),
            )
        })
        .collect()
}

#[test]
fn matrix() {
    let mut workshop = Workshop::new();
    let fixture = &mut workshop.bench.model.as_mut().unwrap().fixture;
    fixture.instrument_errors = Ratio::new(0.0);
    fixture.instrument_noise = Ratio::new(0.0);
    let nominal = workshop.board.nominal;
    let base = findings(&mut workshop, &nominal);
    for (k, f) in &base {
        eprintln!("BASE {k}: {f:?}");
    }
    for parameter in BOARD {
        let mut board = nominal;
        let old = (parameter.get)(&board);
        parameter.put(&mut board, old * 1.2);
        if board == nominal {
            eprintln!("PARAM {}: unchanged at {old}", parameter.name);
            continue;
        }
        eprintln!(
            "PARAM {} {old} -> {}",
            parameter.name,
            (parameter.get)(&board)
        );
        let moved = findings(&mut workshop, &board);
        for (key, was) in &base {
            match (was, &moved[key]) {
                (Finding::Value(a), Finding::Value(b)) => {
                    let d = b.value - a.value;
                    if d.abs() > 0.2 * a.expanded() {
                        eprintln!(
                            "   {key}: {:+.4e} from {:.4e}, U {:.2e}, {:.2} U",
                            d,
                            a.value,
                            a.expanded(),
                            d / a.expanded()
                        );
                    }
                }
                (a, b) if a == b => {}
                (a, b) => eprintln!("   {key}: {a:?} -> {b:?}"),
            }
        }
    }
}
