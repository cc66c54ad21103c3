//! What the signal scenario saw: what was sent, and a capture at each loading.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::track::PacketBytes;
use crate::units::Amperes;

/// What was put on the board's inputs, over and over.
#[derive(Clone, Debug, PartialEq)]
pub struct Stream {
    /// The packets in their order, check bytes included.
    pub packets: Vec<PacketBytes>,
    /// Whether each was followed by a cutout.
    pub cutouts: bool,
    /// Signal lines of the board: one or two.
    pub signal_lines: u8,
}

/// How the output was loaded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Loading {
    /// By nothing but the bleeder.
    None,
    /// By the bench's resistor bank.
    Resistors,
    /// By the electronic load as a resistance, behind a rectifier or not: it
    /// draws nothing about the crossings.
    Electronic,
}

impl Loading {
    /// The words under which its metrics stand; the means of loading the
    /// output is a note, so that boards from two benches can be compared.
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "no load",
            Self::Resistors | Self::Electronic => "rated current",
        }
    }
}

/// One capture of the stream.
#[derive(Clone, Debug, PartialEq)]
pub struct SignalTake {
    /// How the output was loaded.
    pub loading: Loading,
    /// The current asked for.
    pub current: Amperes,
    /// The waveforms.
    pub take: Take,
}

/// Everything a signal scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// What was sent; `None` where it did not come to that.
    pub sent: Option<Stream>,
    /// The captures.
    pub takes: Vec<SignalTake>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        self.takes.iter().map(|seen| &seen.take).collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let takes = self.takes.iter();
        takes
            .map(|seen| Asked {
                take: &seen.take,
                rail: Rail::Rated,
                load: match seen.loading {
                    Loading::None => Load::Current(Amperes::ZERO),
                    Loading::Resistors | Loading::Electronic => Load::Resistance(seen.current),
                },
                inputs: Inputs::Unchecked("the stream on them is decoded and compared by itself"),
                output: match seen.loading {
                    Loading::None => Output::Follows,
                    Loading::Resistors | Loading::Electronic => Output::MayTrip,
                },
            })
            .collect()
    }
}
