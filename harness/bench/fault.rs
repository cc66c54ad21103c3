//! What goes wrong on the bench as a whole, and whose fault it is. A bad board
//! is no error here.

use crate::envelope::{Overrun, Refusal};
use crate::ident::Role;
use crate::instruments::InstrumentError;
use crate::link::LinkError;
use crate::measurement::Blame;
use crate::units::{Amperes, Seconds};

/// Trouble on the bench.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BenchError {
    /// An instrument.
    #[error(transparent)]
    Instrument(#[from] InstrumentError),
    /// The interlock.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// A port could not be opened.
    #[error("{role}: {error}")]
    Port {
        /// The instrument.
        role: Role,
        /// What happened.
        error: LinkError,
    },
    /// The bench has no such instrument.
    #[error("the bench has no {0}")]
    Missing(Role),
    /// The profile of an instrument was not handed over.
    #[error("there is no profile for the {0}")]
    NoProfile(Role),
    /// A USB adapter is not plugged in.
    #[error("no USB serial adapter {vendor:04x}:{product:04x} for the {role}; is it plugged in?")]
    NoAdapter {
        /// The instrument.
        role: Role,
        /// The adapter's vendor number.
        vendor: u16,
        /// The adapter's product number.
        product: u16,
    },
    /// Another instrument of the same kind took the place of one.
    #[error("the {role} was {before} and is now {now}: start again with the bench as it is")]
    Exchanged {
        /// The instrument.
        role: Role,
        /// Who answered before.
        before: String,
        /// Who answers now.
        now: String,
    },
    /// What was found on the bench before waits for a person.
    #[error("nothing is permitted on this bench before a person has looked at it: {why}")]
    Locked {
        /// What was found.
        why: String,
    },
    /// A capture did not come to wait for its trigger.
    #[error("the capture was not ready for its trigger within {within}")]
    NotReady {
        /// How long was waited.
        within: Seconds,
    },
    /// A capture was not triggered.
    #[error("the capture was not triggered within {within}")]
    NotTriggered {
        /// How long was waited.
        within: Seconds,
    },
    /// An instrument did not finish.
    #[error("the {role} did not finish within {within}")]
    Unfinished {
        /// The instrument.
        role: Role,
        /// How long was waited.
        within: Seconds,
    },
    /// What was switched off is not off.
    #[error("the {role} is not off, the board may be energised: {what}")]
    StillOn {
        /// The instrument.
        role: Role,
        /// What shows that.
        what: String,
    },
    /// The bench was not opened, and what feeds the board or draws from it was not
    /// reached.
    #[error("{fault}; the {role} could not be switched off and may still be energised")]
    NotReached {
        /// What feeds the board or draws from it.
        role: Role,
        /// Why the bench was not opened.
        fault: Box<BenchError>,
    },
    /// A setting is exceeded by what was measured.
    #[error("the {role} {what}: everything is switched off")]
    Breach {
        /// The instrument.
        role: Role,
        /// What it does, and what it was set to.
        what: String,
    },
    /// What was measured is beyond the envelope.
    #[error("beyond the envelope by what the {role} shows: {overrun}; everything is switched off")]
    Beyond {
        /// The instrument.
        role: Role,
        /// What was measured, and what the envelope allows.
        overrun: Overrun,
    },
    /// Supply and load say different things of one current.
    #[error(
        "the supply shows {delivers} while the load shows that it draws {draws}: one of their \
         ammeters is wrong by more than both are stated to err; look at both, and at what else \
         feeds the load"
    )]
    Disagree {
        /// What the supply shows.
        delivers: Amperes,
        /// What the load shows.
        draws: Amperes,
    },
    /// A branch that stayed closed after its pulse.
    #[error(
        "the {branch} did not open after its pulse, so the supply was switched off: look at its contact before you go on"
    )]
    NotOpen {
        /// What it closes.
        branch: &'static str,
    },
    /// An instrument was switched on in mid-run.
    #[error(
        "the {role} has restarted: what it was set to is gone; look at its mains lead and fuse"
    )]
    Restarted {
        /// The instrument.
        role: Role,
    },
    /// A capture was fetched that was never armed.
    #[error("no capture was armed")]
    NotArmed,
    /// A wait that is negative or longer than any plan may ask for.
    #[error("a wait of {0} is not allowed")]
    Wait(Seconds),
    /// The embedded model bench could not be started.
    #[error("the model bench cannot be started: {0}")]
    Model(String),
}

impl BenchError {
    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            Self::Instrument(error) => error.blame(),
            Self::Refused(refusal) => refusal.blame(),
            Self::Port { error, .. } => error.blame(),
            Self::NotReached { fault, .. } => fault.blame(),
            Self::NoAdapter { .. } | Self::Exchanged { .. } => Blame::Operator,
            Self::Missing(_) | Self::Wait(_) => Blame::Plan,
            Self::NoProfile(_)
            | Self::NotReady { .. }
            | Self::NotTriggered { .. }
            | Self::Unfinished { .. }
            | Self::NotArmed
            | Self::StillOn { .. }
            | Self::Breach { .. }
            | Self::Beyond { .. }
            | Self::Disagree { .. }
            | Self::NotOpen { .. }
            | Self::Restarted { .. }
            | Self::Locked { .. }
            | Self::Model(_) => Blame::Bench,
        }
    }

    /// Whether a port went, as when an adapter is plugged in again.
    pub fn lost_link(&self) -> bool {
        match self {
            Self::Instrument(InstrumentError::Link { .. }) | Self::Port { .. } => true,
            Self::NotReached { fault, .. } => fault.lost_link(),
            _ => false,
        }
    }

    /// Whether the instrument behind it is gone, in a state that nobody knows, or
    /// in one that hurts: nothing more may be tried then.
    pub fn is_gone(&self) -> bool {
        self.lost_link()
            || matches!(
                self,
                Self::StillOn { .. }
                    | Self::Breach { .. }
                    | Self::Beyond { .. }
                    | Self::Disagree { .. }
                    | Self::NotOpen { .. }
                    | Self::Refused(Refusal::Locked { .. })
            )
    }
}
