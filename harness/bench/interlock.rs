//! What may be done to the board: an intent is held against the envelope and
//! the bench's known state, prospectively, as if the board never tripped. It
//! does nothing itself; a permit is the one way to let energy in.

use super::prospect::{Prospect, Surroundings};
use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::measurement::Blame;
use crate::scenario::Polarity;
use crate::scenario::intent::Intent;
use crate::units::{AmpereSquareSeconds, Amperes, Joules, Seconds, Volts};

/// Leave to do one thing once, in the state of the bench in which it was
/// asked for. Only [`Interlock::permit`] makes one.
#[derive(Debug)]
pub struct Permit {
    intent: Intent,
    revision: u64,
}

impl Permit {
    /// What it is for.
    pub fn intent(&self) -> &Intent {
        &self.intent
    }
}

/// Why an intent is not permitted, with the numbers.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Too much current could flow.
    #[error("refused: {intent}: {prospective} could flow, the envelope allows {most}")]
    Current {
        /// What was asked for.
        intent: String,
        /// What could flow.
        prospective: Amperes,
        /// The envelope.
        most: Amperes,
    },
    /// Too large a let-through.
    #[error(
        "refused: {intent}: without a trip {prospective} would pass, the envelope allows {most}"
    )]
    LetThrough {
        /// What was asked for.
        intent: String,
        /// What would pass.
        prospective: AmpereSquareSeconds,
        /// The envelope.
        most: AmpereSquareSeconds,
    },
    /// Too much energy.
    #[error(
        "refused: {intent}: without a trip {prospective} would be freed, the envelope allows {most}"
    )]
    Energy {
        /// What was asked for.
        intent: String,
        /// What would be freed.
        prospective: Joules,
        /// The envelope.
        most: Joules,
    },
    /// Too high a voltage.
    #[error(
        "refused: {intent}: {prospective} could stand between two rails, the envelope allows {most}"
    )]
    Voltage {
        /// What was asked for.
        intent: String,
        /// What could stand there.
        prospective: Volts,
        /// The envelope.
        most: Volts,
    },
    /// Too long without a pause.
    #[error(
        "refused: {intent}: {would} with energy in the board without a pause, the envelope allows {most}"
    )]
    Time {
        /// What was asked for.
        intent: String,
        /// How long it would be.
        would: Seconds,
        /// The envelope.
        most: Seconds,
    },
    /// More than the instrument is made for.
    #[error("refused: {intent}: that is more than the {role} is made for ({most})")]
    Range {
        /// What was asked for.
        intent: String,
        /// The instrument.
        role: Role,
        /// Its end, as text.
        most: String,
    },
    /// The switch cannot end the closure by itself.
    #[error("refused: {intent}: the switch does not end such a closure by itself ({why})")]
    NotTimed {
        /// What was asked for.
        intent: String,
        /// Why not.
        why: String,
    },
    /// Without a rectifier a load conducts like a short when reversed.
    #[error(
        "refused: {intent}: without a rectifier the load bears the positive polarity only, and the output is {drive}"
    )]
    LoadWiring {
        /// What was asked for.
        intent: String,
        /// How the output is driven.
        drive: String,
    },
    /// A load that draws a current must not be moved.
    #[error("refused: {intent}: the load is moved only while it is off")]
    LoadDraws {
        /// What was asked for.
        intent: String,
    },
    /// An instrument's state is unknown since something went wrong.
    #[error("refused: {intent}: it is not known what the {role} does; make the bench safe first")]
    Unknown {
        /// What was asked for.
        intent: String,
        /// The instrument.
        role: Role,
    },
    /// The bench has no such instrument or branch.
    #[error("refused: {intent}: the bench has no {what}")]
    Lacks {
        /// What was asked for.
        intent: String,
        /// What is missing.
        what: String,
    },
    /// A number that is negative, or a duration of zero.
    #[error("refused: {intent}: that is no sensible amount")]
    Senseless {
        /// What was asked for.
        intent: String,
    },
    /// The bench has changed since the permit was given.
    #[error("refused: {intent}: the bench has changed since this was permitted")]
    Stale {
        /// What was asked for.
        intent: String,
    },
}

impl Refusal {
    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            Self::Unknown { .. } | Self::Stale { .. } => Blame::Bench,
            _ => Blame::Plan,
        }
    }
}

/// Something known for sure, or not since trouble.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Known<T> {
    /// As last confirmed.
    Sure(T),
    /// An action's outcome is unknown.
    Unknown,
}

/// The supply as last confirmed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SupplyState {
    pub(super) on: bool,
    pub(super) voltage: Volts,
    pub(super) limit: Amperes,
}

/// The bench as last confirmed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct State {
    pub(super) supply: Known<SupplyState>,
    pub(super) load_on: Known<bool>,
    pub(super) drive: Known<Option<Polarity>>,
    /// Since when there is energy in the board without a pause.
    pub(super) energised_since: Option<BenchInstant>,
}

/// Holds the envelope and what is known of the bench.
#[derive(Clone, Debug)]
pub struct Interlock {
    surroundings: Surroundings,
    state: State,
    revision: u64,
}

impl Interlock {
    /// An interlock over a bench of which nothing is known: the supply may be
    /// on. Making it safe tells.
    pub fn new(surroundings: Surroundings) -> Self {
        Self {
            surroundings,
            state: State {
                supply: Known::Unknown,
                load_on: Known::Unknown,
                drive: Known::Unknown,
                energised_since: None,
            },
            revision: 0,
        }
    }

    /// Leave for `intent` in the present state, or why not.
    ///
    /// # Errors
    /// A [`Refusal`].
    pub fn permit(&self, intent: &Intent, now: BenchInstant) -> Result<Permit, Refusal> {
        let prospect = Prospect {
            surroundings: &self.surroundings,
            state: &self.state,
            intent,
        };
        prospect.check(now)?;
        Ok(Permit {
            intent: *intent,
            revision: self.revision,
        })
    }

    /// Takes a permit back in for use.
    pub(super) fn redeem(&self, permit: Permit) -> Result<Intent, Refusal> {
        if permit.revision != self.revision {
            let intent = permit.intent.words();
            return Err(Refusal::Stale { intent });
        }
        Ok(permit.intent)
    }

    /// Something changed: every permit given before is void.
    pub(super) fn learn(&mut self, change: impl FnOnce(&mut State)) {
        change(&mut self.state);
        self.revision += 1;
    }

    /// Whether the load may stay on while the output is driven as `drive`.
    pub(super) fn may_drive(&self, drive: Polarity) -> Result<(), Refusal> {
        let bipolar = self.surroundings.load_is_rectified();
        if bipolar || drive == Polarity::Positive || self.state.load_on == Known::Sure(false) {
            return Ok(());
        }
        Err(Refusal::LoadWiring {
            intent: format!("output {}", drive.word()),
            drive: drive.word().to_owned(),
        })
    }

    /// Whether the board may go on as it is for `time` more: what an intent has
    /// begun ends by itself only where it is a pulse, so every wait asks.
    pub(super) fn may_go_on(&self, time: Seconds, now: BenchInstant) -> Result<(), Refusal> {
        let most = self.surroundings.envelope().seconds;
        let would = self.energised_for(now) + time;
        if self.state.energised_since.is_none() || would <= most {
            return Ok(());
        }
        Err(Refusal::Time {
            intent: format!("{time} more"),
            would,
            most,
        })
    }

    /// How long there has been energy in the board.
    pub fn energised_for(&self, now: BenchInstant) -> Seconds {
        let since = self.state.energised_since;
        since.map_or(BenchSpan::ZERO, |since| now - since).seconds()
    }
}
