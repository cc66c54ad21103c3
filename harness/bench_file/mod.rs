//! What a bench is made of: instruments and ports, wiring, channels, branches,
//! calibration and the envelope nothing may leave. It opens no port.

mod capture_wiring;
mod conductor;
mod instruments;
mod loops;
mod parse;
mod parts;
mod sound;
mod wiring;

pub use capture_wiring::{CaptureWiring, WiredChannel, WiredLine};
pub use conductor::{Conductor, ConductorFault};
pub use loops::{DELAY_DIFFERENCE, Loop};
pub use parse::parse;
pub use parts::*;

use crate::document::Places;
use crate::ident::Role;
use crate::model_board::FixtureParameters;

/// A checked bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Bench {
    /// What a person calls it.
    pub name: String,
    /// The model bench's parts, where its instruments are models.
    pub model: Option<ModelBench>,
    /// At most one for each role, in the order of [`Role::ALL`].
    pub instruments: Vec<Instrument>,
    /// Resistances and drops between the instruments.
    pub wiring: Wiring,
    /// What the capture device's analogue channels see.
    pub channels: Vec<Channel>,
    /// What its logic lines see.
    pub lines: Vec<LogicLine>,
    /// What the switch's channels close.
    pub branches: Vec<BranchEntry>,
    /// The second booster behind the section gaps.
    pub upstream: Option<UpstreamEntry>,
    /// What may never be exceeded, not even prospectively.
    pub envelope: Envelope,
    /// What a person can reach for.
    pub safety: Safety,
    /// Where each part was written.
    pub places: Places,
}

impl Bench {
    /// The instrument in `role`.
    pub fn instrument(&self, role: Role) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.role == role)
    }

    /// The channel that measures `measures`.
    pub fn channel(&self, measures: Measures) -> Option<&Channel> {
        self.channels.iter().find(|c| c.measures == measures)
    }

    /// The logic line that carries `carries`.
    pub fn line(&self, carries: Carries) -> Option<&LogicLine> {
        self.lines.iter().find(|l| l.carries == carries)
    }

    /// The branch that closes `closes`.
    pub fn branch(&self, closes: Closes) -> Option<&BranchEntry> {
        self.branches.iter().find(|b| b.closes == closes)
    }

    /// Whether every instrument is a model.
    pub fn is_model(&self) -> bool {
        self.model.is_some()
    }

    /// The same bench with a model in place of each instrument, what is around
    /// the board as the file states it. A model bench stays as it is.
    pub fn modelled(&self) -> Self {
        let mut bench = self.clone();
        if bench.model.is_none() {
            bench.model = Some(ModelBench {
                fixture: parse::stated_fixture(self),
                board: None,
            });
            for instrument in &mut bench.instruments {
                instrument.port = Port::Model;
            }
        }
        bench
    }
}

/// The parts of a model bench.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelBench {
    /// The fixture, every parameter at its stated or default value.
    pub fixture: FixtureParameters,
    /// The model board's file, as written; `None` for the one that comes with
    /// the program.
    pub board: Option<String>,
}

#[cfg(test)]
mod tests;
