//! What every scenario does with the bench: power up, say each step before it
//! is taken, provoke through the interlock, capture, wait for the board to
//! restart, and leave it quiet. It knows no scenario in particular.

use super::journal::{Ended, Journal};
use crate::bench::{Bench, BenchError, Opening};
use crate::bench_file::{self, Closes};
use crate::envelope::{BoardFacts, Intent, Loop, Loops, gap_branch, short_branch};
use crate::event::Event;
use crate::ident::Role;
use crate::instruments::{CaptureRequest, ChannelRequest, Trigger};
use crate::measurement::Blame;
use crate::observation::{Drive, Place, Proof, Take};
use crate::plan::{Plan, Scenario};
use crate::units::{Amperes, Dimension, Quantity, Seconds, Volts};
use crate::waveform::{Capture, LogicLine, Signal};

/// How long a board may take to restart by itself before its supply is cycled.
const PATIENCE: Seconds = Seconds::new(12.0);
/// How often it is looked at meanwhile.
const LOOK: Seconds = Seconds::new(0.1);

/// Which part of time a capture covers, and how finely.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    /// Time between samples.
    pub(super) period: Seconds,
    /// Before the trigger.
    pub(super) before: Seconds,
    /// After it.
    pub(super) after: Seconds,
}

/// Why a scenario stopped before its end.
#[derive(Debug, thiserror::Error)]
pub enum Halt {
    /// The run is being ended.
    #[error(transparent)]
    Ended(#[from] Ended),
    /// An instrument or its port.
    #[error(transparent)]
    Bench(#[from] BenchError),
    /// The board did not do what every step needs.
    #[error("{0}")]
    Board(String),
    /// The bench file leaves out what the scenario needs.
    #[error("{0}")]
    Missing(String),
}

impl Halt {
    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            Self::Ended(_) => Blame::Operator,
            Self::Bench(error) => error.blame(),
            Self::Missing(_) => Blame::Bench,
            Self::Board(_) => Blame::Board,
        }
    }

    /// Whether no further scenario can run either: a port that fails once
    /// leaves an instrument in a state that nobody knows.
    pub fn bench_is_gone(&self) -> bool {
        use crate::instruments::InstrumentError;
        matches!(
            self,
            Self::Bench(
                BenchError::Instrument(InstrumentError::Link { .. }) | BenchError::Port { .. }
            )
        )
    }
}

/// A scenario's hold on the bench.
pub struct Hands<'a> {
    /// The bench.
    pub bench: &'a mut Bench,
    /// The plan that is carried out.
    pub plan: &'a Plan,
    file: &'a bench_file::Bench,
    journal: &'a Journal,
    scenario: &'a str,
}

impl<'a> Hands<'a> {
    /// Hands for `scenario` of `plan`, speaking through `journal`.
    pub fn new(
        bench: &'a mut Bench,
        journal: &'a Journal,
        plan: &'a Plan,
        file: &'a bench_file::Bench,
        scenario: &'a Scenario,
    ) -> Self {
        Self {
            bench,
            plan,
            file,
            journal,
            scenario: &scenario.name,
        }
    }

    /// Says a step that puts no energy into the board.
    pub(super) async fn step(&self, text: &str) -> Result<(), Halt> {
        self.say(text, false).await
    }

    async fn say(&self, text: &str, energises: bool) -> Result<(), Halt> {
        let event = Event::Step {
            scenario: self.scenario.to_owned(),
            text: text.to_owned(),
            energises,
        };
        Ok(self.journal.say(self.bench.now(), event).await?)
    }

    /// Asks the interlock, says what is about to happen and waits until that is
    /// on disk, then lets the energy in.
    pub(super) async fn energise(&mut self, text: &str, intent: Intent) -> Result<(), Halt> {
        let permit = self.bench.permit(&intent).map_err(BenchError::from)?;
        self.say(text, true).await?;
        Ok(self.bench.energise(permit).await?)
    }

