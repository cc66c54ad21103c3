//! What is to be done, complete and checked before a port is opened: a plan,
//! the bench it was checked against, and the particulars of this run. It does
//! nothing itself.

use crate::bench_file;
use crate::event::{FileFacts, RunStarted};
use crate::ident::{LotName, RunId, Serial};
use crate::plan::{Omitted, Plan};
use crate::seed::Seed;
use crate::units::Celsius;

/// What a person says about one run beside plan and bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Particulars {
    /// The board.
    pub serial: Serial,
    /// Its lot.
    pub lot: Option<LotName>,
    /// Seed of the model bench.
    pub seed: Seed,
    /// Who runs it.
    pub operator: Option<String>,
    /// Ambient temperature; where it is not stated, a thermometer that stands there
    /// is read.
    pub ambient: Option<Celsius>,
    /// Why the board is tested again.
    pub retest: Option<String>,
    /// The scenarios of a diagnosis, which is never an acceptance.
    pub only: Option<String>,
    /// Scenarios that are left out.
    pub without: Vec<Omitted>,
    /// Defects planted in a model board, by name.
    pub planted: Vec<String>,
}

/// Which captures stay with the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Captures {
    /// Every one, before it is evaluated.
    All,
    /// Those of scenarios that did not pass: for suites of thousands of model
    /// runs.
    OfFailures,
}

/// One plan on one board of one bench.
#[derive(Clone, Debug)]
pub struct Order {
    /// The run's identifier.
    pub run: RunId,
    /// What a person said.
    pub particulars: Particulars,
    /// What is done: every scenario that is not left out of it.
    pub plan: Plan,
    /// With what.
    pub bench: bench_file::Bench,
    /// Every file that shaped it.
    pub files: Vec<FileFacts>,
    /// Which captures are kept.
    pub captures: Captures,
}

impl Order {
    /// The first event of the run, on a bench that turned out to be a `model`
    /// or a real one.
    pub fn started(&self, model: bool) -> RunStarted {
        let particulars = &self.particulars;
        let scenarios = self.plan.run();
        RunStarted {
            run: self.run.clone(),
            serial: particulars.serial.clone(),
            lot: particulars.lot.clone(),
            plan: self.plan.name.clone(),
            family: self.plan.family.clone(),
            revision: self.plan.revision.clone(),
            scenarios: scenarios.map(|(_, s)| s.name.clone()).collect(),
            files: self.files.clone(),
            model,
            // What is served by another program has a seed of its own.
            seed: self.bench.is_model().then_some(particulars.seed),
            operator: particulars.operator.clone(),
            ambient: particulars.ambient,
            ambient_u: None,
            retest: particulars.retest.clone(),
            overdue_calibration: None,
            missing_safety: self.bench.safety.missing(),
            only: particulars.only.clone(),
            without: particulars.without.clone(),
            planted: particulars.planted.clone(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        }
    }
}
