//! The bench: its instruments, its clock, and the interlock that every energy
//! passes. It knows no limit and no verdict; what a scenario may do to the
//! board goes through [`Bench::energise`], and nothing else lets energy in.

mod actions;
mod between;
mod clock;
mod fault;
pub mod guardian;
mod interlock;
mod meters;
mod open;
mod proof;
mod roles;
mod safe;
mod taking;
mod told;
mod watch;

#[cfg(test)]
mod account_tests;
#[cfg(test)]
mod lying_tests;
#[cfg(test)]
mod restart_tests;
#[cfg(test)]
mod tests;

pub use clock::{BenchClock, LONGEST_WAIT};
pub use fault::BenchError;
pub use interlock::{Interlock, Permit};
pub use open::{Alone, Connection, Identified};
use told::Told;

use crate::bench_file::{self, CaptureWiring};
use crate::clock::BenchInstant;
use crate::envelope::Account;
use crate::ident::Role;
use crate::instruments::{Measured, Session};
use crate::link::Person;
use crate::model_bench::{MODEL_MARK, ModelBench};
use crate::profile::Profile;
use crate::scenario::acquisition::CaptureRequest;
use crate::units::Seconds;
use std::collections::BTreeMap;
use std::sync::Mutex;
use tokio::sync::broadcast;

/// A bench with its instruments open and identified.
pub struct Bench {
    file: bench_file::Bench,
    clock: BenchClock,
    interlock: Interlock,
    /// Its instruments by what they are, in the order in which they are opened.
    sessions: BTreeMap<Role, Session>,
    wiring: CaptureWiring,
    identified: Vec<Identified>,
    armed: Option<CaptureRequest>,
    /// What each instrument was told last.
    told: Told,
    /// What has flowed by what was measured.
    account: Mutex<Account>,
    /// Who is asked where there is no instrument, on a bench of ports.
    person: Option<Person>,
    /// Who is shown what the meters read while it is watched.
    shown: Option<broadcast::Sender<Shown>>,
    /// Kept last: its wires serve the instruments above.
    model: Option<ModelBench>,
}

/// A reading of a meter while the bench is watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// When it was had.
    pub at: BenchInstant,
    /// Which meter.
    pub meter: Watched,
    /// What it read, in SI units.
    pub value: f64,
}

/// The meters of a look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Watched {
    /// The voltage of the supply.
    SupplyVoltage,
    /// The current of the supply.
    SupplyCurrent,
    /// The current of the load.
    LoadCurrent,
}

impl Bench {
    /// From now on whatever the watching meters read is shown to `shown` as well.
    /// Who does not keep up misses the oldest.
    pub fn show_meters_to(&mut self, shown: broadcast::Sender<Shown>) {
        self.shown = Some(shown);
    }

    /// Shows a reading to whoever looks.
    fn show(&self, meter: Watched, measured: Measured) {
        if let (Some(shown), Some(value)) = (&self.shown, measured.reading.value()) {
            let at = self.now();
            // Nobody may be looking.
            let _ = shown.send(Shown { at, meter, value });
        }
    }

    /// What the bench file states.
    pub fn file(&self) -> &bench_file::Bench {
        &self.file
    }

    /// Every instrument as it identified itself, in port order.
    pub fn identified(&self) -> &[Identified] {
        &self.identified
    }

    /// Whether any of its instruments is a model: the embedded bench's, or one
    /// behind a port that says so of itself.
    pub fn is_model(&self) -> bool {
        let says_so = |found: &Identified| found.identity.contains(MODEL_MARK);
        self.is_embedded() || self.identified.iter().any(says_so)
    }

    /// Whether its instruments live in this program and end with it.
    pub fn is_embedded(&self) -> bool {
        self.model.is_some()
    }

    /// The model bench, where the instruments are models.
    pub fn model(&self) -> Option<&ModelBench> {
        self.model.as_ref()
    }

    /// What the person at the bench did and read since this was asked last.
    pub fn told(&self) -> Vec<String> {
        self.person.as_ref().map(Person::told).unwrap_or_default()
    }

    /// Whether a person answers for `role`.
    pub(super) fn is_attended(&self, role: Role) -> bool {
        self.session(role)
            .is_some_and(|session| session.port().is_attended())
    }

    /// Whether there is an instrument in `role`.
    pub fn has(&self, role: Role) -> bool {
        self.sessions.contains_key(&role)
    }

    /// The profile of the instrument in `role`.
    pub fn profile(&self, role: Role) -> Option<&Profile> {
        self.session(role).map(|session| session.profile().as_ref())
    }

    /// The bench clock.
    pub fn clock(&self) -> &BenchClock {
        &self.clock
    }

    /// The present bench time.
    pub fn now(&self) -> BenchInstant {
        self.clock.now()
    }

    /// Waits for `time` on the bench clock. A board with energy in it is not
    /// waited for beyond the envelope's longest time, and is watched meanwhile.
    ///
    /// # Errors
    /// [`BenchError::Wait`] when it is negative or too long,
    /// [`BenchError::Refused`] when the envelope would be outlasted,
    /// [`BenchError::Breach`] or [`BenchError::Restarted`] when something is found.
    pub async fn wait(&self, time: Seconds) -> Result<(), BenchError> {
        self.may_go_on(time)?;
        self.watched_wait(time).await
    }

    /// Whether the board may go on as it is for `time` more, as something that
    /// takes so long would need.
    ///
    /// # Errors
    /// [`BenchError::Refused`] when the envelope would be outlasted.
    pub fn may_go_on(&self, time: Seconds) -> Result<(), BenchError> {
        Ok(self.interlock.may_go_on(time, self.now())?)
    }

    /// Why the interlock permits nothing more, where it does not.
    pub fn locked(&self) -> Option<&str> {
        self.interlock.locked()
    }

    /// A person has looked at the bench and says that what locked it is mended:
    /// the interlock may permit again what it knows to be safe.
    pub fn confirm(&mut self) {
        self.interlock.confirm();
    }

    /// How long there has been energy in the board without a pause.
    pub fn energised_for(&self) -> Seconds {
        self.interlock.energised_for(self.now())
    }
}
