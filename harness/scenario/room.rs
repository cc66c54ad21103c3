//! What every scenario's room offers to the list beside its own types, and the
//! small reading words that their settings share. It knows no scenario.

use super::board::{Configuration, OnSignalLoss, Ratings};
use super::terms::Polarity;
use crate::document::{Demand, Fault, Table};
use crate::units::{Amperes, Seconds};

/// What a plan says beside the scenario's own table.
#[derive(Clone, Copy, Debug)]
pub struct ReadContext<'a> {
    /// What the board is rated for.
    pub ratings: &'a Ratings,
    /// How the board is connected and set.
    pub configuration: &'a Configuration,
    /// The format in which the plan is written.
    pub format: i64,
}

impl ReadContext<'_> {
    /// The states of the output in which something is taken where the plan states
    /// none: those of `usual` that the board can be held in. One that goes dead without
    /// a signal is left alternating.
    pub(super) fn polarities(&self, usual: &[Polarity]) -> Vec<Polarity> {
        match self.configuration.on_signal_loss {
            OnSignalLoss::Off => vec![Polarity::Alternating],
            _ => usual.to_vec(),
        }
    }
}

/// The magnitudes of current at which a fault begins and ends, where a
/// scenario's settings name them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Levels {
    /// The crossing of it starts a trip time.
    pub(super) onset: Option<Amperes>,
    /// Under it the current counts as interrupted.
    pub(super) off: Option<Amperes>,
}

/// A time of up to a day.
pub(super) fn time(table: &Table<'_>, key: &str, default: f64) -> Seconds {
    table.quantity_or(key, Demand::Within(0.0, 86_400.0), Seconds::new(default))
}

/// A sampling period: never zero, and below a nanosecond nobody samples.
pub(super) fn period(table: &Table<'_>, key: &str, default: f64) -> Seconds {
    table.quantity_or(key, Demand::Within(1e-9, 1.0), Seconds::new(default))
}

/// A current that is not negative.
pub(super) fn current(table: &Table<'_>, key: &str, default: Amperes) -> Amperes {
    table.quantity_or(key, Demand::NotNegative, default)
}

/// A whole number from one to `most`.
pub(super) fn whole(table: &Table<'_>, key: &str, most: u32, default: u32) -> u32 {
    table
        .optional_integer(key, 1..=i64::from(most))
        .and_then(|number| u32::try_from(number).ok())
        .unwrap_or(default)
}

/// The list under `key` unless it is empty or longer than any plan needs.
pub(crate) fn not_empty<T>(table: &Table<'_>, key: &str, list: Option<Vec<T>>) -> Option<Vec<T>> {
    if list.as_ref().is_some_and(Vec::is_empty) {
        let place = table.place_of(key);
        table.fault(Fault::error(&place, "the list is empty").expected("at least one value"));
        return None;
    }
    // A list of a thousand steps is a slip, and every step costs bench time.
    if list.as_ref().is_some_and(|list| list.len() > 1000) {
        let place = table.place_of(key);
        table.fault(Fault::error(&place, "the list is too long").expected("1000 values or fewer"));
        return None;
    }
    list
}
