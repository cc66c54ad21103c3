//! What could happen at worst if an intent were carried out: prospective
//! current, let-through, energy, voltage and time. The board is taken never to
//! trip; the supply is taken to push its limit for the whole time.

use super::interlock::{Known, Refusal, State, SupplyState};
use crate::bench_file::{self, BranchEntry, Closes, Envelope};
use crate::clock::BenchInstant;
use crate::ident::Role;
use crate::profile::{LoadRange, Profile, SupplyRange, SwitchRange};
use crate::scenario::Polarity;
use crate::scenario::Ratings;
use crate::scenario::intent::{Intent, LoadSetting, gap_branch, is_sensible, short_branch};
use crate::units::{
    AmpereSquareSeconds, Amperes, Farads, Joules, Ohms, Quantity, Seconds, Volts, Watts,
};
use std::collections::BTreeMap;

/// What the plan states of the board, as far as it can hurt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BoardFacts {
    /// Capacitance on its supply rail.
    pub bulk_capacitance: Farads,
    /// Least resistance from there to the output terminals.
    pub source_resistance: Ohms,
}

impl From<&Ratings> for BoardFacts {
    fn from(ratings: &Ratings) -> Self {
        Self {
            bulk_capacitance: ratings.bulk_capacitance,
            source_resistance: ratings.source_resistance,
        }
    }
}

/// Everything around the board that does not change during a run.
#[derive(Clone, Debug)]
pub struct Surroundings {
    bench: bench_file::Bench,
    board: BoardFacts,
    supply: Option<SupplyRange>,
    load: Option<LoadRange>,
    switch: Option<SwitchRange>,
    switch_ends_pulses: bool,
}

impl Surroundings {
    /// The bench, its instruments' profiles, and the board.
    pub fn new(
        bench: &bench_file::Bench,
        profiles: &BTreeMap<Role, Profile>,
        board: BoardFacts,
    ) -> Self {
        let profile = |role| profiles.get(&role);
        let switch = profile(Role::Switch);
        Self {
            bench: bench.clone(),
            board,
            supply: profile(Role::Supply)
                .and_then(Profile::supply_range)
                .copied(),
            load: profile(Role::Load).and_then(Profile::load_range).copied(),
            switch: switch.and_then(Profile::switch_range).copied(),
            switch_ends_pulses: switch.is_some_and(|p| p.command("pulse").is_some()),
        }
    }

    /// The most that may ever occur.
    pub(super) fn envelope(&self) -> Envelope {
        self.bench.envelope
    }

    /// Whether a rectifier stands in front of the load.
    pub(super) fn load_is_rectified(&self) -> bool {
        self.bench.wiring.rectifier_drop > Volts::ZERO
    }
}

/// The worst that one pulse can do.
struct Worst {
    current: f64,
    let_through: f64,
    energy: f64,
}

/// One intent in one state.
pub(super) struct Prospect<'a> {
    pub(super) surroundings: &'a Surroundings,
    pub(super) state: &'a State,
    pub(super) intent: &'a Intent,
}

