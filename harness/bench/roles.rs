//! The instruments of a bench as what they are: each a view of the session in its
//! role. A role that is only asked needs none; what may energise the board is called
//! from the interlock's side alone.

use super::Bench;
use super::fault::BenchError;
use crate::bench_file::{Closer, Closes};
use crate::ident::Role;
use crate::instruments::{
    CaptureDevice, Console, Drive, Load, Session, Supply, Switch, Thermometer,
};

impl Bench {
    pub(super) fn session(&self, role: Role) -> Option<&Session> {
        self.sessions.get(&role)
    }

    fn needed(&self, role: Role) -> Result<&Session, BenchError> {
        self.session(role).ok_or(BenchError::Missing(role))
    }

    pub(super) fn supply(&self) -> Result<Supply<'_>, BenchError> {
        self.needed(Role::Supply).map(Supply::new)
    }

    pub(super) fn load(&self) -> Result<Load<'_>, BenchError> {
        self.needed(Role::Load).map(Load::new)
    }

    pub(super) fn capture(&self) -> Result<CaptureDevice<'_>, BenchError> {
        let session = self.needed(Role::Capture)?;
        Ok(CaptureDevice::new(session, &self.wiring))
    }

    pub(super) fn switch(&self) -> Result<Switch<'_>, BenchError> {
        self.needed(Role::Switch).map(Switch::new)
    }

    pub(super) fn drive(&self) -> Result<Drive<'_>, BenchError> {
        self.needed(Role::Drive).map(Drive::new)
    }

    pub(super) fn console(&self) -> Result<Console<'_>, BenchError> {
        self.needed(Role::Console).map(Console::new)
    }

    pub(super) fn thermometer(&self) -> Result<Thermometer<'_>, BenchError> {
        self.needed(Role::Thermometer).map(Thermometer::new)
    }

    /// The number of the switch's channel that closes `closes`.
    pub(super) fn branch(&self, closes: Closes) -> Result<u32, BenchError> {
        match self.file.branch(closes).map(|branch| branch.closer) {
            Some(Closer::Switch(number)) => Ok(number),
            Some(Closer::Load) | None => Err(BenchError::Missing(Role::Switch)),
        }
    }
}
