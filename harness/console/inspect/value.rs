//! How a figure is written with its uncertainty, and the colour of a standing.
//! It decides nothing and knows no rule.

use crate::console::signs::in_signs;
use crate::inspection::{Measure, Standing};
use crate::units::{Dimension, show, show_with_uncertainty};
use anstyle::{AnsiColor, Style};

/// `value` of a demand as people read it.
pub(super) fn shown(measure: Measure, value: f64, expanded: Option<f64>) -> String {
    let dimension = match measure {
        Measure::Time => Dimension::Time,
        Measure::Count => return format!("{value}"),
        Measure::Slew => Dimension::VoltageSlew,
        Measure::Voltage => Dimension::Voltage,
    };
    // Added to zero, a negative zero has no sign.
    let value = value + 0.0;
    match expanded {
        // Below a hundred thousandth nobody reads it.
        Some(expanded) if expanded > 1e-5 * value.abs() && expanded > 1e-12 => {
            in_signs(&show_with_uncertainty(value, expanded, dimension))
        }
        _ => show(value, dimension),
    }
}

pub(super) fn style(standing: Standing) -> Style {
    let colour = match standing {
        Standing::Within => AnsiColor::Green,
        Standing::Inconclusive => AnsiColor::Yellow,
        Standing::Violation => AnsiColor::Red,
    };
    Style::new().fg_color(Some(colour.into()))
}
