//! What a plan could push through a board, prospectively, against the bench's
//! envelope and the load's ratings. Cautious where something is unknown: the
//! board is taken never to trip.

use super::{gap_branch, larger, short_branch};
use crate::bench_file::Bench;
use crate::ident::Role;
use crate::plan::Plan;
use crate::plan::Scenario;
use crate::profile::Profile;
use crate::scenario::Settings;
use crate::scenario::idle::Settings as Idle;
use crate::scenario::load::Settings as Load;
use crate::scenario::loss::Settings as Loss;
use crate::scenario::overload::Settings as Overload;
use crate::scenario::reversal::Settings as Reversal;
use crate::scenario::sense::Settings as Sense;
use crate::scenario::short::Settings as Short;
use crate::scenario::signal::Settings as Signal;
use crate::scenario::signal::SignalLoading;
use crate::units::{AmpereSquareSeconds, Amperes, Joules, Ohms, Quantity, Seconds, Volts};
use std::collections::BTreeMap;

/// A setting that asks for too much.
pub(super) struct Excess {
    /// The setting.
    pub(super) key: &'static str,
    /// What is too much.
    pub(super) message: String,
    /// What would not be.
    pub(super) expected: String,
    /// What can be done about it, where that is not plain.
    pub(super) hint: Option<&'static str>,
}

/// What can be done about a scenario that takes too long.
const LASTS: &str = "shorten it, or raise `seconds` in `[envelope]` of the bench file if board and \
                     bench bear that";

pub(super) fn check(
    plan: &Plan,
    bench: &Bench,
    profiles: &BTreeMap<Role, Profile>,
    scenario: &Scenario,
) -> Vec<Excess> {
    let mut energy = Energy {
        plan,
        bench,
        profiles,
        found: Vec::new(),
    };
    match &scenario.settings {
        Settings::Idle(idle) => energy.idle(idle),
        Settings::Load(load) => energy.load(load),
        Settings::Sense(sense) => energy.sense(sense),
        Settings::Overload(overload) => energy.overload(overload),
        Settings::Short(short) => energy.short(short),
        Settings::Reversal(reversal) => energy.reversal(reversal),
        Settings::Signal(signal) => energy.signal(signal),
        Settings::Loss(loss) => energy.loss(loss),
        Settings::Inrush(inrush) => energy.inrush(inrush),
        Settings::Soak(soak) => energy.soak(soak),
        Settings::Supply(supply) => energy.supply(supply),
    }
    energy.found
}

pub(super) struct Energy<'a> {
    pub(super) plan: &'a Plan,
    pub(super) bench: &'a Bench,
    profiles: &'a BTreeMap<Role, Profile>,
    found: Vec<Excess>,
}

