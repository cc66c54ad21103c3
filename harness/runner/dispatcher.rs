//! The only place where executor, signals, store and screens meet, in one
//! order: an event is numbered, stored, shown, and only then acknowledged.
//! However a run ends, the bench is made safe and the record says how that
//! went.

use super::Sink;
use super::ambient::Ambient;
use super::executor::execute;
use super::fitness::{excused, unfit};
use super::journal::{Ended, Journal, Said, journal};
use super::order::Order;
use super::stop::Stop;
use super::turns::{Turn, Turns, Withdrawn};
use crate::bench::Bench;
use crate::clock::{BenchInstant, WallClock};
use crate::digest::Hashed;
use crate::event::{Abort, Entry, Event, RunStarted};
use crate::judgement::Verdict;
use crate::measurement::Blame;
use crate::record::{Fold, Record, RecordFault, measurement_digest};
use crate::scenario::Trouble;
use crate::store::{RunWriter, Store, StoreError};
use jiff::tz::TimeZone;
use std::future::{Future, poll_fn};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::pin::pin;
use std::task::Poll;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::MissedTickBehavior;

/// How often those who show the run are told that time passes.
const SECOND: Duration = Duration::from_secs(1);

/// A run that reached its end, one way or another.
#[derive(Debug)]
pub struct Finished {
    /// The record as kept.
    pub record: Record,
    /// Whether every action of making safe succeeded.
    pub safe: bool,
}

