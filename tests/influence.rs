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
    for (name, factor, plus) in PLANTED {
        let parameter = BOARD.iter().find(|p| p.name == *name).unwrap();
        let mut board = nominal;
        let old = (parameter.get)(&board);
        parameter.put(&mut board, old * factor + plus);
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
                    if d.abs() > 0.8 * a.expanded() {
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

const PLANTED: &[(&str, f64, f64)] = &[
    ("bulk_capacitance", 2.0, 0.0),
    ("bulk_resistance", 3.0, 0.0),
    ("switch_resistance", 2.0, 0.0),
    ("positive_path_excess", 1.0, 0.1),
    ("switch_temperature_coefficient", 3.0, 0.0),
    ("diode_drop", 2.0, 0.0),
    ("diode_resistance", 5.0, 0.0),
    ("dead_time", 2.0, 0.0),
    ("delay_rising", 1.0, 1e-6),
    ("delay_falling", 1.0, 1e-6),
    ("delay_rising_b", 1.0, 1e-6),
    ("delay_falling_b", 1.0, 1e-6),
    ("output_resistance", 1.0, 0.1),
    ("output_inductance", 2.0, 0.0),
    ("quiescent_current", 3.0, 0.0),
    ("sense_gain", 1.1, 0.0),
    ("sense_offset", 1.0, 0.1),
    ("sense_filter", 2.0, 0.0),
    ("converter_reference", 1.2, 0.0),
    ("converter_bits", 1.0, 2.0),
    ("trip_current", 1.1, 0.0),
    ("trip_debounce", 1.0, 4e-3),
    ("trip_polled_period", 1.0, 1e-3),
    ("retry_interval", 1.2, 0.0),
    ("retry_backoff", 1.2, 0.0),
    ("reversing_current", 1.05, 0.0),
    ("reversing_debounce", 1.0, 2e-3),
    ("reversing_hold_off", 1.0, 3e-3),
    ("under_voltage", 1.2, 0.0),
    ("thermal_rise_per_watt", 2.0, 0.0),
    ("thermal_time_constant", 1.3, 0.0),
    ("junction_rise_per_watt", 4.0, 0.0),
    ("junction_time_constant", 3.0, 0.0),
    ("signal_loss_time", 2.0, 0.0),
    ("over_temperature", 0.8, 0.0),
    ("over_temperature_restart", 0.8, 0.0),
    ("converter_noise", 1.0, 2.0),
    ("retry_limit", 0.0, 1.0),
];
