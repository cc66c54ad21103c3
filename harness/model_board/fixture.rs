//! What stands around a model board, as numbers: supply, leads, load, shorts
//! and the second booster. Plain values, like the board's own.

use crate::units::{
    Amperes, AmperesPerSecond, Celsius, Farads, Henries, Ohms, Ratio, Seconds, Volts,
};
use serde::{Deserialize, Serialize};

/// What a supply does when more is asked of it than it gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SupplyKind {
    /// It holds its current limit.
    ConstantCurrent,
    /// Its limit falls in a line with its voltage.
    Foldback,
    /// It rests for a while and tries again.
    Hiccup,
}

impl SupplyKind {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("constant current", Self::ConstantCurrent),
        ("foldback", Self::Foldback),
        ("hiccup", Self::Hiccup),
    ];
}

/// What is peculiar to a supply.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SupplyBehaviour {
    /// What it does at its limit.
    pub kind: SupplyKind,
    /// The most it gives whatever it is set to.
    pub own_limit: Amperes,
    /// What a folding supply still gives into nothing.
    pub foldback_current: Amperes,
    /// How long a resting supply bears its limit before it rests ...
    pub hiccup_on: Seconds,
    /// ... and how long it rests.
    pub hiccup_off: Seconds,
}

/// Capacitors behind a rectifier on the node, like the lamps and decoders of
/// a whole layout.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CapacitorBank {
    /// All of them.
    pub capacitance: Farads,
    /// In series with them.
    pub resistance: Ohms,
    /// Across them.
    pub bleeder: Ohms,
    /// Forward drop of the rectifier.
    pub drop: Volts,
}

/// A branch that a switch channel connects across the node.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Branch {
    /// Loop resistance.
    pub resistance: Ohms,
    /// Loop inductance.
    pub inductance: Henries,
}

/// By what way the current through a bridged gap comes back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GapReturn {
    /// By the other gap, the supplies being isolated.
    OtherGap,
    /// By the negative that both supplies share: one gap is bridged, that in
    /// line A's wire.
    CommonNegative,
    /// By none: one gap between isolated supplies.
    Nowhere,
}

/// The second booster behind the section gaps.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Upstream {
    /// Its output voltage, following the same signal.
    pub voltage: Volts,
    /// Its output resistance and the gap's together, and the loop inductance.
    pub branch: Branch,
    /// How the current through it comes back.
    pub returns: GapReturn,
    /// Current at which it trips.
    pub trip_current: Amperes,
    /// How long the current must last.
    pub trip_time: Seconds,
}

/// How the model short misbehaves, where a defect is planted in the fixture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ContactDefect {
    /// The contact stays closed after a pulse until the supply is off.
    Welded,
    /// The fuse is blown: the marker closes, the circuit does not.
    FuseBlown,
}

/// Everything between the supply's terminals and the board, and everything on
/// the node.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FixtureParameters {
    /// Supply source and lead resistance.
    pub supply_resistance: Ohms,
    /// Resistance between the board's output and the node (leads and shunt).
    pub lead_resistance: Ohms,
    /// Inductance of those leads.
    pub lead_inductance: Henries,
    /// The known bleeder on the node.
    pub bleeder: Ohms,
    /// Damping network on the node: its resistance ...
    pub snubber_resistance: Ohms,
    /// ... and its capacitance.
    pub snubber_capacitance: Farads,
    /// What is peculiar to the supply.
    pub supply: SupplyBehaviour,
    /// Temperature around the board.
    pub ambient: Celsius,
    /// Forward drop of the whole rectifier in front of the load.
    pub rectifier_drop: Volts,
    /// Slope resistance of the rectifier, with the load's leads.
    pub rectifier_resistance: Ohms,
    /// Capacitance at the load's input, behind the rectifier and the relay that
    /// is open while the input is off.
    pub load_capacitance: Farads,
    /// Least resistance of the load: a current takes that much voltage.
    pub load_saturation: Ohms,
    /// Time constant of the load's current loop.
    pub load_response: Seconds,
    /// Current that the loop asks for at most, when it has wound up.
    pub load_ceiling: Amperes,
    /// How fast the load's set current follows a new setting.
    pub load_slew: AmperesPerSecond,
    /// The bank of capacitors behind a rectifier.
    pub bank: CapacitorBank,
    /// The resistor bank.
    pub resistor: Ohms,
    /// The hard short near the board.
    pub near: Branch,
    /// The short at the far end of the bus.
    pub far: Branch,
    /// The second booster.
    pub upstream: Upstream,
    /// Contact bounce: the closed contact opens once at `bounce_at` after it
    /// closed, for `bounce_for`. Zero means no bounce.
    pub bounce_at: Seconds,
    /// See `bounce_at`.
    pub bounce_for: Seconds,
    /// A defect of the shorting contact.
    pub contact_defect: Option<ContactDefect>,
    /// How much of its stated accuracy each model instrument errs by at most:
    /// one as specified, zero not at all.
    pub instrument_errors: Ratio,
    /// Noise of the model instruments' readings, one as usual, zero none.
    pub instrument_noise: Ratio,
}

impl Default for FixtureParameters {
    /// A bench as a small workshop has it: leads, loads and times of these
    /// sizes are common practice, no source.
    fn default() -> Self {
        Self {
            supply_resistance: Ohms::new(0.050),
            lead_resistance: Ohms::new(0.020),
            lead_inductance: Henries::new(1.0e-6),
            bleeder: Ohms::new(1000.0),
            snubber_resistance: Ohms::new(100.0),
            snubber_capacitance: Farads::new(10e-9),
            supply: SupplyBehaviour {
                kind: SupplyKind::ConstantCurrent,
                own_limit: Amperes::new(1e15),
                foldback_current: Amperes::new(0.5),
                hiccup_on: Seconds::new(0.010),
                hiccup_off: Seconds::new(0.5),
            },
            ambient: Celsius::new(25.0),
            rectifier_drop: Volts::new(1.6),
            rectifier_resistance: Ohms::new(0.050),
            load_capacitance: Farads::new(10e-9),
            load_saturation: Ohms::new(0.10),
            load_response: Seconds::new(5e-6),
            load_ceiling: Amperes::new(30.0),
            load_slew: AmperesPerSecond::new(1.0e6),
            bank: CapacitorBank {
                capacitance: Farads::new(2200e-6),
                resistance: Ohms::new(0.5),
                bleeder: Ohms::new(470.0),
                drop: Volts::new(1.4),
            },
            resistor: Ohms::new(5.6),
            near: Branch {
                resistance: Ohms::new(0.040),
                inductance: Henries::new(0.5e-6),
            },
            far: Branch {
                resistance: Ohms::new(0.330),
                inductance: Henries::new(12e-6),
            },
            upstream: Upstream {
                voltage: Volts::new(17.0),
                branch: Branch {
                    resistance: Ohms::new(0.400),
                    inductance: Henries::new(4e-6),
                },
                returns: GapReturn::OtherGap,
                trip_current: Amperes::new(10.0),
                trip_time: Seconds::new(0.060),
            },
            bounce_at: Seconds::new(40e-6),
            bounce_for: Seconds::new(25e-6),
            contact_defect: None,
            instrument_errors: Ratio::new(1.0),
            instrument_noise: Ratio::new(1.0),
        }
    }
}
