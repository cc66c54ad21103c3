//! A scenario's session on a bench: each request goes through the interlock or
//! straight to the instrument, and each step is said, and on disk where it
//! energises, before it is taken. It decides nothing.

use super::journal::{Ended, Journal};
use crate::bench::{Bench, BenchError};
use crate::bench_file::{self, Closes};
use crate::clock::BenchInstant;
use crate::event::Event;
use crate::ident::Role;
use crate::measurement::{Blame, Estimate};
use crate::plan::{Plan, Scenario};
use crate::scenario::acquisition::CaptureRequest;
use crate::scenario::intent::Intent;
use crate::scenario::session::{
    Act, BenchSession, Halt, Meter, Opening, Protections, Provokes, Serves,
};
use crate::scenario::{Configuration, Ratings};
use crate::units::{Amperes, Seconds};
use crate::waveform::{Capture, Freshness, Signal, Stale};

/// A scenario's hold on the bench.
pub(super) struct Session<'a> {
    bench: &'a mut Bench,
    plan: &'a Plan,
    file: &'a bench_file::Bench,
    journal: &'a Journal,
    scenario: &'a str,
    freshness: &'a mut Freshness,
    /// The capture that was asked for last.
    armed: Option<CaptureRequest>,
}

impl<'a> Session<'a> {
    /// A session for `scenario` of `plan`, speaking through `journal`;
    /// `freshness` knows the captures of the run so far.
    pub(super) fn new(
        bench: &'a mut Bench,
        journal: &'a Journal,
        plan: &'a Plan,
        file: &'a bench_file::Bench,
        scenario: &'a Scenario,
        freshness: &'a mut Freshness,
    ) -> Self {
        Self {
            bench,
            plan,
            file,
            journal,
            scenario: &scenario.name,
            freshness,
            armed: None,
        }
    }

    /// Says a step, and before it what the person at the bench did meanwhile.
    async fn say(&self, text: &str, energises: bool) -> Result<(), Halt> {
        self.tell_by_hand().await?;
        self.say_step(text, energises).await
    }

    async fn tell_by_hand(&self) -> Result<(), Halt> {
        for told in self.bench.told() {
            self.say_step(&told, false).await?;
        }
        Ok(())
    }

    async fn say_step(&self, text: &str, energises: bool) -> Result<(), Halt> {
        let event = Event::Step {
            scenario: self.scenario.to_owned(),
            text: text.to_owned(),
            energises,
        };
        let said = self.journal.say(self.bench.now(), event).await;
        said.map_err(|Ended| Halt::Ended)
    }
}

/// What stopped the bench, for the scenario. A port that fails once leaves an
/// instrument in a state that nobody knows, so nothing more can run then.
fn halt(error: impl Into<BenchError>) -> Halt {
    let error: BenchError = error.into();
    Halt::Trouble {
        what: error.to_string(),
        blame: error.blame(),
        bench_is_gone: error.is_gone(),
    }
}

fn old_samples(label: &str, stale: Stale) -> String {
    format!("{stale} ({label}): the capture device did not take a new one")
}

fn untriggered(label: &str) -> String {
    format!(
        "the capture device was triggered by a channel whose samples are all the same ({label}): \
         it did not take them"
    )
}

