//! What decides which linear circuit is in force: supply, bridge, rectifiers,
//! load and contacts. Its equations are written in `mode`.

use super::bridge::Bridge;
use super::signal::Polarity;
use std::hash::{Hash, Hasher};

/// Voltage of the clamp that takes over when a contact opens under current.
pub(super) const CLAMP: f64 = 40.0;

/// Below this bulk voltage the logic draws like a resistor instead of a
/// constant current, so that a dead board does not pull its rail negative.
pub(super) const LOGIC_FLOOR: f64 = 1.0;

/// What the supply does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum SupplyMode {
    /// Holds its voltage behind its resistance.
    Voltage,
    /// Holds its current limit.
    Limit,
    /// Holds a limit that falls with its voltage.
    Foldback,
    /// Delivers nothing: off, or the rail stands higher.
    Blocked,
}

/// What a rectifier on the node does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Rectifier {
    /// Nothing flows.
    Blocked,
    /// It conducts, the node being of this polarity.
    Conducting(Polarity),
}

impl Rectifier {
    /// The sign in which it conducts, zero where it does not.
    pub(super) fn sign(self) -> f64 {
        match self {
            Self::Blocked => 0.0,
            Self::Conducting(polarity) => polarity.sign(),
        }
    }
}

/// What the load's stage does behind its input capacitance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Stage {
    /// The relay at its input is open.
    Off,
    /// It draws what its loop asks for.
    Regulated,
    /// There is less voltage than that takes: it is its least resistance, and
    /// the loop winds up.
    Saturated,
    /// The same, wound up to its end.
    Ceiling,
    /// It is a resistance, in ohms, as bits.
    Resistance(u64),
}

/// What a switched branch does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Contact {
    /// Carries nothing.
    Open,
    /// Conducts.
    Closed,
    /// Has opened under a current of this sign, which the clamp takes down.
    Clamped(Polarity),
}

/// Everything that decides which linear circuit is in force.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Key {
    pub(super) supply: SupplyMode,
    /// Open voltage, as bits.
    pub(super) voltage: u64,
    /// Current limit, as bits.
    pub(super) limit: u64,
    pub(super) bridge: Bridge,
    /// Junction temperature over 25 degC in bins.
    pub(super) bin: i16,
    /// The body diodes keep the rail from going negative.
    pub(super) rail_clamped: bool,
    /// The logic draws its constant current.
    pub(super) logic_awake: bool,
    /// The rectifier in front of the load.
    pub(super) load: Rectifier,
    pub(super) stage: Stage,
    /// The load hangs on the supply rail.
    pub(super) on_supply: bool,
    /// The capacitor bank is on the node.
    pub(super) banked: bool,
    /// The rectifier in front of it.
    pub(super) bank: Rectifier,
    /// The resistor bank is on the node.
    pub(super) resistor: bool,
    /// Slope of the load's set current in amperes per second, as bits.
    pub(super) slope: u64,
    pub(super) near: Contact,
    pub(super) far: Contact,
    pub(super) gap: Contact,
    /// Polarity the upstream source applies at the gap; `None` when it is dead
    /// or nothing is connected.
    pub(super) upstream: Option<Polarity>,
}

impl Hash for Key {
    /// Of what tells most circuits apart; the rest is left to the comparison.
    fn hash<H: Hasher>(&self, hasher: &mut H) {
        (self.bridge, self.load, self.bank, self.bin).hash(hasher);
        (self.supply, self.voltage, self.stage, self.slope).hash(hasher);
        (self.near, self.far, self.upstream).hash(hasher);
    }
}
