//! What is known of the bench, and how it changes: each transition takes a
//! state and gives the next. It neither asks nor decides anything, so a run
//! without a bench goes through the same states as one with it.

use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::scenario::Polarity;
use crate::scenario::intent::Intent;
use crate::units::{Amperes, Seconds, Volts};

/// Something known for sure, or not since trouble.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Known<T> {
    /// As last confirmed.
    Sure(T),
    /// An action's outcome is unknown.
    Unknown,
}

/// The supply as last confirmed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyState {
    /// Whether its output is on.
    pub on: bool,
    /// Its voltage; once it is off, the one that the board's capacitors may
    /// still have.
    pub voltage: Volts,
    /// Its current limit.
    pub limit: Amperes,
}

/// The bench as last confirmed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// The supply.
    pub supply: Known<SupplyState>,
    /// Whether the load's input is on.
    pub load_on: Known<bool>,
    /// How the board's inputs are driven; `None` while they are not.
    pub drive: Known<Option<Polarity>>,
    /// Since when there is energy in the board without a pause.
    pub energised_since: Option<BenchInstant>,
}

impl State {
    /// Nothing is known: the supply may be on. Making the bench safe says more.
    pub const UNKNOWN: Self = Self {
        supply: Known::Unknown,
        load_on: Known::Unknown,
        drive: Known::Unknown,
        energised_since: None,
    };

    /// Everything is off, as after a bench with a supply was opened.
    pub fn at_rest() -> Self {
        Self::UNKNOWN.load_off().supply_off().driven(None)
    }

    /// After `intent` was carried out, which was confirmed at `now`.
    #[must_use]
    pub fn after(self, intent: &Intent, now: BenchInstant) -> Self {
        match *intent {
            Intent::SupplyOn {
                voltage,
                current_limit,
            } => Self {
                supply: Known::Sure(SupplyState {
                    on: true,
                    voltage,
                    limit: current_limit,
                }),
                energised_since: self.energised_since.or(Some(now)),
                ..self
            },
            // While a pulse or ramp runs the load is on, and after a ramp it
            // stays at its end.
            Intent::LoadOn(_)
            | Intent::LoadHold { .. }
            | Intent::LoadPulse { .. }
            | Intent::LoadRamp { .. }
            | Intent::LoadShort { .. } => Self {
                load_on: Known::Sure(true),
                ..self
            },
            // What the switch closes it opens by itself.
            Intent::ShortPulse { .. } | Intent::GapPulse { .. } | Intent::Connect { .. } => self,
        }
    }

    /// After `intent` was tried and it is not known how far that went.
    #[must_use]
    pub fn perhaps_after(self, intent: &Intent, now: BenchInstant) -> Self {
        let after = self.after(intent, now);
        match intent {
            Intent::SupplyOn { .. } => after.unsure_of(Role::Supply),
            Intent::LoadOn(_)
            | Intent::LoadHold { .. }
            | Intent::LoadPulse { .. }
            | Intent::LoadRamp { .. }
            | Intent::LoadShort { .. } => after.unsure_of(Role::Load),
            Intent::ShortPulse { .. } | Intent::GapPulse { .. } | Intent::Connect { .. } => after,
        }
    }

    /// With the supply off: a pause. The bulk capacitors keep their charge for
    /// a while, so its voltage stays.
    #[must_use]
    pub fn supply_off(self) -> Self {
        let voltage = match self.supply {
            Known::Sure(before) => before.voltage,
            Known::Unknown => Volts::ZERO,
        };
        Self {
            supply: Known::Sure(SupplyState {
                on: false,
                voltage,
                limit: Amperes::ZERO,
            }),
            energised_since: None,
            ..self
        }
    }

    /// With the load's input off.
    #[must_use]
    pub fn load_off(self) -> Self {
        Self {
            load_on: Known::Sure(false),
            ..self
        }
    }

    /// With the board's inputs driven so; `None` is not at all.
    #[must_use]
    pub fn driven(self, drive: Option<Polarity>) -> Self {
        Self {
            drive: Known::Sure(drive),
            ..self
        }
    }

    /// With it unknown what the instrument in `role` does. Only supply, load
    /// and drive have a state here.
    #[must_use]
    pub fn unsure_of(mut self, role: Role) -> Self {
        match role {
            Role::Supply => self.supply = Known::Unknown,
            Role::Load => self.load_on = Known::Unknown,
            Role::Drive => self.drive = Known::Unknown,
            Role::Capture | Role::Switch | Role::Console | Role::Thermometer => {}
        }
        self
    }

    /// How long there has been energy in the board without a pause.
    pub fn energised_for(&self, now: BenchInstant) -> Seconds {
        let since = self.energised_since;
        since.map_or(BenchSpan::ZERO, |since| now - since).seconds()
    }
}
