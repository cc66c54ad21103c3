//! What the inrush scenario saw: starts into the bank, finely and coarsely.

use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::{Farads, Volts};

/// The bank as the bench file states it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bank {
    /// Its capacitance.
    pub capacitance: Farads,
    /// Drop of the diodes before it.
    pub drop: Volts,
}

/// Two starts into the empty bank.
#[derive(Clone, Debug, PartialEq)]
pub struct InrushStart {
    /// Counted from one.
    pub repeat: u32,
    /// The first of them, finely around its beginning.
    pub fine: Take,
    /// The other, coarsely over all retries.
    pub coarse: Take,
}

/// Everything an inrush scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// The bank.
    pub bank: Bank,
    /// The starts.
    pub starts: Vec<InrushStart>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        let starts = self.starts.iter();
        starts
            .flat_map(|start| [&start.fine, &start.coarse])
            .collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        self.takes()
            .into_iter()
            .map(|take| Asked {
                take,
                rail: Rail::RatedBefore,
                load: Load::Unchecked("what the empty bank takes is the finding"),
                inputs: Inputs::Driven(Polarity::Alternating),
                output: Output::MayTrip,
            })
            .collect()
    }
}
