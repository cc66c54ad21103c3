//! The parts a bench file names: plain checked values. How they are read is
//! said in `parse`, how they must fit together in `sound`.

use crate::ident::Role;
use crate::ident::words;
use crate::units::{
    AmpereSquareSeconds, Amperes, Farads, Henries, Joules, Ohms, Ratio, Seconds, Volts,
};

/// Where an instrument is reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Port {
    /// A device path.
    Path(String),
    /// A socket, as `host:port`.
    Tcp(String),
    /// A character device, or a local socket, over which whole messages go.
    Usbtmc(String),
    /// A USB serial adapter.
    Usb {
        /// Vendor number.
        vendor: u16,
        /// Product number.
        product: u16,
        /// Serial number, where two like adapters are plugged in.
        serial: Option<String>,
    },
    /// No instrument: the person at the bench does and reads what is asked for.
    Person,
    /// A signal source that always sends, as a person describes it.
    External(String),
    /// An instrument of the embedded model bench.
    Model,
}

impl Port {
    /// The port that a person names: a device path, else the address of a socket.
    pub fn named(text: &str) -> Self {
        // So the kernel calls the instruments that take messages.
        if text.starts_with("/dev/usbtmc") {
            Self::Usbtmc(text.to_owned())
        } else if text.contains(':') && !text.starts_with('/') {
            Self::Tcp(text.to_owned())
        } else {
            Self::Path(text.to_owned())
        }
    }
}

/// Which profile an instrument follows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ProfileRef {
    /// One that comes with the program.
    Shipped(String),
    /// A file, as written; relative to the bench file.
    Path(String),
}

words! {
    /// What an instrument's low side is connected to, its serial port included.
    Net {
        /// To nothing but its own terminals.
        Isolated = "isolated",
        /// To protective earth.
        Earth = "earth",
        /// To the negative of the board's supply.
        Negative = "negative",
    }
}

words! {
    /// Where a thermometer's probe is.
    Probed {
        /// On the board's heat sink.
        HeatSink = "heat sink",
        /// In the air around the bench.
        Ambient = "ambient",
    }
}

/// When an instrument was calibrated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Calibration {
    /// The day of it.
    pub on: jiff::civil::Date,
    /// The day after which it no longer holds.
    pub due: jiff::civil::Date,
    /// The certificate's number.
    pub certificate: String,
}

/// An instrument on its port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instrument {
    /// What it is on the bench.
    pub role: Role,
    /// Where it is reached.
    pub port: Port,
    /// How it is talked to.
    pub profile: ProfileRef,
    /// What its low side shares.
    pub net: Net,
    /// Where its probe is; only a thermometer's is anywhere but on the heat sink.
    pub at: Probed,
    /// Its calibration, where it has one.
    pub calibration: Option<Calibration>,
}

/// The sensor in the output wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurrentSensor {
    /// What its output is for one ampere, as a resistance.
    pub scale: Ohms,
    /// Standard uncertainty of that, relative.
    pub uncertainty: Ratio,
    /// Resistance it puts in the output wire; the scale itself for a shunt,
    /// zero for a Hall sensor.
    pub resistance: Ohms,
}

/// Resistances and drops between the instruments.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wiring {
    /// From the supply's terminals to the board, both wires.
    pub supply_resistance: Ohms,
    /// From the board's output to the node, both wires, sensor included.
    pub lead_resistance: Ohms,
    /// Inductance of those leads.
    pub lead_inductance: Henries,
    /// From the node to the far end of the bus and back.
    pub bus_resistance: Ohms,
    /// Inductance of that loop.
    pub bus_inductance: Henries,
    /// The sensor in the output wire.
    pub sensor: CurrentSensor,
    /// Drop of the rectifier in front of a DC load, both diodes; zero where
    /// there is none.
    pub rectifier_drop: Volts,
    /// The known resistance across the node.
    pub bleeder: Ohms,
}

words! {
    /// What an analogue channel measures.
    Measures {
        /// The rail-to-rail voltage of the node.
        NodeVoltage = "node voltage",
        /// The board's output current.
        OutputCurrent = "output current",
        /// The board's supply rail.
        BoardSupply = "board supply",
        /// The current through the section gap.
        GapCurrent = "gap current",
        /// The upstream source's rail-to-rail voltage.
        UpstreamVoltage = "upstream voltage",
    }
}

impl Measures {
    /// Whether it is a current.
    pub const fn is_current(self) -> bool {
        matches!(self, Self::OutputCurrent | Self::GapCurrent)
    }

    /// Whether both its ends move with the rails, so that an earthed reference
    /// would short a bridge switch.
    pub const fn is_on_rails(self) -> bool {
        !matches!(self, Self::BoardSupply)
    }
}

words! {
    /// How a channel's low side is connected.
    Reference {
        /// A differential probe or amplifier.
        Differential = "differential",
        /// An isolated input or sensor.
        Isolated = "isolated",
        /// Two earthed inputs, one subtracted from the other.
        Subtracted = "subtracted",
        /// An earthed clip.
        Earthed = "earthed",
    }
}

/// One analogue channel of the capture device.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Channel {
    /// Its number on the device, from one.
    pub number: u32,
    /// What it measures.
    pub measures: Measures,
    /// How its low side is connected.
    pub reference: Reference,
    /// Volts at the input for one volt or one ampere of what is measured.
    pub scale: f64,
    /// Standard uncertainty of the scale, relative.
    pub uncertainty: Ratio,
    /// Largest magnitude of what is measured, in volts or amperes.
    pub range: f64,
}

