//! Boards on embedded model benches side by side, a lane each: their runs overlap,
//! and whatever is stored, written or said of them comes in the order of the boards.
//! It decides nothing about boards; real benches have no lanes.

use super::audience::Audience;
use super::exit::Exit;
use super::output::Output;
use super::session::Outcome;
use super::stopping::runtime;
use crate::bench::BenchError;
use crate::clock::SystemClock;
use crate::ident::Serial;
use crate::link::Person;
use crate::runner::{Order, Particulars, RunFault, Stop, Turn, Turns, Withdrawn, run_in_turn};
use crate::sitting::{Acceptance, Hindrance, Mounted, opened};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The next of a lot.
pub(super) enum Drawn {
    /// A board and what it is made of.
    Board(Box<Particulars>, Mounted),
    /// No board: what is done in its turn says why.
    Instead(Instead),
}

/// Says something and gives the status that it asks for.
pub(super) type Instead = Box<dyn FnOnce() -> Exit + Send>;

/// As many boards at a time as there are threads.
pub(super) struct Lanes<'a> {
    pub(super) acceptance: &'a Acceptance,
    pub(super) output: Output,
    /// Whether only verdict lines are said.
    pub(super) brief: bool,
    pub(super) stop: &'a Stop,
    pub(super) threads: usize,
}

/// What one lane does until its turn comes.
enum Begun {
    Board(Box<Order>, Mounted),
    Instead(Instead),
}

impl Lanes<'_> {
    /// Runs what `next` gives until there is no more, somebody stops it, or `each`,
    /// which is told of one after another in that order, says that the lot ends: what
    /// `next` is handed is raised then, lest it waits. Boards that were begun beside
    /// the last one leave nothing behind.
    pub(super) fn run(
        &self,
        next: impl FnMut(&mut Stop) -> Option<Drawn> + Send,
        each: impl FnMut(Option<Serial>, Result<Outcome, Exit>) -> bool + Send,
    ) {
        let turns = Turns::default();
        let (next, each) = (Mutex::new((0, next)), Mutex::new(each));
        let begin = || {
            let (place, next) = &mut *held(&next);
            if turns.are_over() || self.stop.is_raised() {
                return None;
            }
            let begun = match next(&mut turns.over())? {
                // Here, so that their identifiers are in order as well.
                Drawn::Board(particulars, mounted) => {
                    Begun::Board(Box::new(self.acceptance.order(*particulars)), mounted)
                }
                Drawn::Instead(says) => Begun::Instead(says),
            };
            let turn = turns.turn(*place);
            *place += 1;
            Some((turn, begun))
        };
        let lane = || {
            while let Some((turn, begun)) = begin() {
                let Ok((serial, ended)) = self.one(begun, &turn) else {
                    return;
                };
                let goes_on = held(&each)(serial, ended);
                if !goes_on || self.stop.is_raised() {
                    return;
                }
                turn.pass();
            }
        };
        let lane = &lane;
        std::thread::scope(|scope| {
            for _ in 0..self.threads.max(1) {
                scope.spawn(lane);
            }
        });
    }

    /// One board to its end, or what is said instead of it; in its turn when this
    /// returns.
    fn one(
        &self,
        begun: Begun,
        turn: &Turn<'_>,
    ) -> Result<(Option<Serial>, Result<Outcome, Exit>), Withdrawn> {
        let (order, mounted) = match begun {
            Begun::Board(order, mounted) => (order, mounted),
            Begun::Instead(says) => {
                turn.wait()?;
                return Ok((None, Err(says())));
            }
        };
        let mut audience = Audience::of(self.output, self.brief, None);
        let run = async {
            let Acceptance { setting, store } = self.acceptance;
            let nobody = Person::assumed();
            let mut bench = opened(&setting.bench, &order.plan, mounted, &nobody).await?;
            let (sinks, stop) = (&mut [&mut audience as _], self.stop.clone());
            let ran = run_in_turn(&order, &mut bench, store, &SystemClock, sinks, stop, turn);
            Ok::<_, BenchError>(ran.await)
        };
        let ran = runtime().map(|runtime| runtime.block_on(run));
        turn.wait()?;
        let outcome = match ran {
            Ok(Ok(Err(RunFault::Withdrawn(withdrawn)))) => return Err(withdrawn),
            Ok(Ok(finished)) => {
                let diagnosis = order.particulars.only.is_some();
                let mut warn = |words: &str| warn_line!("{words}");
                let ended = self.acceptance.outcome(finished, &mut warn);
                ended
                    .map(|ended| Outcome::of(ended, diagnosis))
                    .map_err(Exit::from)
            }
            Ok(Err(fault)) => Err(Hindrance::unavailable(&fault).into()),
            Err(exit) => Err(exit),
        };
        Ok((Some(order.particulars.serial), outcome))
    }
}

/// What is locked; a lane that panicked ends the lot by the turn that it drops.
fn held<T>(locked: &Mutex<T>) -> MutexGuard<'_, T> {
    locked.lock().unwrap_or_else(PoisonError::into_inner)
}
