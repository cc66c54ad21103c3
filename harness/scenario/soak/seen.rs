//! What the soak scenario saw: temperatures before and under load, and looks
//! at the output beside them.

use crate::measurement::Estimate;
use crate::scenario::stimulus::{Asked, Inputs, Load, Output, Rail};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Seconds};

/// One reading of the thermometer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaseReading {
    /// Since the load was switched on; before it negative.
    pub at: Seconds,
    /// What it said, in degrees Celsius, with the uncertainty that its
    /// accuracy allows; `None` where it gave no number.
    pub temperature: Option<Estimate>,
}

/// One look under load.
#[derive(Clone, Debug, PartialEq)]
pub struct SoakLook {
    /// How warm the case was.
    pub case: CaseReading,
    /// The waveforms, taken right after.
    pub take: Take,
}

/// One soak.
#[derive(Clone, Debug, PartialEq)]
pub struct Soaked {
    /// How the output was driven.
    pub drive: Polarity,
    /// The current asked of the load.
    pub current: Amperes,
    /// Readings without power before it.
    pub rest: Vec<CaseReading>,
    /// Looks under load.
    pub looks: Vec<SoakLook>,
}

/// Everything a soak scenario saw.
#[derive(Clone, Debug, PartialEq)]
pub struct Seen {
    /// In the order in which they were made.
    pub soaks: Vec<Soaked>,
}

impl Seen {
    /// Every take in the order in which it was taken.
    pub(in crate::scenario) fn takes(&self) -> Vec<&Take> {
        let looks = self.soaks.iter().flat_map(|soaked| &soaked.looks);
        looks.map(|look| &look.take).collect()
    }

    /// What was asked of the bench in each take.
    pub(in crate::scenario) fn asked(&self) -> Vec<Asked<'_>> {
        let soaks = self.soaks.iter();
        soaks
            .flat_map(|soaked| {
                soaked.looks.iter().map(|look| Asked {
                    take: &look.take,
                    rail: Rail::Rated,
                    load: Load::Current(soaked.current),
                    inputs: Inputs::Driven(soaked.drive),
                    output: Output::MayTrip,
                })
            })
            .collect()
    }
}
