//! What the short scenario saw: each short, and the board before and after.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::{Place, Polarity};
use crate::units::Amperes;

/// One short.
#[derive(Clone, Debug, PartialEq)]
pub struct ShortPulse {
    /// Where.
    pub place: Place,
    /// Counted from one.
    pub repeat: u32,
    /// Rail-to-rail amplitude and supply before it, for comparison.
    pub before: Take,
    /// Fast waveforms around the inception.
    pub fast: Take,
    /// Slow waveforms over the retries and the recovery, from a pulse of its
    /// own that is long enough to hold several retries.
    pub slow: Option<Take>,
    /// Waveforms some time after it was removed.
    pub after: Take,
}

/// Everything a short scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The shorts, in the order in which they were made.
    pub pulses: Vec<ShortPulse>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        let pulses = self.pulses.iter();
        pulses
            .flat_map(|pulse| {
                let early = [&pulse.before, &pulse.fast];
                early.into_iter().chain(&pulse.slow).chain([&pulse.after])
            })
            .collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let calm = |take| Asked {
            take,
            rail: Rail::Rated,
            load: Load::Current(Amperes::ZERO),
            inputs: Inputs::Driven(Polarity::Alternating),
            output: Output::Follows,
        };
        let after = |take| Asked {
            output: Output::MayTrip,
            ..calm(take)
        };
        let made = |take| Asked {
            take,
            rail: Rail::RatedBefore,
            load: Load::Unchecked(
                "what flows into a short is the board's doing; its closing is proven by line or \
                 pilot, and by the onset level",
            ),
            inputs: Inputs::Driven(Polarity::Alternating),
            output: Output::MayTrip,
        };
        let pulses = self.pulses.iter();
        pulses
            .flat_map(|pulse| {
                let early = [calm(&pulse.before), made(&pulse.fast)];
                let slow = pulse.slow.iter().map(made);
                early.into_iter().chain(slow).chain([after(&pulse.after)])
            })
            .collect()
    }
}