impl BenchSession for Session<'_> {
    fn ratings(&self) -> &Ratings {
        &self.plan.ratings
    }

    fn configuration(&self) -> &Configuration {
        &self.plan.configuration
    }

    fn file(&self) -> &bench_file::Bench {
        self.file
    }

    fn supply_current(&self) -> Amperes {
        self.bench.supply_limit()
    }

    fn now(&self) -> BenchInstant {
        self.bench.now()
    }

    fn may_go_on(&mut self, _: Serves, time: Seconds) -> Result<(), Halt> {
        self.bench.may_go_on(time).map_err(halt)
    }

    async fn step(&mut self, text: &str) -> Result<(), Halt> {
        self.say(text, false).await
    }

    async fn energise(&mut self, _: Provokes, text: &str, intent: Intent) -> Result<(), Halt> {
        let permit = self.bench.permit(&intent).map_err(halt)?;
        self.say(text, true).await?;
        self.bench.energise(permit).await.map_err(halt)
    }

    async fn act(&mut self, _: Serves, act: Act) -> Result<(), Halt> {
        let done = match act {
            Act::Drive(polarity) => self.bench.set_drive(polarity).await,
            Act::Pattern(pattern) => self.bench.set_pattern(&pattern).await,
            Act::Signal(on) => self.bench.signal(on).await,
            Act::Enable(on) => self.bench.enable(on).await,
            Act::Brake(on) => self.bench.brake(on).await,
            Act::BreakLine(line) => self.bench.break_line(line).await,
            Act::CaptureOff => self.bench.disarm().await,
            Act::LoadOff if !self.bench.has(Role::Load) => Ok(()),
            Act::LoadOff => self.bench.load_off().await,
            Act::SupplyOff => self.bench.supply_off().await,
            Act::SecondOpener(closes) => self.bench.second_opener(closes).await,
            Act::StillLoaded => self.bench.still_loaded().await,
        };
        done.map_err(halt)
    }

    async fn wait(&mut self, _: Serves, time: Seconds) -> Result<(), Halt> {
        self.bench.wait(time).await.map_err(halt)
    }

    fn shows(&self, signal: Signal) -> Option<f64> {
        self.bench.sees(signal)
    }

    async fn arm(&mut self, _: Serves, request: &CaptureRequest) -> Result<(), Halt> {
        self.armed = Some(request.clone());
        self.bench.arm(request).await.map_err(halt)
    }

    async fn read_out(&mut self, label: &str, patience: Seconds) -> Result<Option<Capture>, Halt> {
        match self.bench.fetch_within(label, patience).await {
            Ok(capture) => {
                if let Err(stale) = self.freshness.admit(&capture) {
                    return Err(Halt::trouble(Blame::Bench, old_samples(label, stale)));
                }
                let came = |request: &CaptureRequest| request.can_have_come(&capture);
                if !self.armed.as_ref().is_none_or(came) {
                    return Err(Halt::trouble(Blame::Bench, untriggered(label)));
                }
                Ok(Some(capture))
            }
            Err(BenchError::NotTriggered { .. }) => Ok(None),
            Err(error) => Err(halt(error)),
        }
    }

    async fn read(&mut self, _: Serves, meter: Meter) -> Result<Option<Estimate>, Halt> {
        let measured = match meter {
            Meter::SupplyCurrent => self.bench.supply_current().await.map(Some),
            Meter::SupplyVoltage => self.bench.supply_voltage().await.map(Some),
            Meter::LoadCurrent => self.bench.load_current().await.map(Some),
            Meter::Temperature => self.bench.temperature().await,
            Meter::BoardSense => {
                let counts = self.bench.board_sense().await.map_err(halt)?;
                return Ok(counts.value().map(|counts| Estimate::new(counts, 0.0)));
            }
        };
        let measured = measured.map_err(halt)?;
        Ok(measured.and_then(|measured| measured.estimate()))
    }

    async fn protections(&mut self) -> Result<Protections, Halt> {
        Ok(Protections {
            load: self.bench.load_protected().await.map_err(halt)?,
            supply: self.bench.supply_protected().await.map_err(halt)?,
        })
    }

    async fn fuse_intact(&mut self, closes: Closes) -> Result<Option<bool>, Halt> {
        self.bench.fuse_intact(closes).await.map_err(halt)
    }

    async fn prove_open(&mut self, closes: Closes, off_level: Amperes) -> Result<Opening, Halt> {
        let opening = self.bench.prove_open(closes, off_level).await;
        opening.map_err(halt)
    }

    async fn at_rest(&mut self, time: Seconds) -> Result<(), Halt> {
        let proven = self.bench.prove_at_rest(time).await.map_err(halt);
        self.tell_by_hand().await?;
        proven
    }

    async fn switch_finished(&mut self, within: Seconds) -> Result<(), Halt> {
        self.bench.switch_finished(within).await.map_err(halt)
    }
}