impl Energy<'_> {
    fn excess(&mut self, key: &'static str, message: String, expected: String) {
        self.found.push(Excess {
            key,
            message,
            expected,
            hint: None,
        });
    }

    /// The most the supply can go on feeding: its own largest current, or the
    /// envelope's where the supply states none.
    fn sustained(&self) -> Amperes {
        let supply = self.profiles.get(&Role::Supply);
        supply
            .and_then(Profile::supply_range)
            .map_or(self.bench.envelope.current, |range| range.current)
    }

    /// Bits a second on an instrument's line.
    pub(super) fn speed(&self, role: Role) -> Option<f64> {
        let profile = self.profiles.get(&role);
        profile.map(|profile| f64::from(profile.line.speed))
    }

    fn idle(&mut self, idle: &Idle) {
        let most = self.bench.envelope.current.min(self.sustained());
        if idle.current_limit > most {
            let limit = idle.current_limit;
            let message = format!("{limit} is more than the supply may be set to");
            self.excess("current_limit", message, format!("{most} or less"));
        }
        let states = idle.supply_steps.len() + idle.states.len() + idle.polarities.len();
        let taken = states as f64 * (idle.settle.si() + idle.length.si());
        self.lasts("settle", Seconds::new(taken.min(1e9)));
    }

    fn loss(&mut self, loss: &Loss) {
        let taken = loss.causes.len() as f64 * loss.length.si();
        self.lasts("length", Seconds::new(taken.min(1e9)));
    }

    fn load(&mut self, load: &Load) {
        let largest = load.steps.iter().copied().fold(Amperes::ZERO, greater);
        self.drawn("steps", largest);
        // The supply stays on from one polarity to the next.
        let steps = load.steps.len() * load.polarities.len();
        let taken = steps as f64 * (load.settle.si() + load.hold.si());
        self.lasts("hold", Seconds::new(taken.min(1e9)));
    }

    fn sense(&mut self, sense: &Sense) {
        let largest = sense.steps.iter().copied().fold(Amperes::ZERO, greater);
        self.drawn("steps", largest);
        let steps = sense.steps.len() * sense.polarities.len();
        let taken = steps as f64 * (sense.settle.si() + sense.hold.si());
        self.lasts("hold", Seconds::new(taken.min(1e9)));
    }

    fn signal(&mut self, signal: &Signal) {
        if signal.loads.contains(&SignalLoading::Rated) {
            self.drawn("loads", self.plan.ratings.rated_current);
        }
        let each = signal.settle.si() + signal.length.si();
        let taken = signal.loads.len() as f64 * each;
        self.lasts("length", Seconds::new(taken.min(1e9)));
    }

    fn overload(&mut self, overload: &Overload) {
        let most = overload.multiples.iter().copied().fold(0.0, f64::max);
        let largest = self.plan.ratings.trip_current * most;
        self.drawn("multiples", largest);
        self.drawn("ramp_to", overload.ramp_to);
        self.pulse("pulse", largest, overload.pulse);
        self.lasts("ramp_time", overload.ramp_time);
        self.lasts("hold_time", overload.hold_time);
    }

    fn short(&mut self, short: &Short) {
        for place in &short.places {
            let Some(branch) = self.bench.branch(short_branch(*place)) else {
                continue;
            };
            let resistance = self.loop_resistance(branch.resistance);
            let voltage = self.plan.ratings.supply_voltage;
            self.prospective("places", place.word(), voltage, resistance);
            self.discharge("pulse", resistance, short.pulse);
            self.discharge("recovery_pulse", resistance, short.recovery_pulse);
        }
        self.lasts("recovery_pulse", short.recovery_pulse);
    }

    fn reversal(&mut self, reversal: &Reversal) {
        let board = self.plan.ratings.supply_voltage;
        for direction in &reversal.directions {
            let source = self.plan.ratings.source_resistance;
            let gap = gap_branch(*direction);
            let Some(mismatch) = self.bench.closed_loop(gap, board, source) else {
                continue;
            };
            let (voltage, resistance) = (mismatch.voltage, mismatch.resistance);
            self.prospective("directions", direction.word(), voltage, resistance);
            self.discharge("gap_pulse", resistance, reversal.gap_pulse);
        }
        if let Some(branch) = self.bench.branch(crate::bench_file::Closes::NearShort) {
            let resistance = self.loop_resistance(branch.resistance);
            self.prospective("short_pulse", "near", board, resistance);
            self.discharge("short_pulse", resistance, reversal.short_pulse);
        }
    }

    pub(super) fn loop_resistance(&self, branch: Ohms) -> Ohms {
        self.plan.ratings.source_resistance + self.bench.wiring.lead_resistance + branch
    }

    /// A current that the load draws.
    pub(super) fn drawn(&mut self, key: &'static str, current: Amperes) {
        let envelope = self.bench.envelope.current;
        if current > envelope {
            self.excess(
                key,
                format!("{current} is above the bench's envelope"),
                format!("{envelope} or less"),
            );
        }
        let load = self.profiles.get(&Role::Load).and_then(Profile::load_range);
        let Some(range) = load.copied() else {
            return;
        };
        if current > range.current {
            self.excess(
                key,
                format!("{current} is more than the load draws"),
                format!("{} or less", range.current),
            );
        }
        let power = current * self.plan.ratings.supply_voltage;
        if power > range.power {
            self.excess(
                key,
                format!("{current} at the supply voltage is {power}, more than the load bears"),
                format!("{} or less", range.power),
            );
        }
        let channel = self
            .bench
            .channel(crate::bench_file::Measures::OutputCurrent);
        if let Some(channel) = channel
            && current.si() > channel.range
        {
            self.excess(
                key,
                format!("{current} is beyond the range of the current's channel"),
                format!("{} or less", Amperes::new(channel.range)),
            );
        }
    }

    pub(super) fn prospective(
        &mut self,
        key: &'static str,
        place: &str,
        voltage: Volts,
        resistance: Ohms,
    ) {
        let current = voltage / resistance;
        let envelope = self.bench.envelope;
        if current > envelope.current {
            self.excess(
                key,
                format!(
                    "the prospective current ({place}) is {current}, above the bench's envelope"
                ),
                format!(
                    "{} or less; `source_resistance` in `[ratings]` may state the board's own",
                    envelope.current
                ),
            );
        }
        if larger(voltage, self.plan.ratings.supply_voltage) > envelope.voltage {
            self.excess(
                key,
                format!("{voltage} can stand across the loop, above the bench's envelope"),
                format!("{} or less", envelope.voltage),
            );
        }
    }

    /// A pulse through a loop on a board that never trips: first the bulk
    /// capacitors empty into it, half C V squared, then the supply goes on.
    fn discharge(&mut self, key: &'static str, resistance: Ohms, pulse: Seconds) {
        let ratings = self.plan.ratings;
        let voltage = ratings.supply_voltage.si();
        let stored = 0.5 * ratings.bulk_capacitance.si() * voltage * voltage;
        // All of the stored energy in the loop: the integral of i2dt is E / R.
        let prospective = voltage / resistance.si();
        let current = self.sustained().si().min(prospective);
        let let_through = stored / resistance.si() + current * current * pulse.si();
        let energy = stored + current * voltage * pulse.si();
        self.against_envelope(key, let_through, energy);
    }

    fn pulse(&mut self, key: &'static str, current: Amperes, pulse: Seconds) {
        let let_through = current.si() * current.si() * pulse.si();
        let energy = current.si() * self.plan.ratings.supply_voltage.si() * pulse.si();
        self.against_envelope(key, let_through, energy);
    }

    pub(super) fn against_envelope(&mut self, key: &'static str, let_through: f64, energy: f64) {
        let envelope = self.bench.envelope;
        if let Some(found) = AmpereSquareSeconds::from_si(let_through)
            && found > envelope.let_through
        {
            self.excess(
                key,
                format!("without a trip {found} would pass, above the bench's envelope"),
                format!("{} or less", envelope.let_through),
            );
        }
        if let Some(found) = Joules::from_si(energy)
            && found > envelope.energy
        {
            self.excess(
                key,
                format!("without a trip {found} would be freed, above the bench's envelope"),
                format!("{} or less", envelope.energy),
            );
        }
    }

    pub(super) fn lasts(&mut self, key: &'static str, time: Seconds) {
        let longest = self.bench.envelope.seconds;
        if time > longest {
            self.found.push(Excess {
                key,
                message: format!("{time} without a pause is above the bench's envelope"),
                expected: format!("{longest} or less"),
                hint: Some(LASTS),
            });
        }
    }
}

pub(super) fn greater(a: Amperes, b: Amperes) -> Amperes {
    if b > a { b } else { a }
}
