//! What a scenario saw: captures with the facts that belong to them. It holds
//! no metric and no limit, so the same observation can be evaluated and judged
//! again years later.

mod inrush;
mod sense;
mod signal;
mod soak;
mod supply;
mod takes;
mod unloaded;

pub use inrush::{Bank, InrushStart};
pub use sense::SenseStep;
pub use signal::{Loading, SignalTake, Stream};
pub use soak::{SoakLook, Soaked, Warmth};
pub use supply::SupplyStep;
pub use unloaded::{IdleStep, SignalLost};

pub use crate::bench_file::Proof;
pub use crate::plan::{Direction, Polarity as Drive, ShortPlace as Place};

use crate::measurement::Blame;
use crate::units::{Amperes, Seconds, Volts};
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
    /// Held load steps against the board's own reading.
    Sense {
        /// The board's reading at the end of its converter.
        last_count: u32,
        /// The steps, in the order in which they were taken.
        steps: Vec<SenseStep>,
    },
    /// A known packet stream.
    Signal {
        /// What was sent; `None` where it did not come to that.
        sent: Option<Stream>,
        /// The captures.
        takes: Vec<SignalTake>,
    },
    /// The unloaded board.
    Idle {
        /// The states, in the order in which they were taken.
        steps: Vec<IdleStep>,
    },
    /// The signal lost.
    Loss {
        /// In the order in which it was.
        losses: Vec<SignalLost>,
    },
    /// Starts into a bank of empty capacitors.
    Inrush {
        /// The bank.
        bank: Bank,
        /// The starts.
        starts: Vec<InrushStart>,
    },
    /// A current held for long.
    Soak {
        /// In the order in which they were made.
        soaks: Vec<Soaked>,
    },
    /// The supply loaded directly.
    Supply {
        /// The steps, the first without a load.
        steps: Vec<SupplyStep>,
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