/// Why there is no complete record of a run.
#[derive(Debug, thiserror::Error)]
pub enum RunFault {
    /// The store failed. The bench was made safe.
    #[error("the record could not be written: {0}")]
    Store(#[from] StoreError),
    /// The events contradict each other: a bug here.
    #[error("the record contradicts itself: {0}")]
    Record(#[from] RecordFault),
    /// Its turn to be recorded never came. The bench was made safe.
    #[error(transparent)]
    Withdrawn(#[from] Withdrawn),
}

/// How the executor ended.
enum End {
    Complete,
    BenchGone,
    Stopped,
    /// Why nothing that was measured since counts.
    Unwatched(String),
    Panicked,
}

/// Runs `order` on `bench`, keeping every event in `store` and then showing it
/// to `sinks`.
///
/// # Errors
/// [`RunFault`] when there is no complete record. The bench was made safe
/// before it is returned.
pub async fn run(
    order: &Order,
    bench: &mut Bench,
    store: &Store,
    clock: &dyn WallClock,
    sinks: &mut [&mut dyn Sink],
    stop: Stop,
) -> Result<Finished, RunFault> {
    let turns = Turns::default();
    run_in_turn(order, bench, store, clock, sinks, stop, &turns.turn(0)).await
}

/// The same beside other runs: until its `turn` comes its events are held in memory,
/// and at its end it waits for it, blocking this thread. It still has the turn when
/// this returns, and the caller passes it on.
///
/// Only for a bench that can hurt nobody: what energises is held as well, and on disk
/// before it is done only once the turn has come.
///
/// # Errors
/// As for [`run`], and [`RunFault::Withdrawn`], with nothing in the store, where the
/// turn never comes.
pub async fn run_in_turn(
    order: &Order,
    bench: &mut Bench,
    store: &Store,
    clock: &dyn WallClock,
    sinks: &mut [&mut dyn Sink],
    mut stop: Stop,
    turn: &Turn<'_>,
) -> Result<Finished, RunFault> {
    let mut ledger = Ledger {
        store,
        writer: None,
        clock,
        sinks,
        fold: Fold::default(),
        turn,
        held: Vec::new(),
        failed: None,
    };
    let today = TimeZone::UTC.to_datetime(clock.now()).date();
    let ambient = Ambient::of(order, bench, &mut stop).await;
    let started = RunStarted {
        ambient: ambient.value,
        ambient_u: ambient.u,
        overdue_calibration: excused(order, bench, today),
        ..order.started(bench.is_model())
    };
    ledger.write(bench.now(), Event::RunStarted(Box::new(started)))?;
    for instrument in bench.identified() {
        ledger.write(bench.now(), instrument.event())?;
    }
    let unfit = unfit(order, bench, today).map(|trouble| (trouble, false));
    let end = match unfit.or(ambient.trouble) {
        Some((trouble, gone)) => {
            let scenario = None;
            ledger.write(bench.now(), Event::Trouble { scenario, trouble })?;
            if gone { End::BenchGone } else { End::Complete }
        }
        None => {
            let (journal, said) = journal();
            let end = drive_to_end(order, bench, &journal, said, &mut ledger, &mut stop).await;
            // A stall in the last step is a stall as well.
            stop.lapsed().map_or(end, End::Unwatched)
        }
    };
    let outcome = bench.make_safe().await;
    let now = bench.now();
    let safe = outcome.safe;
    // From here on a store that fails no longer endangers anything.
    let abort = ledger.close(end, now);
    ledger.write(now, Event::MadeSafe { outcome })?;
    let record = ledger.record();
    let verdict = verdict(record, abort.is_some());
    let measurement = measurement_digest(record);
    ledger.write(
        now,
        Event::RunFinished {
            verdict,
            abort,
            measurement,
        },
    )?;
    if !ledger.held.is_empty() {
        turn.wait()?;
        ledger.keep_and_show()?;
    }
    match ledger.failed.take() {
        Some(fault) => Err(fault),
        None => Ok(Finished {
            record: ledger.record().clone(),
            safe,
        }),
    }
}

/// Polls the executor and hears what it says until either is over.
async fn drive_to_end(
    order: &Order,
    bench: &mut Bench,
    journal: &Journal,
    mut said: mpsc::Receiver<Said>,
    ledger: &mut Ledger<'_, '_>,
    stop: &mut Stop,
) -> End {
    let mut executor = pin!(guarded(execute(order, bench, journal)));
    let mut lapses = pin!(stop.clone().lapses());
    let mut seconds = tokio::time::interval(SECOND);
    seconds.set_missed_tick_behavior(MissedTickBehavior::Skip);
    loop {
        tokio::select! {
            biased;
            // The caller reads what it was.
            () = &mut lapses => return End::Stopped,
            () = stop.raised() => return End::Stopped,
            Some(said) = said.recv() => {
                if ledger.hear(said).is_err() {
                    return End::Stopped;
                }
            }
            ended = &mut executor => return match ended {
                Some(Ok(true)) => End::Complete,
                Some(Ok(false)) => End::BenchGone,
                Some(Err(Ended)) => End::Stopped,
                None => End::Panicked,
            },
            // Only what is shown hangs on it.
            _ = seconds.tick() => ledger.second(),
        }
    }
}

/// `future`, with a panic in it turned into `None`: a bug must not keep the
/// bench from being made safe.
async fn guarded<F: Future>(future: F) -> Option<F::Output> {
    let mut future = pin!(future);
    poll_fn(move |context| {
        let polled = catch_unwind(AssertUnwindSafe(|| future.as_mut().poll(context)));
        match polled {
            Ok(Poll::Pending) => Poll::Pending,
            Ok(Poll::Ready(output)) => Poll::Ready(Some(output)),
            Err(_) => Poll::Ready(None),
        }
    })
    .await
}

/// An entry with the bytes of the observation that it names.
struct Told {
    entry: Entry,
    observation: Option<Hashed>,
}

/// The one order of events: numbered, stored, shown.
struct Ledger<'a, 's> {
    store: &'a Store,
    /// The run in the store, once it has begun.
    writer: Option<RunWriter>,
    clock: &'a dyn WallClock,
    sinks: &'a mut [&'s mut dyn Sink],
    fold: Fold,
    /// When this run is recorded among those beside it, and what waits for that.
    turn: &'a Turn<'a>,
    held: Vec<Told>,
    failed: Option<RunFault>,
}

impl Ledger<'_, '_> {
    fn record(&self) -> &Record {
        self.fold
            .record()
            .expect("a run begins with its first event")
    }

    fn second(&mut self) {
        for sink in &mut *self.sinks {
            sink.second();
        }
    }

    fn write(&mut self, bench: BenchInstant, event: Event) -> Result<(), RunFault> {
        self.tell(bench, event, None)
    }

    fn tell(
        &mut self,
        bench: BenchInstant,
        event: Event,
        observation: Option<Hashed>,
    ) -> Result<(), RunFault> {
        let entry = Entry {
            sequence: self.fold.next_sequence(),
            at: self.clock.now(),
            bench,
            event,
        };
        self.fold.push(&entry)?;
        self.held.push(Told { entry, observation });
        if self.turn.has_come()? {
            self.keep_and_show()?;
        }
        Ok(())
    }

    /// Stores what is held, and then shows it.
    fn keep_and_show(&mut self) -> Result<(), RunFault> {
        let mut held = std::mem::take(&mut self.held);
        // After a first failure the rest is kept in memory and shown, so that
        // the person still sees how the run ended.
        if self.failed.is_none() {
            self.keep(&mut held)?;
        }
        for told in &held {
            for sink in &mut *self.sinks {
                sink.entry(&told.entry);
            }
        }
        Ok(())
    }

    fn keep(&mut self, held: &mut [Told]) -> Result<(), StoreError> {
        // All before it reaches the disk with it.
        let waited_for = held
            .iter()
            .rposition(|told| told.entry.event.must_be_durable());
        for (index, Told { entry, observation }) in held.iter_mut().enumerate() {
            let Some(writer) = &mut self.writer else {
                self.writer = Some(self.store.begin(entry)?);
                continue;
            };
            if let Some(bytes) = observation.take() {
                if let Event::Observed { scenario, .. } = &entry.event {
                    for sink in &mut *self.sinks {
                        sink.observed(scenario, &bytes);
                    }
                }
                writer.put_observation(bytes)?;
            }
            writer.append(entry, waited_for == Some(index))?;
        }
        Ok(())
    }

    /// Takes what the executor said, and tells it once that is recorded, or held
    /// until it is this run's turn.
    fn hear(&mut self, said: Said) -> Result<(), ()> {
        match self.tell(said.bench, said.event, said.observation) {
            Ok(()) => {
                // A caller that no longer waits has been told to stop already.
                let _ = said.recorded.send(());
                Ok(())
            }
            Err(fault) => {
                self.failed = Some(fault);
                Err(())
            }
        }
    }

    /// Says why the run ended early, if it did.
    fn close(&mut self, end: End, now: BenchInstant) -> Option<Abort> {
        let (abort, what, blame) = match end {
            End::Complete => return None,
            _ if self.failed.is_some() => (
                Abort::Store,
                "the record could not be written".to_owned(),
                Blame::Bench,
            ),
            End::Stopped => (
                Abort::Operator,
                "stopped by the person at the bench".to_owned(),
                Blame::Operator,
            ),
            End::Unwatched(why) => (
                Abort::Bench,
                format!("{why}: what was measured meanwhile cannot be relied on"),
                Blame::Bench,
            ),
            // The executor has already said what was gone.
            End::BenchGone => return Some(Abort::Bench),
            End::Panicked => (
                Abort::Harness,
                "a bug in this program ended the run".to_owned(),
                Blame::Bench,
            ),
        };
        let trouble = Trouble { what, blame };
        // A failure to write this is found at the end of the run.
        if let Err(fault) = self.write(
            now,
            Event::Trouble {
                scenario: None,
                trouble,
            },
        ) {
            self.failed.get_or_insert(fault);
        }
        Some(abort)
    }
}

/// The verdict over all scenarios; one that never ran cannot pass.
fn verdict(record: &Record, aborted: bool) -> Verdict {
    let scenarios = record
        .scenarios
        .iter()
        .filter_map(|scenario| scenario.verdict);
    let missing = aborted || record.not_run().next().is_some();
    Verdict::overall(scenarios.chain(missing.then_some(Verdict::Inconclusive)))
}
