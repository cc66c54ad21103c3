//! A checked bench as a value, and how its parts are found. How they were read
//! and what makes them sound is decided elsewhere.

use super::parts::*;
use crate::document::Places;
use crate::ident::Role;
use crate::model_board::FixtureParameters;
use crate::profile::Profile;
use crate::units::Ohms;
use std::collections::BTreeMap;

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
    /// What the switch's channels and the load's short close.
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

    /// Where the thermometer's probe is; `None` where there is no thermometer.
    pub fn probed(&self) -> Option<Probed> {
        self.instrument(Role::Thermometer).map(|found| found.at)
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

    /// Whether the load's own short closes a branch.
    pub fn load_shorts(&self) -> bool {
        self.branches.iter().any(|b| b.closer == Closer::Load)
    }

    /// The bench with what the profiles of its instruments state of its wiring: the
    /// resistance of the load's short, where that closes a branch. Without it that
    /// branch lets more flow than it can.
    #[must_use]
    pub fn with_profiles(mut self, profiles: &BTreeMap<Role, Profile>) -> Self {
        let load = profiles.get(&Role::Load).and_then(Profile::load_range);
        let short = load.and_then(|load| load.short_resistance);
        for branch in &mut self.branches {
            if branch.closer == Closer::Load {
                branch.resistance = branch.resistance + short.unwrap_or(Ohms::ZERO);
            }
        }
        self
    }

    /// Whether every instrument is a model.
    pub fn is_model(&self) -> bool {
        self.model.is_some()
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
