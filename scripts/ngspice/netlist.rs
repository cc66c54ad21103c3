//! The netlist of the model bench's circuit, for a general-purpose circuit
//! simulator: read by the comparison in the tests and by the figures' bench.
//! It runs nothing.

#[path = "parts.rs"]
mod parts;

pub(crate) use parts::{Part, Supply};

use bufferstop::model_board::{BoardParameters, FixtureParameters, GapReturn};
use bufferstop::units::{Amperes, Kelvins, Quantity, Seconds, Volts};
use std::fmt::Write as _;

const TEMPLATE: &str = include_str!("short.cir");
pub(crate) const VOLTAGE: f64 = 18.0;
pub(crate) const CURRENT_LIMIT: f64 = 8.0;
/// The short closes this long after the comparison starts.
pub(crate) const CLOSE: f64 = 20e-6;
pub(crate) const HALF_BIT: f64 = 58e-6;

/// One comparison.
pub(crate) struct Case {
    pub(crate) name: &'static str,
    pub(crate) alternating: bool,
    pub(crate) length: f64,
    /// Instants at which the output current is compared, in seconds.
    pub(crate) marks: &'static [f64],
    pub(crate) supply: Supply,
    /// The supply's current limit in amperes.
    pub(crate) limit: f64,
    /// The board's dead time, and how much later than line A's half-bridge that
    /// of line B follows, in seconds.
    pub(crate) dead_time: f64,
    pub(crate) late: f64,
    pub(crate) part: Part,
    /// Voltages and currents whose whole course is wanted, as the simulator
    /// calls them, and the file that they go to.
    pub(crate) courses: &'static [&'static str],
    /// The simulator's largest step, in seconds.
    pub(crate) step: f64,
}

/// A hard short of which nothing is asked yet.
pub(crate) const SHORT: Case = Case {
    name: "short",
    alternating: true,
    length: 2e-3,
    step: 0.1e-6,
    marks: &[],
    supply: Supply::Holds,
    limit: CURRENT_LIMIT,
    dead_time: 0.4e-6,
    late: 0.0,
    part: Part::NearShort,
    courses: &[],
};

/// Board and fixture that the netlist of a case describes.
pub(crate) fn parameters(case: &Case) -> (BoardParameters, FixtureParameters) {
    let standard = BoardParameters::default();
    let board = BoardParameters {
        dead_time: Seconds::new(case.dead_time),
        two_lines: case.late > 0.0,
        delay_rising_b: standard.delay_falling + Seconds::new(case.late),
        delay_falling_b: standard.delay_rising + Seconds::new(case.late),
        // The trip is compared, but must not end the short.
        trip_current: Amperes::new(6.0),
        trip_debounce: Seconds::new(5.0),
        under_voltage: Volts::ZERO,
        thermal_rise_per_watt: Kelvins::ZERO,
        ..standard
    };
    let mut fixture = FixtureParameters {
        bounce_for: Seconds::ZERO,
        ..FixtureParameters::default()
    };
    if case.part == Part::OneGap {
        fixture.upstream.returns = GapReturn::CommonNegative;
    }
    (board, fixture)
}

