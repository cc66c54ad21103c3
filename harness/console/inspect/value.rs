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
            let text = show_with_uncertainty(value, expanded, dimension);
            // What rounds to zero has no sign either.
            let bare = text.strip_prefix('-').filter(|bare| {
                let number = bare
                    .split(' ')
                    .next()
                    .and_then(|number| number.parse().ok());
                number == Some(0.0)
            });
            in_signs(bare.unwrap_or(&text))
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_of_next_to_nothing_is_stated_with_its_uncertainty() {
        for (value, expanded, wanted) in [
            (-63.69e-9, 2.4e-3, "0.0 +/- 2.4 mV"),
            (-0.3e-3, 2.4e-3, "-0.3 +/- 2.4 mV"),
            (-0.0, 0.0, "0.000 V"),
        ] {
            assert_eq!(shown(Measure::Voltage, value, Some(expanded)), wanted);
        }
    }
}
