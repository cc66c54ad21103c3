//! What a model bench is told besides its circuit: seed, line speeds, wiring
//! and ratings, by default those of the shipped profiles. It draws nothing.

use super::ratings::Ratings;
use crate::bench_file::Probed;
use crate::clock::BenchSpan;
use crate::ident::Role;
use crate::physics::{Probe, SwitchBranch};
use crate::profile::{self, Profile};
use crate::seed::Seed;
use crate::waveform::LogicLine;
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
    /// What `profile` states.
    pub fn of(profile: &Profile) -> Self {
        Self {
            speed: profile.line.speed,
            processing: profile.line.processing,
        }
    }

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
    /// Volts at the input for one volt or ampere of it, as the bench states.
    pub volts_per_unit: f64,
    /// Relative standard uncertainty of that, as the bench states.
    pub scale_u: f64,
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
    pub logic: Vec<LogicLine>,
    /// What the switch's channels close, from channel 1; `None` is unwired.
    pub branches: Vec<Option<SwitchBranch>>,
    /// What the load's leads and its short have, in ohms.
    pub short_resistance: f64,
    /// Where the thermometer's probe is.
    pub probed: Probed,
    /// What each instrument can do and how well.
    pub ratings: Ratings,
    /// Magnitude beyond which no source on the bench goes, in volts.
    pub highest_voltage: f64,
    /// What the board's console answers when it is asked what it is.
    pub identity: String,
    /// Noise of the board's own converter, in counts.
    pub converter_noise: f64,
}

/// What a board's console answers whose file does not say.
pub const UNNAMED: &str = "booster model board";

impl WorldSettings {
    /// The shipped profiles' bench under `seed`.
    pub fn new(seed: Seed) -> Self {
        let channel = |probe, volts_per_unit| ChannelWiring {
            probe,
            volts_per_unit,
            scale_u: 0.0,
        };
        let ratings = Ratings::of(|_| None);
        Self {
            seed,
            errors: 1.0,
            noise: 1.0,
            lines: Role::ALL.map(shipped_line).into(),
            channels: vec![
                channel(Probe::NodeVoltage, 0.1),
                channel(Probe::OutputCurrent, 0.05),
                channel(Probe::BoardRail, 0.1),
                channel(Probe::GapCurrent, 0.05),
                channel(Probe::UpstreamVoltage, 0.1),
            ],
            logic: vec![
                LogicLine::SignalA,
                LogicLine::SignalB,
                LogicLine::Fault,
                LogicLine::NearMarker,
                LogicLine::FarMarker,
                LogicLine::GapMarker,
                LogicLine::NearPilot,
                LogicLine::FarPilot,
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
            short_resistance: 0.1,
            probed: Probed::HeatSink,
            highest_voltage: ratings.supply.voltage,
            ratings,
            identity: UNNAMED.to_owned(),
            converter_noise: 0.0,
        }
    }
}

fn shipped_line(role: Role) -> (Role, LineCost) {
    let profile = profile::shipped(role.word());
    let profile = profile.expect("every role has a shipped profile, which a test holds sound");
    (role, LineCost::of(&profile))
}
