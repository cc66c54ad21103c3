//! What a scenario asks of a bench. A drive is written against this trait, so
//! the same procedure runs on a bench, and without one where a plan is
//! checked; nothing here judges.

use super::acquisition::CaptureRequest;
use super::board::{Configuration, Ratings};
use super::intent::Intent;
use super::terms::Polarity;
use crate::bench_file::{Bench, Closes, Proof};
use crate::clock::BenchInstant;
use crate::measurement::{Blame, Estimate};
use crate::units::{Amperes, Seconds};
use crate::waveform::{Capture, Signal};

/// The key of the scenario's table that a request serves: where it cannot be
/// met, that is what a person would change.
pub type Serves = &'static str;

/// The keys of the scenario's table that decide how much energy is let in, and
/// for how long.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Provokes {
    /// What decides voltage or current.
    pub amount: Serves,
    /// What decides how long.
    pub time: Serves,
}

/// The longest wait that may be asked for at once.
pub const LONGEST_WAIT: Seconds = Seconds::new(3600.0);

/// One of the board's two input lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputLine {
    /// High in the positive half.
    A,
    /// High in the negative half.
    B,
}

/// Something done to the bench that lets no energy into the board.
#[derive(Clone, Debug, PartialEq)]
pub enum Act {
    /// The board's inputs held in a polarity, or sent a signal of all ones.
    Drive(Polarity),
    /// The board's inputs sent a pattern, over and over.
    Pattern(String),
    /// The signal let through to the board, or stopped.
    Signal(bool),
    /// The board's enable line.
    Enable(bool),
    /// The board's brake line.
    Brake(bool),
    /// One of the board's input lines broken; `None` mends it.
    BreakLine(Option<InputLine>),
    /// A capture that still waits for its trigger given up; nothing where none
    /// does.
    CaptureOff,
    /// The load's input off; nothing where there is no load.
    LoadOff,
    /// The supply off.
    SupplyOff,
    /// The supply off because this branch stayed closed; nothing more is permitted
    /// until a person has looked at its contact.
    SecondOpener(Closes),
    /// The supply off because something draws that was switched off; nothing more is
    /// permitted until a person has looked at the load.
    StillLoaded,
}

/// Something read of an instrument.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meter {
    /// Current that the supply delivers, in amperes.
    SupplyCurrent,
    /// Voltage at the supply's terminals, in volts.
    SupplyVoltage,
    /// Current that the load draws, in amperes.
    LoadCurrent,
    /// Temperature of the board's heat sink, in degrees Celsius.
    Temperature,
    /// The board's own reading of its output current, in counts.
    BoardSense,
}

/// How a closed branch came open again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opening {
    /// The switch says so and the current is gone.
    Proven,
    /// It was not: the supply was switched off instead.
    SecondOpener,
}

/// What instruments say of their own protection.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Protections {
    /// The load protected itself.
    pub load: bool,
    /// The supply limits its current or shut down.
    pub supply: bool,
}

/// Why a scenario stopped before its end.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Halt {
    /// The run is being ended.
    #[error("the run is being ended")]
    Ended,
    /// Something on the bench, or with the board, that leaves nothing to go on
    /// with.
    #[error("{what}")]
    Trouble {
        /// What happened, for the person at the bench.
        what: String,
        /// Who can mend it.
        blame: Blame,
        /// Whether an instrument is gone, so that no further scenario can run.
        bench_is_gone: bool,
    },
}

impl Halt {
    /// Trouble after which nothing more may be done on the bench.
    pub fn danger(what: impl Into<String>) -> Self {
        Self::Trouble {
            what: what.into(),
            blame: Blame::Bench,
            bench_is_gone: true,
        }
    }

    /// Whether nothing more may be done on the bench.
    pub fn ends_the_run(&self) -> bool {
        match self {
            Self::Ended => true,
            Self::Trouble { bench_is_gone, .. } => *bench_is_gone,
        }
    }

