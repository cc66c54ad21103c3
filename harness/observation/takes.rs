//! The captures of an observation in the order in which they were taken, which
//! numbers them. It reads nothing off them.

use super::{Observation, Take};

impl Observation {
    /// Every take in the order in which it was taken.
    pub fn takes(&self) -> Vec<&Take> {
        match self {
            Self::Load { steps } => steps.iter().map(|step| &step.take).collect(),
            Self::Sense { steps, .. } => steps.iter().map(|step| &step.take).collect(),
            Self::Overload { ramp, steps, hold } => {
                let first = ramp.iter().map(|ramp| &ramp.take);
                let middle = steps.iter().map(|step| &step.take);
                let last = hold.iter().map(|hold| &hold.take);
                first.chain(middle).chain(last).collect()
            }
            Self::Short { pulses } => pulses
                .iter()
                .flat_map(|pulse| {
                    let early = [&pulse.before, &pulse.fast];
                    early.into_iter().chain(&pulse.slow).chain([&pulse.after])
                })
                .collect(),
            Self::Reversal {
                closings, short, ..
            } => closings
                .iter()
                .map(|closing| &closing.take)
                .chain(short)
                .collect(),
            Self::Signal { takes, .. } => takes.iter().map(|seen| &seen.take).collect(),
            Self::Idle { steps } => steps.iter().map(|step| &step.take).collect(),
            Self::Loss { losses } => losses.iter().map(|lost| &lost.take).collect(),
            Self::Inrush { starts, .. } => starts
                .iter()
                .flat_map(|start| [&start.fine, &start.coarse])
                .collect(),
            Self::Soak { soaks } => {
                let looks = soaks.iter().flat_map(|soaked| &soaked.looks);
                looks.map(|look| &look.take).collect()
            }
            Self::Supply { steps } => steps.iter().map(|step| &step.take).collect(),
        }
    }
}
