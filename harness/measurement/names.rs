//! The names of metrics: those that earlier versions wrote, and how a name reads
//! in a line for people. What each metric means, the catalogue says.

use serde::{Deserialize, Deserializer};

/// What records and plans of format 1 call a metric, and what it is called now.
const FORMER: &[(&str, &str)] = &[
    ("one_half", "half_bit_of_a_one"),
    ("zero_half", "half_bit_of_a_zero"),
    ("slew", "slew_rate"),
    ("delay_spread", "delay_range"),
    ("amplitude_symmetry", "amplitude_asymmetry"),
    ("level_symmetry", "level_asymmetry"),
    ("no_trip_below", "nuisance_trips"),
    ("false_trips", "nuisance_trips"),
    ("worst_departure", "non_linearity"),
    ("sense_scale", "scale_factor"),
    ("sense_offset", "zero_offset"),
    ("healthy_after", "recovered_voltage"),
    ("dc_left", "residual_dc"),
    ("time_to_dead", "shutdown_time"),
    ("margin", "selectivity_margin"),
    ("enable_obeyed", "off_when_disabled"),
    ("brake_obeyed", "off_when_braked"),
    ("polarity_right", "polarity_correct"),
    ("fault_line_quiet", "fault_line_inactive"),
];

/// Words that need more than a space for each underscore.
const SPELT: &[(&str, &str)] = &[
    ("half bit", "half-bit"),
    ("let through", "let-through"),
    ("non linearity", "non-linearity"),
    ("residual dc", "residual d.c."),
];

/// What a metric is called now that was once called `key`; `None` where `key` is
/// no former name.
///
/// ```
/// use bufferstop::measurement::renamed;
/// assert_eq!(renamed("healthy_after"), Some("recovered_voltage"));
/// assert_eq!(renamed("trip_time"), None);
/// ```
pub fn renamed(key: &str) -> Option<&'static str> {
    let found = FORMER.iter().find(|(former, _)| *former == key);
    found.map(|(_, present)| *present)
}

/// The names that `key` once had.
pub fn former_names(key: &str) -> impl Iterator<Item = &'static str> + '_ {
    let names = FORMER.iter().filter(move |(_, present)| *present == key);
    names.map(|(former, _)| *former)
}

/// A key or label as people read it.
///
/// ```
/// use bufferstop::measurement::in_words;
/// assert_eq!(in_words("trip_time (near)"), "trip time (near)");
/// assert_eq!(in_words("half_bit_of_a_one"), "half-bit of a one");
/// ```
pub fn in_words(label: &str) -> String {
    let plain = label.replace('_', " ");
    SPELT
        .iter()
        .fold(plain, |text, (from, to)| text.replace(from, to))
}

/// `key` with the condition under which it was found, in brackets.
///
/// ```
/// use bufferstop::measurement::labelled;
/// assert_eq!(labelled("trip_time", "2 x"), "trip_time (2 x)");
/// assert_eq!(labelled("full_scale", ""), "full_scale");
/// ```
pub fn labelled(key: &str, at: &str) -> String {
    match at {
        "" => key.to_owned(),
        at => format!("{key} ({at})"),
    }
}

/// Reads a key under its present name.
pub(super) fn present<'d, D: Deserializer<'d>>(from: D) -> Result<String, D::Error> {
    let key = String::deserialize(from)?;
    Ok(renamed(&key).map_or(key, str::to_owned))
}