    /// Trouble that leaves the bench there.
    pub fn trouble(blame: Blame, what: impl Into<String>) -> Self {
        Self::Trouble {
            what: what.into(),
            blame,
            bench_is_gone: false,
        }
    }
}

/// A bench as a scenario sees it.
///
/// Each request that can be refused names the setting it serves. Futures are
/// not `Send`: a run lives on one thread.
#[expect(
    async_fn_in_trait,
    reason = "a drive and its bench live on one thread, and nobody outside implements this"
)]
pub trait BenchSession {
    /// What the board is rated for.
    fn ratings(&self) -> &Ratings;

    /// How the board is connected and set.
    fn configuration(&self) -> &Configuration;

    /// What the bench file states.
    fn file(&self) -> &Bench;

    /// The largest current that the supply can be limited to.
    fn supply_current(&self) -> Amperes;

    /// The present bench time.
    fn now(&self) -> BenchInstant;

    /// Whether the board may go on as it is for `time` more.
    ///
    /// # Errors
    /// A [`Halt`] when the envelope would be outlasted.
    fn may_go_on(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt>;

    /// Says a step that puts no energy into the board.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn step(&mut self, text: &str) -> Result<(), Halt>;

    /// Asks the interlock, says the step and waits until that is on disk, then
    /// lets the energy in.
    ///
    /// # Errors
    /// A [`Halt`]; nothing was let in when it is a refusal.
    async fn energise(
        &mut self,
        provokes: Provokes,
        text: &str,
        intent: Intent,
    ) -> Result<(), Halt>;

    /// Does something that lets no energy in.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn act(&mut self, serves: Serves, act: Act) -> Result<(), Halt>;

    /// Waits on the bench clock.
    ///
    /// # Errors
    /// A [`Halt`]; refused when the envelope would be outlasted.
    async fn wait(&mut self, serves: Serves, time: Seconds) -> Result<(), Halt>;

    /// The largest magnitude of `signal` that the bench can show; `None` where
    /// no channel shows it.
    fn shows(&self, signal: Signal) -> Option<f64>;

    /// Arms a capture, and returns once it waits for its trigger.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn arm(&mut self, serves: Serves, request: &CaptureRequest) -> Result<(), Halt>;

    /// Waits until the armed capture is over and reads it out; `None` when its
    /// trigger does not come within `patience`.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn read_out(&mut self, label: &str, patience: Seconds) -> Result<Option<Capture>, Halt>;

    /// Reads a meter; `None` where it gave no number or there is none.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn read(&mut self, serves: Serves, meter: Meter) -> Result<Option<Estimate>, Halt>;

    /// Whether load and supply protect themselves now.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn protections(&mut self) -> Result<Protections, Halt>;

    /// Whether the fuse of a branch is intact; `None` where the bench cannot
    /// tell.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn fuse_intact(&mut self, closes: Closes) -> Result<Option<bool>, Halt>;

    /// Proves that a branch is open again after its pulse: by less than
    /// `off_level` of current. If it is not, the supply is switched off.
    ///
    /// # Errors
    /// A [`Halt`].
    async fn prove_open(&mut self, closes: Closes, off_level: Amperes) -> Result<Opening, Halt>;

    /// Proves by reading back that everything on the bench is at rest, and returns
    /// `time` after it was asked, or later.
    ///
    /// # Errors
    /// A [`Halt`]; the run is over where something is not off.
    async fn at_rest(&mut self, time: Seconds) -> Result<(), Halt>;

    /// Waits until the switch has ended its closure.
    ///
    /// # Errors
    /// A [`Halt`] when it has not by about `within`.
    async fn switch_finished(&mut self, within: Seconds) -> Result<(), Halt>;

    /// How the closing of a branch is proven.
    fn proof(&self, closes: Closes) -> Proof {
        self.file()
            .branch(closes)
            .map_or(Proof::None, |branch| branch.proof)
    }
}
