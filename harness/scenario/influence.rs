//! Which metrics each part of a board moves, and by which law: the table that
//! the guide shows, and to which a test holds the model board change by change.
//! It computes nothing.

use super::ScenarioKind;
use super::ScenarioKind::{
    Idle, Inrush, Load, Loss, Overload, Reversal, Sense, Short, Signal, Soak,
};
use Way::{Down, DownToBound, Either, NotFound, Up, UpToBound};

/// In which direction a metric moves when a parameter rises or is what it was
/// not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// It rises.
    Up,
    /// It falls.
    Down,
    /// It depends on the rest of the board.
    Either,
    /// It rises so far that only a bound of it is seen.
    UpToBound,
    /// It falls so far that only a bound of it is seen.
    DownToBound,
    /// There is nothing any more that it could be found in.
    NotFound,
}

impl Way {
    /// As a word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Up => "up",
            Self::Down => "down",
            Self::Either => "either way",
            Self::UpToBound => "up, a bound",
            Self::DownToBound => "down, a bound",
            Self::NotFound => "not found",
        }
    }
}

/// One metric that a parameter moves.
#[derive(Debug)]
pub struct Moved {
    /// The scenario.
    pub scenario: ScenarioKind,
    /// The metric's key.
    pub metric: &'static str,
    /// Where it goes.
    pub way: Way,
    /// By how much, in words or as a formula.
    pub law: &'static str,
}

/// How a board is built instead of otherwise, both as model-board files have it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Choice {
    /// What the demo's board has; "none" where its file says nothing.
    pub of: &'static str,
    /// What it has instead.
    pub is: &'static str,
}

/// What one parameter of a board moves.
#[derive(Debug)]
pub struct Influence {
    /// The parameter's name in model-board files.
    pub parameter: &'static str,
    /// What it is changed to, where it does not just rise.
    pub choice: Option<Choice>,
    /// The part it stands for.
    pub part: &'static str,
    /// What it moves, and nothing else.
    pub moves: &'static [Moved],
}

/// The parameters that move the metric `key` of `scenario`.
pub fn influences_on(
    scenario: ScenarioKind,
    key: &str,
) -> impl Iterator<Item = (&'static Influence, &'static Moved)> {
    INFLUENCES.iter().flat_map(move |influence| {
        let moves = influence.moves.iter();
        moves
            .filter(move |moved| moved.scenario == scenario && moved.metric == key)
            .map(move |moved| (influence, moved))
    })
}

macro_rules! choice {
    () => {
        None
    };
    ($of:literal $is:literal) => {
        Some(Choice { of: $of, is: $is })
    };
}

/// The table, a line a metric.
macro_rules! influences {
    ($($parameter:literal $(from $of:literal to $is:literal)? of $part:literal {
        $($scenario:ident $metric:literal $way:ident $law:literal;)*
    })*) => {
        &[$(Influence {
            parameter: $parameter,
            choice: choice!($($of $is)?),
            part: $part,
            moves: &[$(Moved {
                scenario: $scenario,
                metric: $metric,
                way: $way,
                law: $law,
            },)*],
        },)*]
    };
}