words! {
    /// What a logic line carries.
    Carries {
        /// The first input line of the board.
        InputA = "input a",
        /// The second input line of the board.
        InputB = "input b",
        /// The board's fault line.
        Fault = "fault",
        /// The switch's position marker.
        Marker = "marker",
        /// The pilot current through the contact and its fuse.
        Pilot = "pilot",
    }
}

/// One logic line of the capture device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LogicLine {
    /// Its number on the device, from zero.
    pub number: u32,
    /// What it carries.
    pub carries: Carries,
}

words! {
    /// What a switch channel closes.
    Closes {
        /// The hard short near the board.
        NearShort = "near short",
        /// The short at the far end of the bus.
        FarShort = "far short",
        /// The section gap, rail to like rail.
        GapStraight = "gap straight",
        /// The section gap, rail to other rail.
        GapCrossed = "gap crossed",
        /// Rectified capacitors with a bleeder, on the node.
        CapacitorBank = "capacitor bank",
        /// A resistor straight on the node, in both polarities.
        ResistorBank = "resistor bank",
        /// The electronic load on the board's supply rail, instead of the node.
        SupplyLoad = "supply load",
    }
}

impl Closes {
    /// Whether it is a short or a gap, whose inductance and proof count.
    pub const fn is_fault(self) -> bool {
        matches!(
            self,
            Self::NearShort | Self::FarShort | Self::GapStraight | Self::GapCrossed
        )
    }
}

/// What a capacitor bank has besides its resistance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BankEntry {
    /// All its capacitors.
    pub capacitance: Farads,
    /// The resistance across them.
    pub bleeder: Ohms,
    /// Forward drop of its rectifier.
    pub drop: Volts,
}

/// What closes a branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Closer {
    /// This channel of the switch, from one.
    Switch(u32),
    /// The load, which shorts its own input.
    Load,
}

words! {
    /// What proves that a contact is closed or open.
    Proof {
        /// Nothing.
        None = "none",
        /// The command's marker.
        Marker = "marker",
        /// A second pole of the same contact.
        SecondPole = "second pole",
        /// A pilot current through contact and fuse.
        PilotCurrent = "pilot current",
        /// There is no contact: the load shorts its input and says itself whether it
        /// does.
        Load = "load",
    }
}

/// One branch: a channel of the switch, or the load's own short.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BranchEntry {
    /// What closes it.
    pub closer: Closer,
    /// What it closes.
    pub closes: Closes,
    /// Loop resistance of the branch from the node: contacts, fuse and leads,
    /// for the far short the bus, and for the load's short what its profile states
    /// ([`super::Bench::with_profiles`]).
    pub resistance: Ohms,
    /// Loop inductance of it.
    pub inductance: Henries,
    /// What proves its position.
    pub proof: Proof,
    /// The logic line of its marker.
    pub marker_line: Option<u32>,
    /// The logic line of its pilot current.
    pub pilot_line: Option<u32>,
    /// How long its contact may bounce.
    pub bounce: Seconds,
    /// The rest of a capacitor bank.
    pub bank: Option<BankEntry>,
}

words! {
    /// How the upstream source's negative and the gaps lie.
    Isolation {
        /// Isolated supplies, both gaps bridged.
        IsolatedBothGaps = "isolated, both gaps",
        /// A common negative, one gap bridged.
        CommonNegativeOneGap = "common negative, one gap",
        /// Isolated supplies, one gap: nothing flows.
        IsolatedOneGap = "isolated, one gap",
    }
}

/// The second booster behind the section gaps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UpstreamEntry {
    /// Its output voltage.
    pub voltage: Volts,
    /// Its output resistance and leads.
    pub resistance: Ohms,
    /// Inductance of its leads.
    pub inductance: Henries,
    /// How it stands against the board.
    pub isolation: Isolation,
    /// Current at which it trips.
    pub trip_current: Amperes,
    /// How long the current must last.
    pub trip_time: Seconds,
}

/// What may never be exceeded, not even prospectively.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Envelope {
    /// Largest prospective current.
    pub current: Amperes,
    /// Largest let-through of one pulse.
    pub let_through: AmpereSquareSeconds,
    /// Largest voltage between any two rails.
    pub voltage: Volts,
    /// Largest energy of one pulse.
    pub energy: Joules,
    /// Longest time with energy in the board without a pause.
    pub seconds: Seconds,
}

/// What a person can reach for. Software is not the safety device.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Safety {
    /// What the emergency stop is and what it cuts.
    pub emergency_stop: Option<String>,
    /// The fuse in the board's supply.
    pub supply_fuse: Option<String>,
    /// Why there is no emergency stop.
    pub no_emergency_stop_because: Option<String>,
    /// Why there is no fuse.
    pub no_supply_fuse_because: Option<String>,
}

impl Safety {
    /// What is missing, each with the reason that was stated for it.
    pub fn missing(&self) -> Vec<String> {
        let stop = (&self.emergency_stop, &self.no_emergency_stop_because);
        let fuse = (&self.supply_fuse, &self.no_supply_fuse_because);
        let both = [("emergency stop", stop), ("fuse in the supply", fuse)];
        let missing = both.into_iter().filter(|(_, (named, _))| named.is_none());
        missing
            .filter_map(|(what, (_, reason))| Some(format!("no {what}: {}", reason.as_ref()?)))
            .collect()
    }
}