/// The whole netlist of a case.
pub(crate) fn netlist(case: &Case) -> String {
    let (board, fixture) = parameters(case);
    let gates = [0, 1].map(|half| gates(case, &board, half));
    let (wires, returned, zero) = parts::wires(case.part);
    let mut measurements = String::new();
    for (index, mark) in case.marks.iter().enumerate() {
        let _ = writeln!(
            measurements,
            ".meas tran mark{index} FIND I(Vout) AT={mark:e}"
        );
    }
    let control = control(case);
    let level = board.sense_gain.si() * board.trip_current.si();
    if case.courses.is_empty() {
        let _ = write!(
            measurements,
            ".meas tran trip WHEN V(sense)={level:e} RISE=1"
        );
    }
    // At rest, held positive: a chain of resistors across the supply (Ohm's
    // law), since the simulator finds no operating point of its own.
    let chain = parts::at_rest(&board, &fixture);
    let quiescent = board.quiescent_current.si();
    let rest_current = (VOLTAGE - fixture.supply_resistance.si() * quiescent) / chain;
    let rest_rail = VOLTAGE - fixture.supply_resistance.si() * (quiescent + rest_current);
    let numbers = [
        ("rest_current", rest_current),
        ("rest_rail", rest_rail),
        ("rest_node", rest_current * fixture.bleeder.si()),
        ("rest_sense", rest_current * board.sense_gain.si()),
        ("voltage", VOLTAGE),
        ("bulk_resistance", board.bulk_resistance.si()),
        ("bulk_capacitance", board.bulk_capacitance.si()),
        ("quiescent", quiescent),
        ("switch", board.switch_resistance.si()),
        ("diode_drop", board.diode_drop.si()),
        ("diode_resistance", board.diode_resistance.si()),
        (
            "output_resistance",
            board.output_resistance.si() + fixture.lead_resistance.si(),
        ),
        (
            "output_inductance",
            board.output_inductance.si() + fixture.lead_inductance.si(),
        ),
        (
            "half_resistance",
            0.5 * (board.output_resistance.si() + fixture.lead_resistance.si()),
        ),
        (
            "half_inductance",
            0.5 * (board.output_inductance.si() + fixture.lead_inductance.si()),
        ),
        ("bleeder", fixture.bleeder.si()),
        ("snubber_resistance", fixture.snubber_resistance.si()),
        ("snubber_capacitance", fixture.snubber_capacitance.si()),
        ("sense_gain", board.sense_gain.si()),
        ("sense_capacitance", board.sense_filter.si() / 1e3),
        ("length", case.length + 1e-6),
        ("step", case.step),
    ];
    let closing = (CLOSE - 0.5e-9, CLOSE + 0.5e-9);
    let resistance = fixture.supply_resistance.si();
    let supply = parts::supply(case.supply, VOLTAGE, case.limit, resistance);
    let parts = parts::parts(case.part, &fixture, closing);
    let text = TEMPLATE
        .replace("{name}", case.name)
        .replace("{supply}", &supply)
        .replace("{parts}", &parts)
        .replace("{control}", &control)
        .replace("{wires}", wires)
        .replace("{returned}", returned)
        .replace("{zero}", zero)
        .replace("{upstream}", &upstream(case, &fixture))
        .replace("{up1}", &gates[0].0)
        .replace("{on1}", &gates[0].1)
        .replace("{up2}", &gates[1].0)
        .replace("{on2}", &gates[1].1)
        .replace("{measurements}", &measurements);
    numbers.into_iter().fold(text, |text, (name, value)| {
        text.replace(&format!("{{{name}}}"), &format!("{value:e}"))
    })
}

/// Writes the wanted courses beside the netlist.
fn control(case: &Case) -> String {
    if case.courses.is_empty() {
        return String::new();
    }
    let courses = case.courses.join(" ");
    format!(".control\nrun\nset wr_singlescale\nwrdata courses.txt {courses}\nquit\n.endc")
}

/// When a half-bridge's dead times begin: line A's follows the input with the
/// board's delays, the other way round in the negative half, line B's with the
/// same ones for the same half-bits, and later where the case says so.
pub(crate) fn edges(case: &Case, board: &BoardParameters, half: usize) -> Vec<f64> {
    let late = if half == 0 { 0.0 } else { case.late };
    let inputs = (1..).map(|half_bit| f64::from(half_bit) * HALF_BIT);
    inputs
        .take_while(|input| case.alternating && *input <= case.length)
        .enumerate()
        .map(|(index, input)| {
            let delay = if index % 2 == 0 {
                board.delay_falling
            } else {
                board.delay_rising
            };
            input + delay.si() + late
        })
        .collect()
}

/// The upstream source's wire at a crossed gap: high while the input is in its
/// negative half, as corners in time.
fn upstream(case: &Case, fixture: &FixtureParameters) -> String {
    let volts = fixture.upstream.voltage.si();
    let (mut level, mut text) = (0.0, String::from("0 0"));
    for half_bit in (1..).take_while(|n| case.alternating && f64::from(*n) * HALF_BIT < case.length)
    {
        let edge = f64::from(half_bit) * HALF_BIT;
        let _ = write!(
            text,
            " {:e} {level:e} {:e} {:e}",
            edge - 0.5e-9,
            edge + 0.5e-9,
            volts - level
        );
        level = volts - level;
    }
    text
}

/// Which switch of a half-bridge, and whether it is on, as corners in time.
fn gates(case: &Case, board: &BoardParameters, half: usize) -> (String, String) {
    let edge = 0.5e-9;
    let mut level = 1 - half;
    let mut up = format!("0 {level}");
    let mut on = String::from("0 1");
    if let Part::Disabled(after) = case.part {
        let off = CLOSE + after;
        let _ = write!(on, " {:e} 1 {:e} 0", off - edge, off + edge);
    }
    for off in edges(case, board, half) {
        let back = off + board.dead_time.si();
        let middle = 0.5 * (off + back);
        let _ = write!(
            on,
            " {:e} 1 {:e} 0 {:e} 0 {:e} 1",
            off - edge,
            off + edge,
            back - edge,
            back + edge
        );
        let _ = write!(
            up,
            " {:e} {level} {:e} {}",
            middle - edge,
            middle + edge,
            1 - level
        );
        level = 1 - level;
    }
    (up, on)
}
