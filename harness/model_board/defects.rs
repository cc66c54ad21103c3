//! The defects that can be planted, as data: which parameter changes and how.
//! What they do to a waveform follows from the circuit, not from here.

use super::parameters::BoardParameters;
use super::table::BOARD;
use serde::Serialize;

/// How a parameter changes, in SI units.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Multiplied.
    Factor(f64),
    /// Increased.
    Plus(f64),
    /// Replaced.
    Value(f64),
}

/// One change.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Change {
    /// The parameter's name in [`BOARD`].
    pub parameter: &'static str,
    /// How it changes.
    pub by: By,
}

/// A defect.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Defect {
    /// Its name in files.
    pub name: &'static str,
    /// What is wrong with such a board.
    pub what: &'static str,
    /// What changes.
    pub changes: &'static [Change],
    /// Only a board with reversing logic can have it.
    pub reversing_only: bool,
}

const fn one(name: &'static str, what: &'static str, changes: &'static [Change]) -> Defect {
    Defect {
        name,
        what,
        changes,
        reversing_only: false,
    }
}

macro_rules! changes {
    ($($parameter:literal $by:ident $si:expr),*) => {
        &[$(Change { parameter: $parameter, by: By::$by($si) }),*]
    };
}

/// Every defect. How large each is, is a house value: as large as such a fault is found
/// to be at a bench, taken from no publication.
pub static DEFECTS: &[Defect] = &[
    one(
        "trip never",
        "the overload comparator never answers",
        changes!["trip_current" Value 1e4],
    ),
    one(
        "slow trip",
        "a wrong capacitor makes the trip debounce five times as long",
        changes!["trip_debounce" Factor 5.0],
    ),
    one(
        "hasty trip",
        "a wrong capacitor makes the trip debounce less than a third as long",
        changes!["trip_debounce" Factor 0.3],
    ),
    one(
        "bad heat path",
        "the bridge was mounted without its heat-conducting pad",
        changes!["thermal_rise_per_watt" Factor 4.0],
    ),
    one(
        "trip level high",
        "a wrong resistor puts the trip current 40 % up",
        changes!["trip_current" Factor 1.4],
    ),
    one(
        "trip level low",
        "a wrong resistor puts the trip current 30 % down",
        changes!["trip_current" Factor 0.7],
    ),
    one(
        "cold joint",
        "a cold joint in the output adds 150 mohm",
        changes!["output_resistance" Plus 0.150],
    ),
    one(
        "one-leg sensor",
        "the current is sensed in one half-bridge alone",
        changes!["sensed_legs" Value 1.0],
    ),
    one(
        "weak switch",
        "one switch was damaged by static: 120 mohm more in the positive polarity",
        changes!["positive_path_excess" Plus 0.120],
    ),
    one(
        "leaking switch",
        "a high-side switch was damaged by static: 22 kohm from the rail to the output that is off",
        changes!["leakage_resistance" Value 22e3],
    ),
    one(
        "no retry",
        "the board stays off after its first trip",
        changes!["retry_limit" Value 0.0],
    ),
    one(
        "hasty retry",
        "a wrong capacitor makes the off time a tenth",
        changes!["retry_interval" Factor 0.1],
    ),
    one(
        "missing bulk capacitor",
        "the bulk capacitor is not fitted; a small one remains",
        changes!["bulk_capacitance" Factor 0.02, "bulk_resistance" Factor 4.0],
    ),
    one(
        "brake line open",
        "the brake line is not connected: the output stays on while braked",
        changes!["brake_wired" Value 0.0],
    ),
    one(
        "hungry logic",
        "a solder bridge beside the regulator draws 150 mA",
        changes!["quiescent_current" Plus 0.150],
    ),
    one(
        "holds on loss",
        "the watch on the signal is dead: the output stays in its last state",
        changes!["on_signal_loss" Value 1.0],
    ),
    one(
        "off on loss",
        "wrong firmware: without a signal the output goes dead",
        changes!["on_signal_loss" Value 0.0],
    ),
    Defect {
        reversing_only: true,
        ..one(
            "reversing dead",
            "the reversing logic does nothing",
            changes!["reversing" Value 0.0],
        )
    },
    Defect {
        reversing_only: true,
        ..one(
            "slow reversal",
            "the reversing debounce is twenty times as long",
            changes!["reversing_debounce" Factor 20.0],
        )
    },
];

impl Defect {
    /// The defect under `name`.
    pub fn named(name: &str) -> Option<&'static Self> {
        DEFECTS.iter().find(|defect| defect.name == name)
    }

    /// Whether `board` can have it: what leaves a board as it was is none.
    pub fn fits(&self, board: &BoardParameters) -> bool {
        let mut spoiled = *board;
        self.plant(&mut spoiled);
        spoiled != *board && (!self.reversing_only || board.reversing.is_some())
    }

    /// Makes `board` defective.
    pub fn plant(&self, board: &mut BoardParameters) {
        for change in self.changes {
            let parameter = BOARD.iter().find(|p| p.name == change.parameter);
            let Some(parameter) = parameter else {
                debug_assert!(false, "a test holds every change to a parameter");
                continue;
            };
            let old = (parameter.get)(board);
            let new = match change.by {
                By::Factor(factor) => old * factor,
                By::Plus(more) => old + more,
                By::Value(value) => value,
            };
            parameter.put(board, new);
        }
    }
}
