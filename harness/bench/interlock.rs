//! The interlock: an envelope, what is known of the bench, and permits that
//! are good for one thing in one state. What could flow is the envelope's
//! matter; a permit is the one way to let energy in.

use crate::clock::BenchInstant;
use crate::envelope::{Known, Prospect, Refusal, State, SupplyState, Surroundings};
use crate::scenario::Polarity;
use crate::scenario::intent::Intent;
use crate::units::{Amperes, Seconds};
use std::sync::OnceLock;

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

/// Holds the envelope and what is known of the bench.
#[derive(Clone, Debug)]
pub struct Interlock {
    surroundings: Surroundings,
    state: State,
    revision: u64,
    /// Why nothing is permitted until a person has looked. Making safe does not
    /// end that.
    locked: OnceLock<String>,
}

impl Interlock {
    /// An interlock over a bench of which nothing is known: the supply may be
    /// on. Making it safe tells.
    pub fn new(surroundings: Surroundings) -> Self {
        Self {
            surroundings,
            state: State::UNKNOWN,
            revision: 0,
            locked: OnceLock::new(),
        }
    }

    /// Leave for `intent` in the present state, or why not.
    ///
    /// # Errors
    /// A [`Refusal`].
    pub fn permit(&self, intent: &Intent, now: BenchInstant) -> Result<Permit, Refusal> {
        self.unlocked(intent)?;
        self.prospect(now).check(intent)?;
        Ok(Permit {
            intent: *intent,
            revision: self.revision,
        })
    }

    /// Takes a permit back in for use.
    pub(super) fn redeem(&self, permit: Permit) -> Result<Intent, Refusal> {
        self.unlocked(&permit.intent)?;
        if permit.revision != self.revision {
            let intent = permit.intent.words();
            return Err(Refusal::Stale { intent });
        }
        Ok(permit.intent)
    }

    fn unlocked(&self, intent: &Intent) -> Result<(), Refusal> {
        match self.locked() {
            None => Ok(()),
            Some(why) => Err(Refusal::Locked {
                intent: intent.words(),
                why: why.to_owned(),
            }),
        }
    }

    /// Permits nothing from here on: the first reason stays.
    pub(super) fn lock(&self, why: String) {
        let _ = self.locked.set(why);
    }

    /// Why nothing is permitted, where that is so.
    pub fn locked(&self) -> Option<&str> {
        self.locked.get().map(String::as_str)
    }

    /// A person has looked and mended it.
    pub(super) fn confirm(&mut self) {
        self.locked.take();
    }

    /// Whether there is, or may be, energy in the board.
    pub(super) fn is_energised(&self) -> bool {
        match self.state.supply {
            Known::Sure(supply) => supply.on,
            Known::Unknown => self.state.energised_since.is_some(),
        }
    }

    /// The supply as last confirmed.
    pub(super) fn supply(&self) -> Known<SupplyState> {
        self.state.supply
    }

    /// Whether the load's input is on, as last confirmed.
    pub(super) fn load_on(&self) -> Known<bool> {
        self.state.load_on
    }

    /// Something changed: every permit given before is void.
    pub(super) fn learn(&mut self, change: impl FnOnce(State) -> State) {
        self.state = change(self.state);
        self.revision += 1;
    }

    /// Whether the load may stay on while the output is driven as `drive`.
    pub(super) fn may_drive(&self, drive: Polarity, now: BenchInstant) -> Result<(), Refusal> {
        self.prospect(now).may_drive(drive)
    }

    /// Whether the board may go on as it is for `time` more.
    pub(super) fn may_go_on(&self, time: Seconds, now: BenchInstant) -> Result<(), Refusal> {
        self.prospect(now).may_go_on(time)
    }

    /// The largest current that the supply can be limited to.
    pub(super) fn supply_current(&self) -> Amperes {
        self.surroundings.supply_current()
    }

    /// How long there has been energy in the board.
    pub fn energised_for(&self, now: BenchInstant) -> Seconds {
        self.state.energised_for(now)
    }

    fn prospect(&self, now: BenchInstant) -> Prospect<'_> {
        self.surroundings.prospect(&self.state, now)
    }
}
