//! Whether an intent may be carried out in a state of the bench at an instant:
//! what could happen at worst, against the envelope and what the instruments
//! are made for. It changes no state and gives no permit.

use super::refusal::Refusal;
use super::state::{Known, State, SupplyState};
use super::surroundings::Surroundings;
use super::worst::Worst;
use crate::bench_file::{BranchEntry, Closer, Closes, Envelope, Loop};
use crate::clock::BenchInstant;
use crate::ident::Role;
use crate::scenario::Polarity;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::units::{AmpereSquareSeconds, Amperes, Farads, Joules, Quantity, Seconds, Volts, Watts};

/// What may be done in one state of the bench, at one instant.
#[derive(Clone, Copy, Debug)]
pub struct Prospect<'a> {
    pub(super) surroundings: &'a Surroundings,
    pub(super) state: &'a State,
    pub(super) now: BenchInstant,
}

impl Prospect<'_> {
    /// Whether `intent` may be carried out.
    ///
    /// # Errors
    /// A [`Refusal`] with its numbers.
    pub fn check(&self, intent: &Intent) -> Result<(), Refusal> {
        let asked = Asked {
            surroundings: self.surroundings,
            state: self.state,
            intent,
        };
        asked.check()?;
        self.lasts(intent)
    }

    /// Whether the board's inputs may be driven so: without a rectifier the
    /// load conducts like a short when reversed.
    ///
    /// # Errors
    /// [`Refusal::LoadWiring`].
    pub fn may_drive(&self, drive: Polarity) -> Result<(), Refusal> {
        let bipolar = self.surroundings.load_is_rectified();
        if bipolar || drive == Polarity::Positive || self.state.load_on == Known::Sure(false) {
            return Ok(());
        }
        Err(Refusal::LoadWiring {
            intent: format!("output {}", drive.word()),
            drive: drive.word().to_owned(),
        })
    }

    /// Whether the board may go on as it is for `time` more: what an intent has
    /// begun ends by itself only where it is a pulse, so every wait asks.
    ///
    /// # Errors
    /// [`Refusal::Time`].
    pub fn may_go_on(&self, time: Seconds) -> Result<(), Refusal> {
        if self.state.energised_since.is_none() {
            return Ok(());
        }
        self.within_time(time, || format!("{time} more"))
    }

    /// Energy in the board without a pause, from the moment the supply went on
    /// to the end of what is asked for.
    fn lasts(&self, intent: &Intent) -> Result<(), Refusal> {
        let duration = intent.duration().unwrap_or(Seconds::ZERO);
        self.within_time(duration, || intent.words())
    }

    fn within_time(&self, time: Seconds, words: impl FnOnce() -> String) -> Result<(), Refusal> {
        let most = self.surroundings.envelope().seconds;
        let would = self.state.energised_for(self.now) + time;
        if would > most {
            return Err(Refusal::Time {
                intent: words(),
                would,
                most,
            });
        }
        Ok(())
    }
}

/// An intent that is asked about.
struct Asked<'a> {
    surroundings: &'a Surroundings,
    state: &'a State,
    intent: &'a Intent,
}

