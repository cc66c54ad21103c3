//! What a model bench is told besides its circuit: seed, line speeds, wiring
//! and accuracies, by default those of the shipped profiles. Only numbers.

use crate::clock::BenchSpan;
use crate::ident::Role;
use crate::physics::{Line, Probe, SwitchBranch};
use crate::seed::Seed;
use std::collections::BTreeMap;

/// What an exchange costs on a line, in bench time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LineCost {
    /// Bits a second; a byte takes ten.
    pub speed: u32,
    /// From the last byte in to the first byte out.
    pub processing: BenchSpan,
}

impl LineCost {
    /// How long `bytes` take on the line.
    pub(super) fn transfer(self, bytes: usize) -> BenchSpan {
        let bits = bytes as i128 * 10;
        let picoseconds = bits * i128::from(crate::clock::PICOSECONDS);
        let picoseconds = picoseconds / i128::from(self.speed.max(1));
        BenchSpan::from_picoseconds(i64::try_from(picoseconds).unwrap_or(i64::MAX))
    }
}

/// How one analogue channel is connected.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelWiring {
    /// What it sees.
    pub probe: Probe,
    /// Volts at the input for one volt or ampere of it.
    pub volts_per_unit: f64,
}

/// The bounds within which an instrument errs, in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Relative part.
    pub reading: f64,
    /// Absolute part.
    pub fixed: f64,
    /// Step of the display or the setting.
    pub resolution: f64,
}

/// Everything a [`super::World`] needs besides its circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct WorldSettings {
    /// From which all errors and all noise follow.
    pub seed: Seed,
    /// How much of its stated accuracy each instrument errs by at most.
    pub errors: f64,
    /// Noise of the readings, one as usual.
    pub noise: f64,
    /// The lines, by role; a role that is missing has no instrument.
    pub lines: BTreeMap<Role, LineCost>,
    /// The capture's analogue channels, from channel 1.
    pub channels: Vec<ChannelWiring>,
    /// The capture's logic lines, from line 0.
    pub logic: Vec<Line>,
    /// What the switch's channels close, from channel 1; `None` is unwired.
    pub branches: Vec<Option<SwitchBranch>>,
    /// The supply's voltmeter and ammeter.
    pub supply_meters: [Accuracy; 2],
    /// The load's voltmeter and ammeter.
    pub load_meters: [Accuracy; 2],
    /// The load's current setting.
    pub load_setting: Accuracy,
    /// The thermometer, in kelvins.
    pub thermometer: Accuracy,
    /// Noise of the board's own converter, in counts.
    pub converter_noise: f64,
}

impl Accuracy {
    /// The bounds of the errors that are drawn, `errors` of the stated ones.
    pub(super) fn scaled(self, errors: f64) -> Self {
        Self {
            reading: self.reading * errors,
            fixed: self.fixed * errors,
            ..self
        }
    }
}

impl WorldSettings {
    /// The shipped profiles' bench under `seed`.
    pub fn new(seed: Seed) -> Self {
        let line = |speed, microseconds| LineCost {
            speed,
            processing: BenchSpan::from_microseconds(microseconds),
        };
        let channel = |probe, volts_per_unit| ChannelWiring {
            probe,
            volts_per_unit,
        };
        let accuracy = |reading, fixed| Accuracy {
            reading,
            fixed,
            resolution: 1e-3,
        };
        Self {
            seed,
            errors: 1.0,
            noise: 1.0,
            lines: BTreeMap::from([
                (Role::Supply, line(115_200, 1000)),
                (Role::Load, line(115_200, 1000)),
                (Role::Capture, line(4_000_000, 200)),
                (Role::Switch, line(115_200, 1000)),
                (Role::Drive, line(115_200, 1000)),
                (Role::Console, line(115_200, 500)),
                (Role::Thermometer, line(115_200, 1000)),
            ]),
            channels: vec![
                channel(Probe::NodeVoltage, 0.1),
                channel(Probe::OutputCurrent, 0.05),
                channel(Probe::BoardRail, 0.1),
                channel(Probe::GapCurrent, 0.05),
                channel(Probe::UpstreamVoltage, 0.1),
            ],
            logic: vec![
                Line::SignalA,
                Line::SignalB,
                Line::Fault,
                Line::NearMarker,
                Line::FarMarker,
                Line::GapMarker,
                Line::NearPilot,
                Line::FarPilot,
            ],
            branches: vec![
                Some(SwitchBranch::Near),
                Some(SwitchBranch::Far),
                Some(SwitchBranch::GapStraight),
                Some(SwitchBranch::GapCrossed),
                Some(SwitchBranch::Bank),
                Some(SwitchBranch::Resistor),
                Some(SwitchBranch::SupplyLoad),
                None,
            ],
            supply_meters: [accuracy(0.0005, 5e-3), accuracy(0.001, 5e-3)],
            load_meters: [accuracy(0.0005, 10e-3), accuracy(0.001, 10e-3)],
            load_setting: accuracy(0.001, 10e-3),
            thermometer: Accuracy {
                reading: 0.0,
                fixed: 0.5,
                resolution: 0.01,
            },
            converter_noise: 0.0,
        }
    }
}
