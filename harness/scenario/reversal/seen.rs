//! What the reversal scenario saw: each closing of the gap, and a true short.

use super::settings::Direction;
use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::{Seconds, Volts};

/// One closing of the section boundary against the wrong polarity.
#[derive(Clone, Debug, PartialEq)]
pub struct GapClosing {
    /// `forward` (gap crossed) or `back` (gap straight, phase reversed).
    pub direction: Direction,
    /// Upstream's open voltage while the gap was open.
    pub upstream_voltage: Volts,
    /// The waveforms, from before the closing until the gap has opened again
    /// and the board drives the node alone.
    pub take: Take,
}

/// Everything a reversal scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The closings.
    pub closings: Vec<GapClosing>,
    /// How long the upstream source took to trip at the mismatch current, as
    /// the bench states or measured it.
    pub upstream_trip: Seconds,
    /// Standard uncertainty of that time.
    pub upstream_trip_u: Seconds,
    /// The true short in reversing mode.
    pub short: Option<Take>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        let closings = self.closings.iter().map(|closing| &closing.take);
        closings.chain(&self.short).collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        self.takes()
            .into_iter()
            .map(|take| Asked {
                take,
                rail: Rail::RatedBefore,
                load: Load::Unchecked(
                    "what flows over the gap or into the short is the doing of both sources; the \
                     closing is proven by its marker and by the onset level",
                ),
                inputs: Inputs::Driven(Polarity::Alternating),
                output: Output::MayTrip,
            })
            .collect()
    }
}
