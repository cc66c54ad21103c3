//! Many model boards at once: whole runs on model benches in memory, one
//! runtime a thread, told in the order of the boards. It touches no port, and
//! what a run finds is what it would find alone: boards share nothing but the
//! store.

use super::dispatcher::{Finished, RunFault, run};
use super::order::{Captures, Order, Particulars};
use super::stop::Stop;
use crate::bench::{Bench, Connection};
use crate::bench_file;
use crate::clock::WallClock;
use crate::envelope::BoardFacts;
use crate::event::FileFacts;
use crate::ident::{Role, RunId};
use crate::model_bench::{Transport, world};
use crate::model_board::BoardParameters;
use crate::parallel::{cores, in_order};
use crate::plan::Plan;
use crate::profile::Profile;
use crate::seed::Seed;
use crate::store::Store;
use std::collections::BTreeMap;
use tokio::runtime::Builder;

/// What every board of a rehearsal has in common.
#[derive(Clone, Copy)]
pub struct Rehearsal<'a> {
    /// What is done.
    pub plan: &'a Plan,
    /// On which bench; it must be a model bench.
    pub bench: &'a bench_file::Bench,
    /// How its instruments talk.
    pub profiles: &'a BTreeMap<Role, Profile>,
    /// The files behind all of that.
    pub files: &'a [FileFacts],
    /// Where the records go.
    pub store: &'a Store,
    /// The wall clock of the records.
    pub clock: &'a (dyn WallClock + Sync),
    /// Boards under test at a time, one thread each; zero counts as one.
    pub threads: usize,
    /// Ends the rehearsal early.
    pub stop: &'a Stop,
}

/// One board of a rehearsal.
#[derive(Clone, Debug)]
pub struct Entrant {
    /// The identifier of its run.
    pub run: RunId,
    /// What a person would say about it.
    pub particulars: Particulars,
    /// What the board is made of.
    pub board: BoardParameters,
    /// What its console says it is; `None` where its file leaves that open.
    pub identity: Option<String>,
    /// Seed of the instruments' errors and noise.
    pub seed: Seed,
}

/// Why an entrant has no record.
#[derive(Debug, thiserror::Error)]
pub enum RehearsalFault {
    /// Its bench could not be opened.
    #[error("the model bench cannot be opened: {0}")]
    Bench(String),
    /// Its run ended without one.
    #[error(transparent)]
    Run(#[from] RunFault),
}

/// How many boards at a time keep this machine busy: one more than it has
/// cores, since now and then one waits for its record to be safe.
pub fn boards_at_a_time() -> usize {
    cores() + 1
}

impl Rehearsal<'_> {
    /// Runs the plan on each of `entrants` and hands the outcomes to `each`, in
    /// the order of the entrants and as soon as that order allows. After a stop
    /// or once `each` says `false`, no further board is begun.
    pub fn perform(
        self,
        entrants: &[Entrant],
        mut each: impl FnMut(&Entrant, Result<Finished, RehearsalFault>) -> bool,
    ) {
        let work = |(): &mut (), index: usize| {
            let begins = !self.stop.is_raised();
            begins.then(|| self.one(&entrants[index]))
        };
        in_order(
            self.threads,
            entrants.len(),
            || (),
            work,
            |index, outcome| each(&entrants[index], outcome),
        );
    }

    fn one(self, entrant: &Entrant) -> Result<Finished, RehearsalFault> {
        let bench = |fault: String| RehearsalFault::Bench(fault);
        let identity = entrant.identity.as_deref();
        let (board, seed) = (&entrant.board, entrant.seed);
        let world = world(self.bench, self.profiles, board, identity, seed)
            .map_err(|fault| bench(fault.to_string()))?;
        let connection = Connection::Model {
            world: Box::new(world),
            transport: Transport::Memory,
        };
        let order = Order {
            run: entrant.run.clone(),
            particulars: entrant.particulars.clone(),
            plan: self.plan.clone(),
            bench: self.bench.clone(),
            files: self.files.to_vec(),
            captures: Captures::OfFailures,
        };
        let runtime = Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|fault| bench(fault.to_string()))?;
        runtime.block_on(async {
            let facts = BoardFacts::from(&self.plan.ratings);
            let mut opened = Bench::open(self.bench, self.profiles, facts, connection)
                .await
                .map_err(|fault| bench(fault.to_string()))?;
            let stop = self.stop.clone();
            Ok(run(&order, &mut opened, self.store, self.clock, &mut [], stop).await?)
        })
    }
}
