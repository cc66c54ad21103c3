//! The vocabulary of the circuit: what can be done to it, what can be looked
//! at, and where it shows a logic line. Nothing here computes.

use super::signal::{DriveSignal, InputLine};
use crate::clock::BenchSpan;
use crate::units::{Amperes, Ohms, Volts};
use crate::waveform::LogicLine;

/// What the electronic load is asked to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LoadMode {
    /// Nothing.
    Off,
    /// Draw a constant current, as far as the voltage allows.
    Current(Amperes),
    /// Be a resistance behind the rectifier.
    Resistance(Ohms),
}

/// A channel of the switch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SwitchBranch {
    /// The hard short beside the board.
    Near,
    /// The short at the far end of the bus.
    Far,
    /// The gaps to the upstream source, like wire to like wire.
    GapStraight,
    /// The gaps to the upstream source, wires crossed.
    GapCrossed,
    /// The rectified capacitors with their bleeder.
    Bank,
    /// The resistor straight on the node.
    Resistor,
    /// The electronic load on the supply rail instead of the node.
    SupplyLoad,
}

/// Something done to the circuit at an instant.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Set the supply's open voltage and current limit.
    SupplySetting {
        /// Open voltage.
        voltage: Volts,
        /// Current limit.
        current_limit: Amperes,
    },
    /// Switch the supply's output.
    SupplyOutput(bool),
    /// Set the load; a current follows its slew rate.
    Load(LoadMode),
    /// Set the load for a time; afterwards it returns to zero and is off.
    LoadPulse {
        /// What to do during the pulse.
        mode: LoadMode,
        /// For how long.
        duration: BenchSpan,
    },
    /// Ramp the load's current; it stays at `to` afterwards.
    LoadRamp {
        /// Current at the start.
        from: Amperes,
        /// Current at the end.
        to: Amperes,
        /// Time from one to the other.
        duration: BenchSpan,
    },
    /// Close a channel, which opens again by itself.
    ClosePulse {
        /// Which one.
        branch: SwitchBranch,
        /// For how long.
        duration: BenchSpan,
    },
    /// Close a channel.
    Close(SwitchBranch),
    /// Open a channel.
    Open(SwitchBranch),
    /// Open every channel.
    OpenAll,
    /// Weld the contact of a channel: it touches from now on, whatever is asked
    /// of it and whether or not the supply is off. Only shorts and gaps weld.
    Weld(SwitchBranch),
    /// Set the input signal of the board and of the upstream source.
    Drive(DriveSignal),
    /// Break one line of the board's input, which then rests low; `None` mends.
    Break(Option<InputLine>),
    /// The board's enable input.
    Enable(bool),
    /// The board's brake input.
    Brake(bool),
}

/// A quantity of the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Probe {
    /// Voltage across the two-wire node, rail to rail.
    NodeVoltage,
    /// Current out of the board into the node, where the shunt sits.
    OutputCurrent,
    /// The board's supply rail.
    BoardRail,
    /// Voltage at the supply's own terminals.
    SupplyVoltage,
    /// Current out of the supply.
    SupplyCurrent,
    /// Voltage at the load behind its rectifier, across its input capacitance.
    LoadVoltage,
    /// Current through the load, as a magnitude.
    LoadCurrent,
    /// Voltage across the capacitor bank.
    BankVoltage,
    /// Current through both shorts together.
    ShortCurrent,
    /// Current from the node into the upstream source.
    GapCurrent,
    /// The upstream source's voltage, zero when it is off.
    UpstreamVoltage,
    /// The board's sense voltage behind its filter.
    SenseVoltage,
}

/// The bit of a logic line in a segment's line word.
pub(super) const fn bit(line: LogicLine) -> u16 {
    1 << line as u16
}
