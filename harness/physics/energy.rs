//! Where energy can flow at the present, told by switches and contacts as they
//! really stand, and contacts that part no more. It knows no command: what an
//! instrument was asked for, or says of itself, is not looked at.

use super::action::SwitchBranch;
use super::circuit::Circuit;
use super::observed::LoadKind;

/// What really feeds or loads the board at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Energy {
    /// The supply's output is on, at more than nothing.
    pub supply: bool,
    /// The electronic load is connected.
    pub load: bool,
    /// The contact of a short touches.
    pub short: bool,
    /// The gap to the upstream source is bridged.
    pub gap: bool,
}

impl Energy {
    /// Whether anything that can hurt is connected to the board. A short alone
    /// is a wire.
    ///
    /// ```
    /// use bufferstop::model_board::{BoardParameters, FixtureParameters};
    /// use bufferstop::physics::{Action, Circuit, SwitchBranch};
    ///
    /// let mut circuit = Circuit::new(&BoardParameters::default(), &FixtureParameters::default())?;
    /// circuit.apply(Action::Weld(SwitchBranch::Near));
    /// assert!(circuit.energy().short && !circuit.energy().is_there());
    /// circuit.apply(Action::Close(SwitchBranch::GapStraight));
    /// assert!(circuit.energy().is_there());
    /// # Ok::<(), bufferstop::physics::PhysicsFault>(())
    /// ```
    pub fn is_there(self) -> bool {
        self.supply || self.load || self.gap
    }
}

impl Circuit {
    /// What really feeds or loads the board now.
    pub fn energy(&self) -> Energy {
        let switches = &self.switches;
        let settings = &switches.settings;
        Energy {
            supply: settings.supply_on && settings.supply_voltage > 0.0,
            load: settings.load != LoadKind::Off,
            short: switches.contacts.iter().any(|contact| contact.touching),
            gap: switches.gap.bridged.is_some(),
        }
    }

    /// Makes a contact touch for good; what is no contact stays as it is.
    pub(super) fn weld(&mut self, branch: SwitchBranch) {
        let switches = &mut self.switches;
        let timers = &mut switches.timers;
        let [near, far] = &mut switches.contacts;
        match branch {
            SwitchBranch::Near => near.weld(timers),
            SwitchBranch::Far => far.weld(timers),
            SwitchBranch::GapStraight => switches.gap.weld(false, timers),
            SwitchBranch::GapCrossed => switches.gap.weld(true, timers),
            SwitchBranch::Bank | SwitchBranch::Resistor | SwitchBranch::SupplyLoad => {}
        }
    }
}