impl Asked<'_> {
    fn check(&self) -> Result<(), Refusal> {
        if !self.intent.is_sensible() {
            return Err(self.senseless());
        }
        match *self.intent {
            Intent::SupplyOn {
                voltage,
                current_limit,
            } => self.supply_on(voltage, current_limit),
            Intent::LoadOn(LoadSetting::Current(current)) | Intent::LoadHold { current, .. } => {
                self.load(current)
            }
            Intent::LoadOn(setting) => self.load(setting.current_at(self.supply()?.voltage)),
            Intent::LoadPulse { current, duration } => {
                self.load(current)?;
                let voltage = self.supply()?.voltage;
                self.within(&Worst::of_load_pulse(current, voltage, duration))
            }
            Intent::LoadRamp { from, to, .. } => self.load(if to > from { to } else { from }),
            Intent::ShortPulse { duration, .. } => {
                self.short(&self.timed_branch(duration)?, duration)
            }
            Intent::LoadShort { duration } => {
                let branch = self.loads_branch()?;
                self.short(&branch, duration)
            }
            Intent::GapPulse { duration, .. } => self.gap(&self.timed_branch(duration)?, duration),
            Intent::Connect { duration, .. } => {
                self.connect(&self.timed_branch(duration)?, duration)
            }
        }
    }

    fn supply_on(&self, voltage: Volts, limit: Amperes) -> Result<(), Refusal> {
        // Setting it again starts from whatever it does now.
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
        self.within(&Worst::of_supply(voltage, limit, self.bulk()))
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
        self.forward()?;
        self.within(&Worst::of_load(current))
    }

    /// Without a rectifier the load conducts like a short when reversed.
    fn forward(&self) -> Result<(), Refusal> {
        if self.surroundings.load_is_rectified() {
            return Ok(());
        }
        match self.state.drive {
            Known::Sure(Some(Polarity::Positive)) => Ok(()),
            Known::Unknown => Err(self.unknown(Role::Drive)),
            Known::Sure(drive) => {
                let drive = drive.map_or("not held", Polarity::word).to_owned();
                let intent = self.intent.words();
                Err(Refusal::LoadWiring { intent, drive })
            }
        }
    }

    /// The branch of the load's own short, when the load ends it by itself and
    /// withstands what could flow. Its input is off before, and its setting with it.
    fn loads_branch(&self) -> Result<BranchEntry, Refusal> {
        let around = self.surroundings;
        let branch = around.bench.branches.iter();
        let branch = branch.copied().find(|b| b.closer == Closer::Load);
        let (Some(branch), Some(range)) = (branch, around.load) else {
            return Err(self.lacks("load that shorts its input"));
        };
        if !around.load_ends_shorts {
            return Err(Refusal::NotTimed {
                intent: self.intent.words(),
                role: Role::Load,
                why: "its profile has no short_pulse".to_owned(),
            });
        }
        match self.state.load_on {
            Known::Sure(false) => {}
            Known::Sure(true) => {
                let intent = self.intent.words();
                return Err(Refusal::LoadDraws { intent });
            }
            Known::Unknown => return Err(self.unknown(Role::Load)),
        }
        self.forward()?;
        let supply = self.supply()?;
        if supply.voltage > range.voltage {
            return Err(self.beyond(Role::Load, range.voltage));
        }
        // Without any resistance the supply's limit and the leads would decide.
        if self.closed(&branch, supply)?.current() > range.current {
            return Err(self.beyond(Role::Load, range.current));
        }
        Ok(branch)
    }

    /// The intent's branch, when the switch opens it by itself.
    fn timed_branch(&self, duration: Seconds) -> Result<BranchEntry, Refusal> {
        let around = self.surroundings;
        let Some(closes) = self.intent.branch() else {
            return Err(self.lacks("branch"));
        };
        let Some(branch) = around.bench.branch(closes) else {
            return Err(self.lacks(format!("branch for the {}", closes.word())));
        };
        if branch.closer == Closer::Load {
            return Err(self.lacks(format!("switch that closes the {}", closes.word())));
        }
        let not_timed = |why: String| Refusal::NotTimed {
            intent: self.intent.words(),
            role: Role::Switch,
            why,
        };
        if !around.switch_ends_pulses {
            return Err(not_timed("its profile has no pulse".to_owned()));
        }
        if let Some(range) = around.switch {
            let (shortest, longest) = (range.shortest_pulse, range.longest_pulse);
            if duration < shortest || duration > longest {
                return Err(not_timed(format!("it keeps {shortest} to {longest}")));
            }
        }
        Ok(*branch)
    }

    fn short(&self, branch: &BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        let supply = self.supply()?;
        let short = self.closed(branch, supply)?;
        self.within(&Worst::of_short(&short, supply, self.bulk(), duration))
    }

    /// Something connected that is no fault. A bank takes its charge through
    /// its resistance; a resistor carries its current; the load draws nothing
    /// until it is told to.
    fn connect(&self, branch: &BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        if branch.closes.is_fault() {
            // Shorts and gaps have intents of their own.
            return Err(self.senseless());
        }
        if branch.closes == Closes::SupplyLoad {
            return match self.state.load_on {
                Known::Sure(false) => Ok(()),
                Known::Sure(true) => Err(Refusal::LoadDraws {
                    intent: self.intent.words(),
                }),
                Known::Unknown => Err(self.unknown(Role::Load)),
            };
        }
        let through = self.closed(branch, self.supply()?)?;
        self.within(&match &branch.bank {
            Some(bank) => Worst::of_bank(bank, &through, duration),
            None => Worst::of_resistor(&through, duration),
        })
    }

    fn gap(&self, branch: &BranchEntry, duration: Seconds) -> Result<(), Refusal> {
        let supply = self.supply()?;
        let Some(upstream) = &self.surroundings.bench.upstream else {
            return Err(self.lacks("upstream source"));
        };
        // Unequal sources pump up the lower one's capacitors.
        let higher = if upstream.voltage > supply.voltage {
            upstream.voltage
        } else {
            supply.voltage
        };
        self.voltage(higher)?;
        let Some(gap) = self.surroundings.closed(branch.closes, supply.voltage) else {
            return Ok(());
        };
        self.within(&Worst::of_gap(&gap, upstream, duration))
    }

    fn closed(&self, branch: &BranchEntry, supply: SupplyState) -> Result<Loop, Refusal> {
        let closes = branch.closes;
        let found = self.surroundings.closed(closes, supply.voltage);
        found.ok_or_else(|| self.lacks(closes.word()))
    }

    fn voltage(&self, prospective: Volts) -> Result<(), Refusal> {
        let most = self.envelope().voltage;
        if prospective > most {
            return Err(Refusal::Voltage {
                intent: self.intent.words(),
                prospective,
                most,
            });
        }
        Ok(())
    }

    fn within(&self, worst: &Worst) -> Result<(), Refusal> {
        let envelope = self.envelope();
        let (intent, closes) = (|| self.intent.words(), self.intent.branch());
        if worst.current > envelope.current.si() {
            return Err(Refusal::Current {
                intent: intent(),
                prospective: Amperes::from_si(worst.current).unwrap_or(Amperes::new(f64::MAX)),
                most: envelope.current,
                closes,
            });
        }
        if worst.let_through > envelope.let_through.si() {
            return Err(Refusal::LetThrough {
                intent: intent(),
                prospective: AmpereSquareSeconds::from_si(worst.let_through)
                    .unwrap_or(AmpereSquareSeconds::new(f64::MAX)),
                most: envelope.let_through,
                closes,
            });
        }
        if worst.energy > envelope.energy.si() {
            return Err(Refusal::Energy {
                intent: intent(),
                prospective: Joules::from_si(worst.energy).unwrap_or(Joules::new(f64::MAX)),
                most: envelope.energy,
                closes,
            });
        }
        Ok(())
    }

    fn envelope(&self) -> Envelope {
        self.surroundings.envelope()
    }

    fn bulk(&self) -> Farads {
        self.surroundings.board.bulk_capacitance
    }

    fn supply(&self) -> Result<SupplyState, Refusal> {
        match self.state.supply {
            Known::Sure(supply) => Ok(supply),
            Known::Unknown => Err(self.unknown(Role::Supply)),
        }
    }

    fn senseless(&self) -> Refusal {
        Refusal::NotPositive {
            intent: self.intent.words(),
        }
    }

    fn unknown(&self, role: Role) -> Refusal {
        let intent = self.intent.words();
        Refusal::Unknown { intent, role }
    }

    fn lacks(&self, what: impl Into<String>) -> Refusal {
        Refusal::Lacks {
            intent: self.intent.words(),
            what: what.into(),
        }
    }

    fn beyond(&self, role: Role, most: impl ToString) -> Refusal {
        Refusal::Range {
            intent: self.intent.words(),
            role,
            most: most.to_string(),
        }
    }
}
