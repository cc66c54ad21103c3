//! One sitting at a bench: the store, the open instruments and the runs, one board
//! after another. It decides nothing about boards and shows nothing: sinks do.

use super::acceptance::{Acceptance, Outcome, Setting, Warn};
use super::hindrance::Hindrance;
use super::left_on;
use super::mounting::{Mounted, next_bench, open_bench};
use crate::bench::guardian::Guardian;
use crate::bench::{Bench, Shown};
use crate::clock::SystemClock;
use crate::ident::{RunId, harmless};
use crate::runner::{Finished, Order, Particulars, RunFault, Sink, Stop, run};
use crate::store::{Durability, Reader, Store};
use std::io;
use std::path::Path;
use tokio::sync::broadcast;

/// A sitting that is open.
pub struct Session {
    acceptance: Acceptance,
    /// Real instruments, open for the whole sitting; models are made anew around
    /// each board.
    kept: Option<Bench>,
    /// Who is shown what the meters read.
    shown: Option<broadcast::Sender<Shown>>,
}

impl Session {
    /// Opens a bench of ports, and then the store that its instruments belong to.
    ///
    /// # Errors
    /// A [`Hindrance`]: nothing was energised.
    pub async fn open(setting: Setting) -> Result<Self, Hindrance> {
        let Setting {
            plan,
            bench,
            person,
            ..
        } = &setting;
        let kept = if bench.bench.is_model() {
            None
        } else {
            Some(open_bench(bench, plan, Mounted::Real, person).await?)
        };
        let model = kept.as_ref().is_none_or(Bench::is_model);
        let store = Store::for_run(&setting.out, model, Durability::EveryEvent, &SystemClock)?;
        // A model hurts nobody, and the system gives its ports' names away again.
        if let Some(bench) = kept.as_ref().filter(|bench| !bench.is_model()) {
            let ports = bench.identified().iter().map(|found| found.port.as_str());
            left_on::refuse(&store.reader()?, &ports.collect::<Vec<_>>())?;
        }
        Ok(Self {
            acceptance: Acceptance { setting, store },
            kept,
            shown: None,
        })
    }

    /// What is run, on what, by whom.
    pub fn setting(&self) -> &Setting {
        &self.acceptance.setting
    }

    /// What the boards have in common, for runs beside each other on benches of their
    /// own.
    pub fn acceptance(&self) -> &Acceptance {
        &self.acceptance
    }

    /// Shows `shown` what the meters read while the bench is watched.
    pub fn show_meters_to(&mut self, shown: broadcast::Sender<Shown>) {
        self.shown = Some(shown);
    }

    /// Runs that were found cut off and closed as inconclusive.
    pub fn closed_cut_off(&self) -> &[RunId] {
        self.acceptance.store.closed_cut_off()
    }

    /// What the store holds already.
    ///
    /// # Errors
    /// [`Hindrance::Store`].
    pub fn reader(&self) -> Result<Reader, Hindrance> {
        Ok(self.acceptance.store.reader()?)
    }

    /// Runs the plan on one board, shown to `sinks`, and writes its reports.
    ///
    /// # Errors
    /// A [`Hindrance`] where there is no complete record; a bench that was opened
    /// was made safe.
    pub async fn accept(
        &mut self,
        particulars: Particulars,
        mounted: Mounted,
        stop: &Stop,
        sinks: &mut [&mut dyn Sink],
        warn: &mut Warn<'_>,
    ) -> Result<Outcome, Hindrance> {
        let order = self.acceptance.order(particulars);
        let finished = self.finish(&order, mounted, stop, sinks, warn).await?;
        self.acceptance.outcome(finished, warn)
    }

    async fn finish(
        &mut self,
        order: &Order,
        mounted: Mounted,
        stop: &Stop,
        sinks: &mut [&mut dyn Sink],
        warn: &mut Warn<'_>,
    ) -> Result<Result<Finished, RunFault>, Hindrance> {
        let Acceptance { setting, store } = &self.acceptance;
        let Setting { bench, person, .. } = setting;
        let kept = self.kept.take();
        let mut bench = next_bench(kept, bench, &order.plan, mounted, person).await?;
        if let Some(shown) = &self.shown {
            bench.show_meters_to(shown.clone());
        }
        let guardian = guardian(&bench, warn);
        let stop = match &guardian {
            Some(guardian) => stop.clone().or_lapse(guardian.lapse()),
            None => stop.clone(),
        };
        let finished = run(order, &mut bench, store, &SystemClock, sinks, stop).await;
        // What was done after the last step is the next board's no more.
        drop(bench.told());
        // The bench was made safe, or the record says that it was not and
        // the person has been told: either way nobody needs watching.
        if let Some(guardian) = guardian {
            guardian.dismiss();
        }
        if !bench.is_embedded() {
            self.kept = Some(bench);
        }
        Ok(finished)
    }
}

/// A guardian over real ports; the instruments of a model bench end with the
/// program itself. A bench without one still runs, and says so.
fn guardian(bench: &Bench, warn: &mut Warn<'_>) -> Option<Guardian> {
    if bench.is_embedded() {
        return None;
    }
    watching(|program| Guardian::start(bench, program), warn)
}

/// The guardian that `start` starts from this program; where there is none, or where
/// it lacks a port, that is said.
pub fn watching(
    start: impl FnOnce(&Path) -> io::Result<Guardian>,
    warn: &mut Warn<'_>,
) -> Option<Guardian> {
    match std::env::current_exe().and_then(|program| start(&program)) {
        Ok(guardian) => {
            for port in guardian.missing() {
                warn(&format!(
                    "the guardian could not open {}: a killed or stalled program leaves \
                     what is there as it is",
                    harmless(port)
                ));
            }
            tracing::info!(process = guardian.process(), "the guardian watches");
            Some(guardian)
        }
        Err(fault) => {
            warn(&format!(
                "no guardian ({fault}): a killed or stalled program leaves the bench as it is"
            ));
            None
        }
    }
}