impl Prospect<'_> {
    pub(super) fn check(&self, now: BenchInstant) -> Result<(), Refusal> {
        if !is_sensible(self.intent) {
            let intent = self.words();
            return Err(Refusal::Senseless { intent });
        }
        match *self.intent {
            Intent::SupplyOn {
                voltage,
                current_limit,
            } => self.supply_on(voltage, current_limit)?,
            Intent::LoadOn(setting) => self.load_on(setting)?,
            Intent::LoadHold { current, .. } => self.load(current)?,
            Intent::LoadPulse { current, duration } => {
                self.load(current)?;
                let supply = self.supply()?;
                let (i, time) = (current.si(), duration.si());
                self.within(&Worst {
                    current: i,
                    let_through: i * i * time,
                    energy: i * supply.voltage.si() * time,
                })?;
            }
            Intent::LoadRamp { from, to, .. } => {
                self.load(if to > from { to } else { from })?;
            }
            Intent::ShortPulse { place, duration } => {
                let branch = self.timed_branch(short_branch(place), duration)?;
                self.short(branch, duration)?;
            }
            Intent::GapPulse { crossed, duration } => {
                let branch = self.timed_branch(gap_branch(crossed), duration)?;
                self.gap(branch, duration)?;
            }
            Intent::Connect { closes, duration } => {
                let branch = self.timed_branch(closes, duration)?;
                self.connect(&branch, duration)?;
            }
        }
        self.lasts(now)
    }

    fn words(&self) -> String {
        self.intent.words()
    }

    fn envelope(&self) -> Envelope {
        self.surroundings.envelope()
    }

    fn supply(&self) -> Result<SupplyState, Refusal> {
        match self.state.supply {
            Known::Sure(supply) => Ok(supply),
            Known::Unknown => Err(self.unknown(Role::Supply)),
        }
    }

    fn unknown(&self, role: Role) -> Refusal {
        let intent = self.words();
        Refusal::Unknown { intent, role }
    }

    fn lacks(&self, what: impl Into<String>) -> Refusal {
        Refusal::Lacks {
            intent: self.words(),
            what: what.into(),
        }
    }

    fn beyond(&self, role: Role, most: impl ToString) -> Refusal {
        Refusal::Range {
            intent: self.words(),
            role,
            most: most.to_string(),
        }
    }

    fn supply_on(&self, voltage: Volts, limit: Amperes) -> Result<(), Refusal> {
        // Setting it anew starts from whatever it does now.
        self.supply()?;
        if let Some(range) = self.surroundings.supply {
            if voltage > range.voltage {
                return Err(self.beyond(Role::Supply, range.voltage));
            }
            if limit > range.current {
                return Err(self.beyond(Role::Supply, range.current));
            }
        }
        self.voltage(voltage)?;
        let v = voltage.si();
        self.within(&Worst {
            current: limit.si(),
            let_through: 0.0,
            energy: 0.5 * self.surroundings.board.bulk_capacitance.si() * v * v,
        })
    }

    fn load_on(&self, setting: LoadSetting) -> Result<(), Refusal> {
        match setting {
            LoadSetting::Current(current) => self.load(current),
            LoadSetting::Resistance(resistance) => {
                let voltage = self.supply()?.voltage;
                self.load(saturated(voltage.si() / resistance.si()))
            }
        }
    }

    /// A current that the load draws.
    fn load(&self, current: Amperes) -> Result<(), Refusal> {
        let voltage = self.supply()?.voltage;
        let Some(range) = self.surroundings.load else {
            return Err(self.lacks(Role::Load.word()));
        };
        if current > range.current {
            return Err(self.beyond(Role::Load, range.current));
        }
        let power: Watts = current * voltage;
        if power > range.power {
            return Err(self.beyond(Role::Load, range.power));
        }
        if !self.surroundings.load_is_rectified() {
            match self.state.drive {
                Known::Sure(Some(Polarity::Positive)) => {}
                Known::Unknown => return Err(self.unknown(Role::Drive)),
                Known::Sure(drive) => {
                    let drive = drive.map_or("not held", Polarity::word).to_owned();
                    let intent = self.words();
                    return Err(Refusal::LoadWiring { intent, drive });
                }
            }
        }
        self.within(&Worst {
            current: current.si(),
            let_through: 0.0,
            energy: 0.0,
        })
    }

    /// The branch that closes `closes`, when the switch opens it by itself.
    fn timed_branch(&self, closes: Closes, duration: Seconds) -> Result<BranchEntry, Refusal> {
        let bench = &self.surroundings.bench;
        let Some(branch) = bench.branch(closes) else {
            return Err(self.lacks(format!("branch for the {}", closes.word())));
        };
        let not_timed = |why: String| Refusal::NotTimed {
            intent: self.words(),
            why,
        };
        if !self.surroundings.switch_ends_pulses {
            return Err(not_timed("its profile has no pulse".to_owned()));
        }
        if let Some(range) = self.surroundings.switch {
            let (shortest, longest) = (range.shortest_pulse, range.longest_pulse);
            if duration < shortest || duration > longest {
                return Err(not_timed(format!("it keeps {shortest} to {longest}")));
            }
        }
        Ok(*branch)
    }

    fn loop_resistance(&self, branch: Ohms) -> Ohms {
        let wiring = &self.surroundings.bench.wiring;
        self.surroundings.board.source_resistance + wiring.lead_resistance + branch
    }

    /// A short: the bulk capacitors empty into the loop while the supply goes
    /// on feeding it.
    ///
    /// With the capacitor's current i and the supply's I, the let-through is
    /// the integral of (i + I)^2: at most C V^2 / 2R for the capacitor alone
    /// (all its energy in the loop's resistance), 2 I C V for both (its
    /// charge), and I^2 t; never more than (V / R)^2 t, since at no time more
    /// than V / R flows.
    fn short(&self, branch: BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        let supply = self.supply()?;
        let resistance = self.loop_resistance(branch.resistance).si();
        let (v, t) = (supply.voltage.si(), duration.si());
        let capacitance = self.surroundings.board.bulk_capacitance.si();
        let prospective = v / resistance;
        let fed = supply.limit.si().min(prospective);
        let stored = 0.5 * capacitance * v * v;
        let cautious = prospective * prospective * t;
        let let_through = stored / resistance + 2.0 * fed * capacitance * v + fed * fed * t;
        self.within(&Worst {
            current: prospective,
            let_through: let_through.min(cautious),
            energy: stored + fed * v * t,
        })
    }

    /// Something connected that is no fault. A bank takes its charge through
    /// its resistance; a resistor carries its current; the load draws nothing
    /// until it is told to.
    fn connect(&self, branch: &BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        if branch.closes.is_fault() {
            // Shorts and gaps have intents of their own.
            let intent = self.words();
            return Err(Refusal::Senseless { intent });
        }
        if branch.closes == Closes::SupplyLoad {
            return match self.state.load_on {
                Known::Sure(false) => Ok(()),
                Known::Sure(true) => Err(Refusal::LoadDraws {
                    intent: self.words(),
                }),
                Known::Unknown => Err(self.unknown(Role::Load)),
            };
        }
        let supply = self.supply()?;
        let resistance = self.loop_resistance(branch.resistance).si();
        let (v, t) = (supply.voltage.si(), duration.si());
        let prospective = v / resistance;
        let sustained = prospective * prospective * t;
        let worst = match branch.bank {
            Some(bank) => {
                let stored = 0.5 * bank.capacitance.si() * v * v;
                Worst {
                    current: prospective,
                    let_through: (stored / resistance).min(sustained),
                    energy: 2.0 * stored,
                }
            }
            None => Worst {
                current: prospective,
                let_through: sustained,
                energy: prospective * v * t,
            },
        };
        self.within(&worst)
    }

    /// A gap closed against the other phase: both sources drive the loop until
    /// the upstream trips, which the bench file states.
    fn gap(&self, branch: BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        let supply = self.supply()?;
        let bench = &self.surroundings.bench;
        let Some(upstream) = &bench.upstream else {
            return Err(self.lacks("upstream source"));
        };
        // Unequal sources pump up the lower one's capacitors.
        let higher = if upstream.voltage > supply.voltage {
            upstream.voltage
        } else {
            supply.voltage
        };
        self.voltage(higher)?;
        let Some((voltage, resistance)) = bench.mismatch(supply.voltage, branch.closes) else {
            return Ok(());
        };
        let resistance = resistance + self.surroundings.board.source_resistance;
        let current = saturated(voltage.si() / resistance.si());
        let ends = current >= upstream.trip_current && upstream.trip_time < duration;
        let time = if ends { upstream.trip_time } else { duration };
        let (i, v, t) = (current.si(), voltage.si(), time.si());
        self.within(&Worst {
            current: i,
            let_through: i * i * t,
            energy: i * v * t,
        })
    }

    fn voltage(&self, prospective: Volts) -> Result<(), Refusal> {
        let most = self.envelope().voltage;
        if prospective > most {
            return Err(Refusal::Voltage {
                intent: self.words(),
                prospective,
                most,
            });
        }
        Ok(())
    }

    fn within(&self, worst: &Worst) -> Result<(), Refusal> {
        let envelope = self.envelope();
        let intent = || self.words();
        if worst.current > envelope.current.si() {
            return Err(Refusal::Current {
                intent: intent(),
                prospective: saturated(worst.current),
                most: envelope.current,
            });
        }
        if worst.let_through > envelope.let_through.si() {
            return Err(Refusal::LetThrough {
                intent: intent(),
                prospective: AmpereSquareSeconds::from_si(worst.let_through)
                    .unwrap_or(AmpereSquareSeconds::new(f64::MAX)),
                most: envelope.let_through,
            });
        }
        if worst.energy > envelope.energy.si() {
            return Err(Refusal::Energy {
                intent: intent(),
                prospective: Joules::from_si(worst.energy).unwrap_or(Joules::new(f64::MAX)),
                most: envelope.energy,
            });
        }
        Ok(())
    }

    /// Energy in the board without a pause, from the moment the supply went on
    /// to the end of what is asked for.
    fn lasts(&self, now: BenchInstant) -> Result<(), Refusal> {
        let most = self.envelope().seconds;
        let duration = self.intent.duration().unwrap_or(Seconds::ZERO);
        let so_far = match self.state.energised_since {
            Some(since) => (now - since).seconds(),
            None => Seconds::ZERO,
        };
        let would = so_far + duration;
        if would > most {
            return Err(Refusal::Time {
                intent: self.words(),
                would,
                most,
            });
        }
        Ok(())
    }
}

/// A zero resistance gives an infinite current: more than any envelope.
fn saturated(current: f64) -> Amperes {
    Amperes::from_si(current).unwrap_or(Amperes::new(f64::MAX))
}