    /// Signal running, board enabled, supply on at the rated voltage.
    pub(super) async fn power_up(&mut self) -> Result<(), Halt> {
        self.bench.set_drive(Drive::Alternating).await?;
        self.bench.signal(true).await?;
        self.bench.enable(true).await?;
        self.supply_on().await?;
        // The rail charges, and the board's own start-up delay passes.
        self.bench.wait(Seconds::new(0.2)).await?;
        self.recover().await
    }

    /// Signal running, supply on at the rated voltage, board not enabled.
    pub(super) async fn power_disabled(&mut self) -> Result<(), Halt> {
        self.bench.set_drive(Drive::Alternating).await?;
        self.bench.signal(true).await?;
        self.bench.enable(false).await?;
        self.supply_on().await?;
        Ok(self.bench.wait(Seconds::new(0.2)).await?)
    }

    async fn supply_on(&mut self) -> Result<(), Halt> {
        let reach = self
            .bench
            .profile(Role::Supply)
            .and_then(|profile| profile.supply_range());
        let current_limit = reach.map_or(self.file.envelope.current, |range| range.current);
        let most = current_limit.min(self.file.envelope.current);
        self.supply_at(self.plan.ratings.supply_voltage, most).await
    }

    /// The supply on at `voltage`, limited to `current_limit`.
    pub(super) async fn supply_at(
        &mut self,
        voltage: Volts,
        current_limit: Amperes,
    ) -> Result<(), Halt> {
        let intent = Intent::SupplyOn {
            voltage,
            current_limit,
        };
        self.energise(&format!("supply on, {voltage}"), intent)
            .await
    }

    /// Drives the board's inputs.
    pub(super) async fn drive(&mut self, drive: Drive) -> Result<(), Halt> {
        self.bench.set_drive(drive).await?;
        // A few bits, so that the output follows before anything is read.
        Ok(self.bench.wait(Seconds::new(2e-3)).await?)
    }

    /// Everything off that can put energy into the board, the board empty.
    pub async fn quiet(&mut self) -> Result<(), Halt> {
        self.bench.load_off().await?;
        self.bench.enable(false).await?;
        self.bench.supply_off().await?;
        Ok(self.bench.wait(Seconds::new(0.5)).await?)
    }

    /// Waits until the output is alive again; a board that does not restart by
    /// itself in time is helped by cycling its supply.
    pub(super) async fn recover(&mut self) -> Result<(), Halt> {
        if self.alive_within(PATIENCE).await? {
            return Ok(());
        }
        self.step("the board did not restart by itself: supply off and on")
            .await?;
        self.bench.supply_off().await?;
        self.bench.wait(Seconds::new(2.0)).await?;
        self.supply_on().await?;
        if self.alive_within(PATIENCE).await? {
            return Ok(());
        }
        Err(Halt::Board(
            "the output stays dead although the supply is on and the signal runs".to_owned(),
        ))
    }

    async fn alive_within(&mut self, patience: Seconds) -> Result<bool, Halt> {
        let looks = (patience / LOOK).ceil() as u32;
        for _ in 0..looks {
            let take = self
                .snapshot_of(
                    "look",
                    Seconds::new(5e-6),
                    Seconds::new(0.5e-3),
                    &[Signal::NodeVoltage],
                    self.plan.ratings.rated_current,
                )
                .await?;
            let alive =
                peak(&take, Signal::NodeVoltage) > self.plan.ratings.supply_voltage.si() / 2.0;
            if alive {
                return Ok(true);
            }
            self.bench.wait(LOOK).await?;
        }
        Ok(false)
    }

    /// A capture of `signals`, currents up to `current`.
    pub(super) fn request(
        &self,
        window: Window,
        trigger: Trigger,
        signals: &[Signal],
        current: Amperes,
    ) -> CaptureRequest {
        self.request_in(window, trigger, signals, current.si())
    }

    /// The most that can flow through a short, and a quarter for the edges.
    pub(super) fn short_current(&self, place: Place) -> Result<Amperes, Halt> {
        let supply = self.plan.ratings.supply_voltage;
        widest(self.loops().short(place, supply), short_branch(place))
    }

    /// The capacitor bank as the bench states it.
    pub(super) fn bank(&self) -> Result<bench_file::BankEntry, Halt> {
        let branch = self.file.branch(Closes::CapacitorBank);
        branch
            .and_then(|branch| branch.bank)
            .ok_or_else(|| Halt::Missing("the bench file states no capacitor bank".to_owned()))
    }

