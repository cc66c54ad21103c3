//! What a scenario saw: captures with the facts that belong to them. It holds
//! no metric and no limit, so the same observation can be evaluated and judged
//! again years later.

use crate::measurement::Blame;
use crate::units::{Amperes, Seconds, Volts};
use crate::waveform::Capture;
use serde::{Deserialize, Serialize};

/// A polarity in which the output was held, or the plain track signal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Drive {
    /// Held positive.
    Positive,
    /// Held negative.
    Negative,
    /// Alternating, all ones.
    Alternating,
}

impl Drive {
    /// The word used for conditions.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Positive => "positive",
            Self::Negative => "negative",
            Self::Alternating => "alternating",
        }
    }
}

/// Which short.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// A hard short near the board.
    Near,
    /// Through the bus: the coin test.
    Far,
}

impl Place {
    /// The word used for conditions.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
        }
    }
}

/// How a switch channel proves that it is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Proof {
    /// Not at all.
    None,
    /// A line follows the command.
    Marker,
    /// A second pole of the same contact.
    SecondPole,
    /// A small isolated current through contact and fuse, on its own line.
    PilotCurrent,
}

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

/// One held step of `load`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LoadStep {
    /// How the output was driven.
    pub drive: Drive,
    /// The current asked of the load.
    pub current: Amperes,
    /// The waveforms at the end of the hold.
    pub take: Take,
}

/// One step of `overload` to a multiple of the nominal trip current.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OverloadStep {
    /// The multiple.
    pub multiple: f64,
    /// The current asked of the load.
    pub current: Amperes,
    /// The waveforms.
    pub take: Take,
}

/// A ramp of the load's current.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OverloadRamp {
    /// Current at the start.
    pub from: Amperes,
    /// Current at the end.
    pub to: Amperes,
    /// Time from start to end.
    pub duration: Seconds,
    /// The waveforms.
    pub take: Take,
}

/// One short.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
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

/// One closing of the section boundary against the wrong polarity.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct GapClosing {
    /// `forward` (gap crossed) or `back` (gap straight, phase reversed).
    pub direction: Direction,
    /// Upstream's open voltage while the gap was open.
    pub upstream_voltage: Volts,
    /// The waveforms, from before the closing until the gap has opened again
    /// and the board drives the node alone.
    pub take: Take,
}

/// Which way a reversal was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// From the phase after power-up to the other.
    Forward,
    /// Back again.
    Back,
}

impl Direction {
    /// The word used for conditions.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Forward => "forward",
            Self::Back => "back",
        }
    }
}

/// Everything one scenario saw.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Observation {
    /// Held and alternating load steps, in the order in which they were taken.
    Load {
        /// The steps.
        steps: Vec<LoadStep>,
    },
    /// Ramp, multiples, hold.
    Overload {
        /// The slow ramp.
        ramp: Option<OverloadRamp>,
        /// The steps to multiples.
        steps: Vec<OverloadStep>,
        /// The long hold below the trip current, as a ramp of no slope.
        hold: Option<OverloadRamp>,
    },
    /// Shorts.
    Short {
        /// In the order in which they were made.
        pulses: Vec<ShortPulse>,
    },
    /// Reversals and the true short.
    Reversal {
        /// The closings.
        closings: Vec<GapClosing>,
        /// How long the upstream source took to trip at the mismatch current,
        /// as the bench states or measured it.
        upstream_trip: Seconds,
        /// Standard uncertainty of that time.
        upstream_trip_u: Seconds,
        /// The true short in reversing mode.
        short: Option<Take>,
    },
}

/// Something that went wrong while a scenario was driven.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Trouble {
    /// What happened, for the person at the bench.
    pub what: String,
    /// Who can mend it.
    pub blame: Blame,
}
