//! What a procedure may ask of a bench, answered by a dry one. It finds no
//! fault by itself: each request is held to what the bench can do by `dry`.

use super::Dry;
use crate::bench_file::{Bench, Closer, Closes};
use crate::clock::BenchInstant;
use crate::ident::Role;
use crate::measurement::Estimate;
use crate::scenario::acquisition::{CaptureRequest, Trigger};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::session::{
    Act, BenchSession, Halt, LONGEST_WAIT, Meter, Opening, Protections, Provokes, Serves,
};
use crate::scenario::{Configuration, Polarity, Ratings};
use crate::units::{Amperes, Seconds};
use crate::waveform::{Capture, LogicLine, Signal};

impl BenchSession for Dry<'_> {
    fn ratings(&self) -> &Ratings {
        &self.plan.ratings
    }

    fn configuration(&self) -> &Configuration {
        &self.plan.configuration
    }

    fn file(&self) -> &Bench {
        self.bench
    }

    fn supply_current(&self) -> Amperes {
        self.surroundings.supply_current()
    }

    fn now(&self) -> BenchInstant {
        self.now
    }

    fn may_go_on(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt> {
        self.goes_on(serves, time);
        Ok(())
    }

    async fn step(&mut self, text: &str) -> Result<(), Halt> {
        self.begins(text, false);
        Ok(())
    }

    async fn energise(
        &mut self,
        provokes: Provokes,
        text: &str,
        intent: Intent,
    ) -> Result<(), Halt> {
        let prospect = self.surroundings.prospect(&self.state, self.now);
        if let Err(refusal) = prospect.check(&intent) {
            // The supply at the rated voltage is nobody's setting.
            let rated = matches!(intent, Intent::SupplyOn { .. }) && provokes.amount == "kind";
            let provokes = Provokes {
                amount: if rated {
                    "ratings.supply_voltage"
                } else {
                    provokes.amount
                },
                ..provokes
            };
            self.faults.refused(provokes, &refusal);
        }
        self.in_range(provokes, &intent);
        if matches!(intent, Intent::SupplyOn { .. }) && !self.enabled {
            self.beyond_external(provokes.amount, "the board is to be off while it is fed");
        }
        if let Some((role, name, lacks)) = commanded(&intent) {
            self.needs_command(provokes.amount, role, name, lacks);
        }
        self.begins(text, true);
        let (role, actions) = match intent {
            Intent::SupplyOn { .. } => (Role::Supply, 3.0),
            Intent::LoadOn(_) | Intent::LoadHold { .. } => (Role::Load, 3.0),
            Intent::LoadPulse { .. } | Intent::LoadRamp { .. } => (Role::Load, 4.0),
            Intent::LoadShort { .. } => (Role::Load, 2.0),
            _ => (Role::Switch, 2.0),
        };
        let took = self.lines().action(role) * actions + self.read_back(&intent);
        self.provoked(&intent);
        // What follows is counted from before the exchange: cautious.
        self.state = self.state.after(&intent, self.now);
        self.passes(took);
        Ok(())
    }

    async fn act(&mut self, serves: Serves, act: Act) -> Result<(), Halt> {
        let (role, command) = match &act {
            Act::Drive(Polarity::Alternating) | Act::Pattern(_) => {
                (Role::Drive, Some(("pattern", "sends no pattern")))
            }
            Act::Drive(_) => (Role::Drive, Some(("hold", "holds no polarity"))),
            Act::Signal(_) | Act::Enable(_) => (Role::Drive, None),
            Act::Brake(_) => (Role::Drive, Some(("set_brake", "drives no brake line"))),
            Act::BreakLine(_) => (Role::Drive, Some(("break_line", "breaks no line"))),
            Act::CaptureOff if self.armed.take().is_none() => return Ok(()),
            Act::CaptureOff => (Role::Capture, None),
            Act::LoadOff => (Role::Load, None),
            Act::SupplyOff | Act::SecondOpener(_) | Act::StillLoaded => (Role::Supply, None),
        };
        if let Some((name, lacks)) = command {
            self.needs_command(serves, role, name, lacks);
        }
        match &act {
            Act::Enable(on) => self.enabled = *on,
            Act::Signal(false) => self.beyond_external(serves, "the signal is to stop"),
            Act::Pattern(_) => self.beyond_external(serves, "packets of the plan are to be sent"),
            _ => {}
        }
        let driven = match &act {
            Act::Drive(polarity) => Some(*polarity),
            Act::Pattern(_) => Some(Polarity::Alternating),
            _ => None,
        };
        if let Some(polarity) = driven {
            let prospect = self.surroundings.prospect(&self.state, self.now);
            if let Err(refusal) = prospect.may_drive(polarity) {
                let provokes = Provokes {
                    amount: serves,
                    time: serves,
                };
                self.faults.refused(provokes, &refusal);
            }
            self.state = self.state.driven(Some(polarity));
        }
        let took = match &act {
            Act::Pattern(pattern) => self.lines().action_with(role, pattern.len()),
            // What it draws is read back.
            Act::LoadOff => {
                self.lines().action(role) + self.lines().question(role, "measure_current")
            }
            _ => self.lines().action(role),
        };
        match act {
            Act::LoadOff => self.state = self.state.load_off(),
            Act::SupplyOff | Act::SecondOpener(_) | Act::StillLoaded => {
                self.state = self.state.supply_off()
            }
            _ => {}
        }
        self.passes(took);
        Ok(())
    }

    async fn wait(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt> {
        if time > LONGEST_WAIT {
            let message = format!("a wait of {time} is longer than any run may have");
            let expected = format!("{LONGEST_WAIT} or less");
            self.faults
                .note((serves, "wait"), (message, expected), None, false);
        }
        self.goes_on(serves, time);
        self.passes(time);
        Ok(())
    }

    fn shows(&self, signal: Signal) -> Option<f64> {
        self.wiring.channel(signal).map(|channel| channel.range)
    }

    async fn arm(&mut self, serves: Serves, request: &CaptureRequest) -> Result<(), Halt> {
        self.can_take(serves, request);
        let took = self.lines().arm(request);
        self.passes(took);
        if request.trigger != Trigger::Now {
            // It fills up to its trigger, and is asked now and then.
            let before = request.before() * 1.05 + Seconds::new(2e-3);
            let asked = self.lines().question(Role::Capture, "operation");
            self.goes_on(serves, before);
            self.passes(before + asked * 2.0);
        }
        self.armed = Some(request.clone());
        Ok(())
    }

    async fn read_out(&mut self, label: &str, patience: Seconds) -> Result<Option<Capture>, Halt> {
        let Some(request) = self.armed.take() else {
            return Ok(None);
        };
        let fault = LogicLine::Fault;
        let late = matches!(request.trigger, Trigger::Line { line, .. } if line == fault);
        let rest = request.after_trigger() + request.before();
        let asked = self.lines().question(Role::Capture, "operation") * 4.0;
        let mut takes = rest + (rest + Seconds::new(0.05)) / 32.0 + asked;
        if late {
            takes = takes + patience;
        }
        self.goes_on("kind", takes);
        self.passes(takes);
        let read = self.lines().read_out(&request);
        self.passes(read);
        Ok(Some(self.shown(&request, label)))
    }

    async fn read(&mut self, serves: Serves, meter: Meter) -> Result<Option<Estimate>, Halt> {
        let (role, reads) = match meter {
            Meter::SupplyCurrent => (Role::Supply, "measure_current"),
            Meter::SupplyVoltage => (Role::Supply, "measure_voltage"),
            Meter::LoadCurrent => (Role::Load, "measure_current"),
            Meter::Temperature => (Role::Thermometer, "measure_temperature"),
            Meter::BoardSense => (Role::Console, "sense"),
        };
        if meter == Meter::BoardSense {
            self.needs_command(serves, role, "sense", "says nothing of its current");
        }
        if self.profiles.contains_key(&role) {
            let took = self.lines().question(role, reads);
            self.passes(took);
        }
        Ok(Some(Estimate::new(0.0, 0.0)))
    }

    async fn protections(&mut self) -> Result<Protections, Halt> {
        for role in [Role::Load, Role::Supply] {
            if self.profiles.contains_key(&role) {
                let took = self.lines().question(role, "condition");
                self.passes(took);
            }
        }
        Ok(Protections::default())
    }

    async fn fuse_intact(&mut self, _: Closes) -> Result<Option<bool>, Halt> {
        let took = self.lines().question(Role::Switch, "continuity");
        self.passes(took);
        Ok(None)
    }

    async fn prove_open(&mut self, closes: Closes, _: Amperes) -> Result<Opening, Halt> {
        let (role, asks) = match self.bench.branch(closes).map(|branch| branch.closer) {
            Some(Closer::Load) => (Role::Load, "shorted"),
            _ => (Role::Switch, "closed"),
        };
        let took = self.lines().question(role, asks)
            + self.lines().question(Role::Supply, "measure_current");
        self.passes(took);
        Ok(Opening::Proven)
    }

    async fn at_rest(&mut self, time: Seconds) -> Result<(), Halt> {
        // The board empties meanwhile; reading back takes its time out of that.
        self.passes(time);
        Ok(())
    }

    async fn switch_finished(&mut self, within: Seconds) -> Result<(), Halt> {
        let rest = (self.opens - self.now).seconds().max(Seconds::ZERO);
        let asked = self.lines().question(Role::Switch, "operation") * 2.0;
        let takes = rest.min(within) + within / 64.0 + asked;
        self.goes_on("kind", takes);
        self.passes(takes);
        Ok(())
    }
}

/// The command without which an instrument cannot do what `intent` asks, beside
/// those that every one has, and what it then lacks.
fn commanded(intent: &Intent) -> Option<(Role, &'static str, &'static str)> {
    match intent {
        Intent::LoadOn(LoadSetting::Resistance(_)) => {
            Some((Role::Load, "constant_resistance", "holds no resistance"))
        }
        Intent::LoadPulse { .. } => Some((Role::Load, "pulse", "times no pulse")),
        Intent::LoadRamp { .. } => Some((Role::Load, "ramp", "times no ramp")),
        Intent::LoadShort { .. } => Some((Role::Load, "short_pulse", "times no short")),
        Intent::ShortPulse { .. } | Intent::GapPulse { .. } | Intent::Connect { .. } => {
            Some((Role::Switch, "pulse", "times no closure"))
        }
        Intent::SupplyOn { .. } | Intent::LoadOn(_) | Intent::LoadHold { .. } => None,
    }
}