/// Every parameter that a part substitution or another way of building the board
/// can change.
///
/// It holds for a board with two lines that holds its last state, on a bench
/// and under a plan like the demo's; "moves" means by more than three times the
/// expanded uncertainty for a change as large as the test plants, at whichever
/// phase of the signal the contacts close. An empty list
/// says that the part cannot be told from its neighbours by these scenarios as
/// long as it does its duty.
pub static INFLUENCES: &[Influence] = influences! {
    "bulk_capacitance" of "the bulk capacitors" {
    }
    "bulk_resistance" of "the bulk capacitors" {
        Inrush "peak_current" Down "V over the loop's resistance, which holds it";
        Short "peak_current" Down "V over the loop's resistance, which holds it";
    }
    "switch_resistance" of "the bridge's switches" {
        Inrush "peak_current" Down "V over the loop's resistance, with two switches in it";
        Load "output_resistance" Up "twice as much, and as much again for its warmth";
        Reversal "peak_current" Down "both voltages over the loop's resistance";
        Short "peak_current" Down "V over the loop's resistance, with two switches in it";
        Short "let_through" Down "the square of the current";
        Short "supply_dip" Down "the current";
        Soak "temperature_rise" Up "in proportion to the heat, and more for its feedback";
        Soak "thermal_time_constant" Up "heat that grows with the temperature";
    }
    "positive_path_excess" of "one switch of the positive polarity" {
        Load "output_resistance" Up "one for one in the positive polarity, half alternating";
        Load "ripple" Up "the polarities differ by it while the output alternates";
        Short "let_through" Down "the square of the current in that polarity";
    }
    "switch_temperature_coefficient" of "the bridge's switches" {
        Soak "temperature_rise" Up "P0 R / (1 - k P0 R), lumped";
        Soak "thermal_time_constant" Up "tau / (1 - k P0 R), lumped";
        Soak "output_drift" Up "the rise times the current times it";
    }
    "diode_drop" of "the bridge's body diodes" {
    }
    "diode_resistance" of "the bridge's body diodes" {
    }
    "dead_time" of "the bridge driver" {
        Signal "propagation_delay" Up "one for one";
    }
    "delay_rising" of "the line driver, line A" {
        Signal "asymmetry" Up "up to twice the difference of the edges";
        Signal "crossing_distortion" Up "a diode's drop in the pause between the two half-bridges";
        Signal "half_bit_of_a_one" Either "one half longer, the other shorter by the difference";
        Signal "half_bit_of_a_zero" Either "one half longer, the other shorter by the difference";
        Signal "slew_rate" Down "the pause between the two half-bridges lies at zero";
        Signal "propagation_delay" Up "by the difference at its edge, half of it in the mean";
        Signal "cutout_start" Down "it counts from an edge that is later by the difference";
        Signal "delay_range" Up "the difference of the edges";
    }
    "delay_falling" of "the line driver, line A" {
        Signal "asymmetry" Up "up to twice the difference of the edges";
        Signal "crossing_distortion" Up "a diode's drop in the pause between the two half-bridges";
        Signal "half_bit_of_a_one" Either "one half longer, the other shorter by the difference";
        Signal "half_bit_of_a_zero" Either "one half longer, the other shorter by the difference";
        Signal "slew_rate" Down "the pause between the two half-bridges lies at zero";
        Signal "propagation_delay" Up "by the difference at its edge, half of it in the mean";
        Signal "cutout_start" Up "line A goes dead that much later";
        Signal "delay_range" Up "the difference of the edges";
    }
    "delay_rising_b" of "the line driver, line B" {
        Signal "asymmetry" Up "up to twice the difference of the edges";
        Signal "crossing_distortion" Up "a diode's drop in the pause between the two half-bridges";
        Signal "half_bit_of_a_one" Either "one half longer, the other shorter by the difference";
        Signal "half_bit_of_a_zero" Either "one half longer, the other shorter by the difference";
        Signal "slew_rate" Down "the pause between the two half-bridges lies at zero";
        Signal "propagation_delay" Up "by the difference at its edge, half of it in the mean";
        Signal "delay_range" Up "the difference of the edges";
    }
    "delay_falling_b" of "the line driver, line B" {
        Signal "asymmetry" Up "up to twice the difference of the edges";
        Signal "crossing_distortion" Up "a diode's drop in the pause between the two half-bridges";
        Signal "half_bit_of_a_one" Either "one half longer, the other shorter by the difference";
        Signal "half_bit_of_a_zero" Either "one half longer, the other shorter by the difference";
        Signal "slew_rate" Down "the pause between the two half-bridges lies at zero";
        Signal "propagation_delay" Up "by the difference at its edge, half of it in the mean";
        Signal "cutout_start" Down "it counts from an edge that is later by the difference";
        Signal "cutout_end" Down "it counts from an edge that is later by the difference";
        Signal "delay_range" Up "the difference of the edges";
    }
    "output_resistance" of "joints, tracks and terminals" {
        Inrush "peak_current" Down "V over the loop's resistance";
        Load "output_resistance" Up "one for one";
        Reversal "peak_current" Down "both voltages over the loop's resistance";
        Short "peak_current" Down "V over the loop's resistance";
        Short "let_through" Down "the square of the current";
        Short "supply_dip" Down "the current";
    }
    "output_inductance" of "the output's choke" {
        Short "let_through" Down "the rise of the current at each crossing";
        Signal "overshoot" Either "the ringing with the damping network";
    }
    "quiescent_current" of "the board's logic" {
        Idle "input_current_off" Up "one for one";
        Idle "input_current_on" Up "one for one";
    }
    "sense_gain" of "the current sensor" {
        Sense "scale_factor" Down "in inverse proportion";
        Sense "full_scale" Down "in inverse proportion";
    }
    "sense_offset" of "the current sensor" {
        Sense "zero_offset" Up "by its part of the gain, in amperes";
        Sense "full_scale" Down "by its part of the gain, in amperes";
    }
    "sense_filter" of "the filter behind the current sensor" {
        Overload "trip_time" Up "its change times ln(I / (I - I reverse))";
    }
    "converter_reference" of "the board's converter" {
        Sense "scale_factor" Up "in proportion";
        Sense "full_scale" Up "in proportion";
    }
    "converter_bits" of "the board's converter" {
        Sense "scale_factor" Down "halved by each bit";
        Sense "full_scale" Down "the plan's last count stays";
    }
    "converter_noise" of "the board's converter" {
    }
    "trip_current" of "the overload comparator" {
        Overload "trip_current" Up "one for one";
    }
    "trip_debounce" of "the overload filter" {
        Overload "trip_time" Up "one for one";
        Reversal "trip_time" Up "one for one";
        Short "trip_time" Up "one for one";
        Short "let_through" Up "by the current's square times as much";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
    "trip_polled_period" of "the overload converter" {
        Overload "trip_time" Up "up to one period";
        Reversal "trip_time" Up "up to one period";
        Short "trip_time" Up "up to one period";
        Short "let_through" Up "by the current's square times as much";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
    "retry_interval" of "the retry timer" {
        Short "retry_interval" Up "one for one";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
    "retry_backoff" of "the retry timer" {
        Short "retry_interval" Up "the off time times it, once more for each try";
        Short "retries" Down "fewer fit into the pulse";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
    "reversing_current" of "the reversing comparator" {
        Overload "trip_time" Up "the filter's time times the change of ln(I / (I - it))";
    }
    "reversing_debounce" of "the reversing filter" {
        Overload "trip_time" Up "one for one: a reversing board reverses first";
        Reversal "trip_time" Up "one for one: a reversing board reverses first";
        Short "trip_time" Up "one for one: a reversing board reverses first";
        Short "let_through" Up "by the current's square times as much";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
        Reversal "reversal_time" Up "one for one";
    }
    "reversing_hold_off" of "the reversing timer" {
        Overload "trip_time" Up "one for one: a reversing board waits first";
        Reversal "trip_time" Up "one for one: a reversing board waits first";
        Short "trip_time" Up "one for one: a reversing board waits first";
        Short "let_through" Up "by the current's square times as much";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
    "under_voltage" of "the lockout" {
    }
    "signal_loss_time" of "the signal watch" {
    }
    "thermal_rise_per_watt" of "the heat sink" {
        Soak "temperature_rise" Up "in proportion, and more for its feedback";
        Soak "thermal_time_constant" Up "heat that grows with the temperature";
    }
    "thermal_time_constant" of "the heat sink" {
        Soak "thermal_time_constant" Up "in proportion";
    }
    "junction_rise_per_watt" of "the bridge's bond to the heat sink" {
        Soak "thermal_time_constant" Down "less heat waits in the junction";
    }
    "junction_time_constant" of "the bridge's own heat capacity" {
        Soak "thermal_time_constant" Up "more heat waits in the junction";
    }
    "over_temperature" of "the bridge's own protection" {
    }
    "over_temperature_restart" of "the bridge's own protection" {
    }
    "leakage_resistance" from "none" to "\"22 kohm\"" of "a high-side switch" {
        Idle "off_voltage" Up "V R / (R + its own), R the bleeder's";
        Idle "off_leakage" Up "V / (R + its own), R the bleeder's";
    }
    "signal_lines" from "2" to "1" of "the bridge driver's inputs" {
        Signal "asymmetry" Up "twice the difference of line A's edges";
        Signal "half_bit_of_a_one" Either "cutouts pass as short halves, and the edges' difference";
        Signal "half_bit_of_a_zero" Either "the difference of line A's edges";
        Signal "slew_rate" Up "both half-bridges turn at once";
        Signal "cutouts_missing" Up "all of them: one line cannot say them";
        Signal "cutout_start" NotFound "there is no cutout";
        Signal "cutout_end" NotFound "there is no cutout";
        Signal "cutout_drop" NotFound "there is no cutout";
    }
    "on_signal_loss" from "\"hold\"" to "\"off\"" of "the firmware" {
        Loss "shutdown_time" Down "signal_loss_time, and the snubber empties";
        Loss "residual_dc" Down "to nothing";
    }
    "on_signal_loss" from "\"hold\"" to "\"own signal\"" of "the firmware" {
        Loss "residual_dc" Down "equal halves have no mean";
    }
    "brake_wired" from "true" to "false" of "the brake line" {
        Idle "off_when_braked" Down "to no";
    }
    "sensed_legs" from "2" to "1" of "the current sensor's place" {
        Overload "trip_current" UpToBound "filter and debounce start again in each half";
        Overload "trip_time" UpToBound "never below I trip (1 + exp(half-bit / filter))";
        Reversal "trip_time" Up "it starts in a half that is seen";
        Reversal "reversal_time" Up "it starts in a half that is seen";
        Sense "scale_factor" Up "doubled: of both polarities one is counted";
        Sense "full_scale" Up "doubled: of both polarities one is counted";
        Sense "non_linearity" Up "half the steps' span";
        Short "peak_current" UpToBound "the end of the fault is not captured";
        Short "trip_time" UpToBound "never below I trip (1 + exp(half-bit / filter))";
        Short "let_through" UpToBound "the end of the fault is not captured";
        Short "supply_dip" UpToBound "the end of the fault is not captured";
        Short "retries" NotFound "without a trip there is no retry";
        Short "retry_interval" NotFound "without a trip there is no retry";
        Short "recovery_time" Either "none without a trip, or where in its retries it is";
    }
    "retry_limit" from "none" to "0" of "the retry timer" {
        Short "retries" Down "to as many";
        Short "retry_interval" UpToBound "it never comes";
        Short "recovery_time" UpToBound "off until its supply is cycled";
    }
    "reversing" from "true" to "false" of "the reversing logic" {
        Inrush "charge" Down "what flows until it trips";
        Inrush "nuisance_trips" Up "the bank outlasts the debounce without that wait";
        Inrush "time_to_start" Up "the retries' off times";
        Overload "trip_time" Down "by debounce and hold-off of the reversal";
        Reversal "reversals" Down "to none";
        Reversal "reversal_time" UpToBound "it never comes";
        Reversal "selectivity_margin" DownToBound "the upstream trips first";
        Reversal "peak_current" UpToBound "the end of the fault is not captured";
        Reversal "trip_time" Down "by debounce and hold-off of the reversal";
        Short "trip_time" Down "by debounce and hold-off of the reversal";
        Short "let_through" Down "by the current's square times as much";
        Short "recovery_time" Either "where in its retries the board is when the short goes";
    }
};