    /// The most that can flow into the empty bank, and a quarter for the edges.
    pub(super) fn bank_current(&self) -> Result<Amperes, Halt> {
        let supply = self.plan.ratings.supply_voltage;
        widest(self.loops().bank(supply), Closes::CapacitorBank)
    }

    /// The most that can flow between the board and the upstream source in
    /// opposite phase, and a quarter for the edges.
    pub(super) fn mismatch_current(&self, crossed: bool) -> Result<Amperes, Halt> {
        let supply = self.plan.ratings.supply_voltage;
        widest(self.loops().gap(crossed, supply), gap_branch(crossed))
    }

    fn loops(&self) -> Loops<'_> {
        Loops::new(self.file, BoardFacts::from(&self.plan.ratings))
    }

    fn request_in(
        &self,
        window: Window,
        trigger: Trigger,
        signals: &[Signal],
        current: f64,
    ) -> CaptureRequest {
        let voltage = self.plan.ratings.highest_supply.si() * 1.25;
        let channels = signals
            .iter()
            .map(|&signal| {
                let wanted = if signal.dimension() == Dimension::Current {
                    current
                } else {
                    voltage
                };
                let range = self
                    .bench
                    .sees(signal)
                    .map_or(wanted, |reach| wanted.min(reach));
                ChannelRequest { signal, range }
            })
            .collect();
        let samples = |time: Seconds| {
            (time / window.period)
                .ceil()
                .clamp(0.0, f64::from(u32::MAX / 2)) as u32
        };
        let before_trigger = samples(window.before);
        let length = before_trigger + samples(window.after).max(1);
        CaptureRequest {
            period: window.period,
            length,
            before_trigger,
            trigger,
            channels,
            lines: true,
        }
    }

    /// Captures what happens now, without waiting for a trigger.
    pub(super) async fn snapshot(
        &mut self,
        label: &str,
        period: Seconds,
        length: Seconds,
        signals: &[Signal],
        current: Amperes,
    ) -> Result<Take, Halt> {
        let capture = self
            .snapshot_of(label, period, length, signals, current)
            .await?;
        self.take(capture, length).await
    }

    async fn snapshot_of(
        &mut self,
        label: &str,
        period: Seconds,
        length: Seconds,
        signals: &[Signal],
        current: Amperes,
    ) -> Result<Capture, Halt> {
        let window = Window {
            period,
            before: Seconds::ZERO,
            after: length,
        };
        let request = self.request(window, Trigger::Now, signals, current);
        self.bench.arm(&request).await?;
        Ok(self.bench.fetch(label).await?)
    }

    /// Fetches the armed capture if its trigger comes within `patience`.
    pub(super) async fn fetch_if_triggered(
        &mut self,
        label: &str,
        pulse: Seconds,
        patience: Seconds,
    ) -> Result<Option<Take>, Halt> {
        match self.bench.fetch_within(label, patience).await {
            Ok(capture) => Ok(Some(self.take(capture, pulse).await?)),
            Err(BenchError::NotTriggered { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// Fetches a triggered capture with what the instruments said.
    pub(super) async fn fetch(&mut self, label: &str, pulse: Seconds) -> Result<Take, Halt> {
        let capture = self.bench.fetch(label).await?;
        self.take(capture, pulse).await
    }

    /// Fetches the capture of a short, with the state of its fuse.
    pub(super) async fn fetch_short(
        &mut self,
        label: &str,
        pulse: Seconds,
        place: Place,
    ) -> Result<Take, Halt> {
        let take = self.fetch(label, pulse).await?;
        let closes = short_branch(place);
        let fuse_intact = self.bench.fuse_intact(closes).await?;
        Ok(Take {
            fuse_intact,
            proof: self.bench.proof(closes),
            ..take
        })
    }

    async fn take(&mut self, capture: Capture, pulse: Seconds) -> Result<Take, Halt> {
        Ok(Take {
            capture,
            pulse,
            load_protected: self.bench.load_protected().await?,
            supply_protected: self.bench.supply_protected().await?,
            fuse_intact: None,
            proof: Proof::None,
        })
    }

    /// Proves that a short is open again; one that is not has made the supply
    /// the second opener, and nothing more can be tested with that contact.
    ///
    /// A board that has tripped draws nothing through a welded contact either,
    /// so where there is a pilot current it is asked first.
    pub(super) async fn prove_open(&mut self, place: Place, take: &Take) -> Result<(), Halt> {
        let pilot = match place {
            Place::Near => LogicLine::NearPilot,
            Place::Far => LogicLine::FarPilot,
        };
        let capture = &take.capture;
        let welded = capture
            .line(pilot)
            .is_some_and(|line| !capture.is_empty() && line.level(capture.len() - 1));
        // A quarter of the rated current: well above the board's own appetite
        // and the bleeder, well below any short.
        let off_level = self.plan.ratings.rated_current * 0.25;
        if welded {
            self.bench.supply_off().await?;
        } else if self
            .bench
            .prove_open(short_branch(place), off_level)
            .await?
            == Opening::Proven
        {
            return Ok(());
        }
        Err(Halt::Missing(format!(
            "the {} short did not open after its pulse, so the supply was switched off: \
             look at the contact before you go on",
            place.word()
        )))
    }

    /// What the rectifier in front of the load takes away.
    pub(super) fn rectifier_drop(&self) -> Volts {
        self.file.wiring.rectifier_drop
    }

    /// How long after a short the board may take to restart, for captures that
    /// want to see it.
    pub(super) fn retry_room(&self) -> Seconds {
        Seconds::new(1.5)
    }

    /// Whether the output is the inverse of the first input line now.
    pub(super) async fn output_is_inverted(&mut self) -> Result<bool, Halt> {
        let capture = self
            .snapshot_of(
                "phase",
                Seconds::new(1e-6),
                Seconds::new(2e-3),
                &[Signal::NodeVoltage],
                self.plan.ratings.rated_current,
            )
            .await?;
        let line = capture.line(LogicLine::SignalA).ok_or_else(|| {
            Halt::Missing(
                "the bench file names no logic line for the board's first input".to_owned(),
            )
        })?;
        let channel = capture.channel(Signal::NodeVoltage).ok_or_else(|| {
            Halt::Missing("the bench file names no channel for the node voltage".to_owned())
        })?;
        let agreement: f64 = (0..channel.codes.len())
            .map(|at| {
                let value = channel.offset + channel.scale * f64::from(channel.codes[at]);
                if line.level(at) { value } else { -value }
            })
            .sum();
        Ok(agreement < 0.0)
    }

    /// The upstream source's voltage while the gap was still open.
    pub(super) fn upstream_voltage(&self, take: &Take) -> Result<Volts, Halt> {
        let value = peak(&take.capture, Signal::UpstreamVoltage);
        Volts::from_si(value)
            .ok_or_else(|| Halt::Missing("no upstream voltage was captured".to_owned()))
    }

    /// The stated trip time of the upstream source.
    pub(super) fn upstream_trip_time(&self) -> Result<Seconds, Halt> {
        self.file
            .upstream
            .as_ref()
            .map(|upstream| upstream.trip_time)
            .ok_or_else(|| Halt::Missing("the bench file states no upstream source".to_owned()))
    }
}

/// What can flow round a loop, and a quarter for the edges.
fn widest(closed: Option<Loop>, closes: Closes) -> Result<Amperes, Halt> {
    let current = closed.map(|closed| Amperes::from_si(closed.current().si() * 1.25));
    match current {
        Some(current) => Ok(current.unwrap_or(Amperes::new(f64::MAX))),
        None => Err(Halt::Missing(format!(
            "nothing flows through the {} of this bench, or there is none",
            closes.word()
        ))),
    }
}

/// Largest magnitude of a signal in a capture; zero where it is not there.
pub(super) fn peak(capture: &Capture, signal: Signal) -> f64 {
    capture.channel(signal).map_or(0.0, |channel| {
        channel
            .codes
            .iter()
            .map(|&code| (channel.offset + channel.scale * f64::from(code)).abs())
            .fold(0.0, f64::max)
    })
}
