//! A capture with the facts that belong to it: what every scenario takes of a
//! provoked board. It holds no metric and no limit.

pub use crate::bench_file::Proof;

use crate::measurement::Blame;
use crate::units::Seconds;
use crate::waveform::Capture;
use serde::{Deserialize, Serialize};

/// A capture taken while the board was provoked, and what the instruments said
/// around it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Take {
    /// The waveforms. The trigger is the provocation.
    pub capture: Capture,
    /// How long the provocation was asked for.
    pub pulse: Seconds,
    /// The load said that it protected itself.
    pub load_protected: bool,
    /// The supply said that it limited its current or shut down.
    pub supply_protected: bool,
    /// Whether the fuse of the closed branch was found intact afterwards;
    /// `None` where the bench cannot tell.
    pub fuse_intact: Option<bool>,
    /// Proof of closure of the branch that was used.
    pub proof: Proof,
}

/// Something that went wrong while a scenario was driven.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trouble {
    /// What happened, for the person at the bench.
    pub what: String,
    /// Who can mend it.
    pub blame: Blame,
}
