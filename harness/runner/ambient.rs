//! The temperature around the bench: as a person stated it, or as the thermometer
//! reads it that stands there, before the run begins. It sets nothing.

use super::order::Order;
use super::stop::Stop;
use crate::bench::Bench;
use crate::measurement::Blame;
use crate::scenario::Trouble;
use crate::units::{Celsius, Dimension, Kelvins, Quantity as _, show};

/// No workshop's air is colder or warmer, in degrees Celsius: a number beyond comes
/// of a probe that is broken or lies on something (common practice, no source).
const SENSIBLE: std::ops::RangeInclusive<f64> = -40.0..=85.0;

/// What is known of it.
#[derive(Debug, Default)]
pub(super) struct Ambient {
    pub(super) value: Option<Celsius>,
    /// Its standard uncertainty, where it was measured.
    pub(super) u: Option<Kelvins>,
    /// Why there is none although a thermometer is there, and whether the bench is
    /// gone with it.
    pub(super) trouble: Option<(Trouble, bool)>,
}

impl Ambient {
    /// What `order` states, which goes before any reading, else what the bench's
    /// thermometer reads. A person who stops meanwhile is not kept waiting.
    pub(super) async fn of(order: &Order, bench: &Bench, stop: &mut Stop) -> Self {
        if order.particulars.ambient.is_some() {
            return Self {
                value: order.particulars.ambient,
                ..Self::default()
            };
        }
        let read = tokio::select! {
            biased;
            () = stop.raised() => return Self::default(),
            read = bench.ambient() => read,
        };
        match read {
            Ok(None) => Self::default(),
            Ok(Some(measured)) => match measured.estimate() {
                Some(found) if SENSIBLE.contains(&found.value) => Self {
                    value: Celsius::from_si(found.value),
                    u: Kelvins::from_si(found.u),
                    trouble: None,
                },
                Some(found) => {
                    let shown = show(found.value, Dimension::Temperature);
                    Self::missed(Blame::Bench, &format!("{shown} is no ambient"), false)
                }
                None => Self::missed(Blame::Bench, "the thermometer gave no reading", false),
            },
            Err(error) => Self::missed(error.blame(), &error.to_string(), error.is_gone()),
        }
    }

    fn missed(blame: Blame, why: &str, gone: bool) -> Self {
        let what = format!(
            "the ambient could not be read: {why}: nothing was energised; look at the \
             thermometer and its probe, or state the ambient, as in `--ambient \"23 degC\"`"
        );
        Self {
            trouble: Some((Trouble { what, blame }, gone)),
            ..Self::default()
        }
    }
}
