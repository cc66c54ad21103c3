//! The embedded world, told by a bench file and its profiles how its model
//! instruments are wired, what they can do and how well, and how fast their
//! lines are. It computes nothing.

use super::Answering;
use crate::bench_file::{Bench, BranchEntry, Carries, Closer, Closes, Measures};
use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::model_board::{BoardParameters, FixtureParameters};
use crate::model_instruments::{ChannelWiring, LineCost, Ratings, World, WorldSettings};
use crate::physics::{Circuit, PhysicsFault, Probe, SwitchBranch};
use crate::profile::Profile;
use crate::seed::Seed;
use crate::units::{Amperes, Quantity};
use crate::waveform::LogicLine;
use std::collections::BTreeMap;

/// Lines a capture device has at most: one word a sample.
const MOST_LINES: u32 = 16;

impl Answering for World {
    fn now(&self) -> BenchInstant {
        World::now(self)
    }

    fn advance(&mut self, span: BenchSpan) {
        World::advance(self, span);
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        World::exchange(self, role, line)
    }
}

/// The world of a bench file with `board` on it, whose console answers
/// `identity` when it is asked what it is: everything random follows from
/// `seed`. Each instrument has the ranges, the resolution and the accuracy of
/// its profile, whatever the bench is.
///
/// # Errors
/// When board and fixture make no circuit.
pub fn world(
    file: &Bench,
    profiles: &BTreeMap<Role, Profile>,
    board: &BoardParameters,
    identity: Option<&str>,
    seed: Seed,
) -> Result<World, PhysicsFault> {
    let model = file.model.as_ref();
    let mut fixture = model.map_or_else(FixtureParameters::default, |model| model.fixture);
    let mut settings = settings(file, profiles, seed);
    if !file.places.holds("model.fixture.load_ceiling") {
        // A load that winds up asks for what its range ends with.
        fixture.load_ceiling = Amperes::new(settings.ratings.load.current);
    }
    let circuit = Circuit::new(board, &fixture)?;
    let upstream = fixture.upstream.voltage.si().abs();
    settings.highest_voltage = settings.ratings.supply.voltage.max(upstream);
    if let Some(identity) = identity {
        identity.clone_into(&mut settings.identity);
    }
    settings.errors = fixture.instrument_errors.si();
    settings.noise = fixture.instrument_noise.si();
    settings.converter_noise = board.converter_noise.si();
    Ok(World::new(circuit, settings))
}

fn settings(file: &Bench, profiles: &BTreeMap<Role, Profile>, seed: Seed) -> WorldSettings {
    let mut settings = WorldSettings::new(seed);
    settings.ratings = Ratings::of(|role| profiles.get(&role));
    settings.lines = profiles
        .iter()
        .filter(|(role, _)| file.instrument(**role).is_some())
        .map(|(&role, profile)| (role, LineCost::of(profile)))
        .collect();
    let channels = file.channels.iter().map(|channel| channel.number).max();
    settings.channels = (1..=channels.unwrap_or(0))
        .map(|number| channel(file, number))
        .collect();
    let lines = file.lines.iter().map(|line| line.number).max();
    settings.logic = (0..=lines.unwrap_or(0).min(MOST_LINES - 1))
        .map(|number| logic(file, number))
        .collect();
    let branches = file.branches.iter().filter_map(number).max();
    let branches = branches.unwrap_or(0).max(8);
    if let Some(short) = file.branches.iter().find(|b| b.closer == Closer::Load) {
        settings.short_resistance = short.resistance.si();
    }
    settings.probed = file.probed().unwrap_or(settings.probed);
    settings.branches = (1..=branches).map(|number| branch(file, number)).collect();
    settings
}

fn channel(file: &Bench, number: u32) -> ChannelWiring {
    let found = file.channels.iter().find(|c| c.number == number);
    let measures = found.map_or(Measures::NodeVoltage, |channel| channel.measures);
    let probe = match measures {
        Measures::NodeVoltage => Probe::NodeVoltage,
        Measures::OutputCurrent => Probe::OutputCurrent,
        Measures::BoardSupply => Probe::BoardRail,
        Measures::GapCurrent => Probe::GapCurrent,
        Measures::UpstreamVoltage => Probe::UpstreamVoltage,
    };
    // An input that is not wired shows nothing.
    let volts_per_unit = found.map_or(0.0, |channel| channel.scale);
    ChannelWiring {
        probe,
        volts_per_unit,
        scale_u: found.map_or(0.0, |channel| channel.uncertainty.si()),
    }
}

fn logic(file: &Bench, number: u32) -> LogicLine {
    let carries = file.lines.iter().find(|line| line.number == number);
    let of = |named: fn(&crate::bench_file::BranchEntry) -> Option<u32>| {
        let mut branches = file.branches.iter();
        let found = branches.find(|branch| named(branch) == Some(number));
        found.map(|branch| branch.closes)
    };
    match carries.map(|line| line.carries) {
        Some(Carries::InputA) => LogicLine::SignalA,
        Some(Carries::InputB) => LogicLine::SignalB,
        Some(Carries::Marker) => match of(|branch| branch.marker_line) {
            Some(Closes::FarShort) => LogicLine::FarMarker,
            Some(Closes::GapStraight | Closes::GapCrossed) => LogicLine::GapMarker,
            _ => LogicLine::NearMarker,
        },
        Some(Carries::Pilot) => match of(|branch| branch.pilot_line) {
            Some(Closes::FarShort) => LogicLine::FarPilot,
            _ => LogicLine::NearPilot,
        },
        // What is not wired may show anything.
        Some(Carries::Fault) | None => LogicLine::Fault,
    }
}

const fn number(branch: &BranchEntry) -> Option<u32> {
    match branch.closer {
        Closer::Switch(number) => Some(number),
        Closer::Load => None,
    }
}

fn branch(file: &Bench, of: u32) -> Option<SwitchBranch> {
    let found = file.branches.iter().find(|b| number(b) == Some(of))?;
    Some(match found.closes {
        Closes::NearShort => SwitchBranch::Near,
        Closes::FarShort => SwitchBranch::Far,
        Closes::GapStraight => SwitchBranch::GapStraight,
        Closes::GapCrossed => SwitchBranch::GapCrossed,
        Closes::CapacitorBank => SwitchBranch::Bank,
        Closes::ResistorBank => SwitchBranch::Resistor,
        Closes::SupplyLoad => SwitchBranch::SupplyLoad,
    })
}
