//! What is around a board and does not change during a run: the bench file,
//! what its instruments are made for, and what the plan states of the board.
//! What the bench does at the moment is the state's matter.

use super::account::Account;
use super::prospect::Prospect;
use super::state::State;
use crate::bench_file::{Bench, Closes, Envelope, Loop};
use crate::clock::BenchInstant;
use crate::ident::Role;
use crate::profile::{LoadRange, Profile, SupplyRange, SwitchRange};
use crate::scenario::Ratings;
use crate::units::{Amperes, Farads, Ohms, Volts};
use std::collections::BTreeMap;

/// A quarter of the rated current: well above a board's own appetite and the
/// bleeder, well below any fault (a house value).
const OWN_PART: f64 = 0.25;

/// What the plan states of the board, as far as it can hurt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardFacts {
    /// Capacitance on its supply rail.
    pub bulk_capacitance: Farads,
    /// Least resistance from there to the output terminals.
    pub source_resistance: Ohms,
    /// The current it carries for ever.
    pub rated_current: Amperes,
}

impl From<&Ratings> for BoardFacts {
    fn from(ratings: &Ratings) -> Self {
        Self {
            bulk_capacitance: ratings.bulk_capacitance,
            source_resistance: ratings.source_resistance,
            rated_current: ratings.rated_current,
        }
    }
}

/// Everything around the board that does not change during a run.
#[derive(Clone, Debug)]
pub struct Surroundings {
    pub(super) bench: Bench,
    pub(super) board: BoardFacts,
    pub(super) supply: Option<SupplyRange>,
    pub(super) load: Option<LoadRange>,
    pub(super) switch: Option<SwitchRange>,
    pub(super) switch_ends_pulses: bool,
    pub(super) load_ends_shorts: bool,
}

impl Surroundings {
    /// The bench, its instruments' profiles, and the board.
    pub fn new(bench: &Bench, profiles: &BTreeMap<Role, Profile>, board: BoardFacts) -> Self {
        let profile = |role| profiles.get(&role);
        let switch = profile(Role::Switch);
        Self {
            bench: bench.clone(),
            board,
            supply: profile(Role::Supply)
                .and_then(Profile::supply_range)
                .copied(),
            load: profile(Role::Load).and_then(Profile::load_range).copied(),
            switch: switch.and_then(Profile::switch_range).copied(),
            load_ends_shorts: profile(Role::Load)
                .is_some_and(|p| p.command("short_pulse").is_some()),
            switch_ends_pulses: switch.is_some_and(|p| p.command("pulse").is_some()),
        }
    }

    /// What may be done in `state` at `now`.
    pub fn prospect<'a>(&'a self, state: &'a State, now: BenchInstant) -> Prospect<'a> {
        Prospect {
            surroundings: self,
            state,
            now,
        }
    }

    /// The loop that `closes` closes while the board's rail is at `supply`.
    pub(super) fn closed(&self, closes: Closes, supply: Volts) -> Option<Loop> {
        let source = self.board.source_resistance;
        self.bench.closed_loop(closes, supply, source)
    }

    /// The most that may ever occur.
    pub fn envelope(&self) -> Envelope {
        self.bench.envelope
    }

    /// What has flowed, by what is measured from now on.
    pub fn account(&self) -> Account {
        Account::new(self.envelope(), self.board.rated_current * OWN_PART)
    }

    /// The largest current that the supply can be limited to.
    pub fn supply_current(&self) -> Amperes {
        let most = self.bench.envelope.current;
        self.supply.map_or(most, |range| range.current.min(most))
    }

    /// Whether a rectifier stands in front of the load.
    pub fn load_is_rectified(&self) -> bool {
        self.bench.wiring.rectifier_drop > Volts::ZERO
    }
}
