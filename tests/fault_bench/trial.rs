//! One run with one fault between it and its bench, and what was wrong about
//! the way it ended. The circuit and the planted defect decide that, never what
//! the run says of itself.

use super::between::{Between, ENDLESS, Truth};
use super::kinds::{Kind, Onset};
use super::trick::Trick;
use bufferstop::bench::{Bench, Connection};
use bufferstop::clock::{SystemClock, WallClock};
use bufferstop::envelope::BoardFacts;
use bufferstop::event::Entry;
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::model_bench::{Transport, world};
use bufferstop::model_board::{self, Defect, ModelBoard};
use bufferstop::plan::{Plan, demo};
use bufferstop::profile::{self, Profile};
use bufferstop::runner::{Captures, Order, Particulars, Sink, Stop, run};
use bufferstop::seed::{Seed, Stream};
use bufferstop::store::{Durability, Store};
use bufferstop::{bench_file, plan};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use tempfile::TempDir;
use tokio::runtime::Builder;
use tokio::sync::watch;

/// Each scenario with a defect that it finds where nothing is wrong.
const FOUND_BY: [(&str, &str); 12] = [
    ("idle", "hungry logic"),
    ("idle", "brake line open"),
    ("load", "cold joint"),
    ("load", "weak switch"),
    ("overload", "trip level high"),
    ("overload", "trip level low"),
    ("short", "slow trip"),
    ("short", "no retry"),
    ("reversal", "reversing dead"),
    ("loss", "off on loss"),
    ("inrush", "hasty trip"),
    ("soak", "bad heat path"),
];

/// Scenarios that run beside the one that finds the defect.
const BESIDE: [&str; 6] = ["idle", "load", "short", "reversal", "loss", "supply"];

/// What was wrong about an end.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Wrong {
    EnergisedUnsaid,
    FalsePass,
    FalseFail,
    MissedDefect,
    LostEvents,
    IntoWeld,
    Endless,
    Panicked,
}

/// How one trial ended.
#[derive(Clone, Debug)]
pub(crate) struct Outcome {
    pub(crate) wrongs: Vec<Wrong>,
    pub(crate) truth: Truth,
    pub(crate) words: String,
}

/// Plan, bench and store of one thread.
pub(crate) struct Workplace {
    plan: Plan,
    bench: bench_file::Bench,
    profiles: BTreeMap<Role, Profile>,
    board: ModelBoard,
    store: Store,
    _folder: TempDir,
    runs: u64,
}

/// What was drawn for a trial.
struct Draw {
    scenarios: Vec<String>,
    defect: Option<&'static Defect>,
    onset: u64,
}

/// How the run went, where it went at all.
enum Ran {
    NotOpened(String),
    Failed(String),
    Judged(Verdict, bool),
}

/// Keeps what was shown, and stops the run after so many entries.
struct Shown {
    entries: Vec<Entry>,
    stop_after: Option<u64>,
    raise: watch::Sender<bool>,
}

impl Sink for Shown {
    fn entry(&mut self, entry: &Entry) {
        self.entries.push(entry.clone());
        if self.stop_after == Some(self.entries.len() as u64) {
            self.raise.send_replace(true);
        }
    }
}

/// The machine's clock when somebody sets it, to and fro.
struct Jumping(std::sync::atomic::AtomicU64);

impl WallClock for Jumping {
    fn now(&self) -> jiff::Timestamp {
        let count = self.0.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let seconds = [1_700_000_000, 4_000_000_000, 0, 1_700_000_001][(count % 4) as usize];
        jiff::Timestamp::from_second(seconds).expect("a year of four digits")
    }
}

impl Workplace {
    /// With the demo's plan.
    pub(crate) fn new() -> Self {
        Self::with(plan::parse(&[demo::plan()]).expect("a plan").0)
    }

    pub(crate) fn with(plan: Plan) -> Self {
        let bench = bench_file::parse(&demo::bench()).expect("a bench").0;
        let shipped = |role: Role| profile::shipped(role.word()).expect("a profile");
        let profiles = bench
            .instruments
            .iter()
            .map(|instrument| (instrument.role, shipped(instrument.role)))
            .collect();
        let (store, folder) = new_store(Durability::AtEnd);
        let board = model_board::parse(&demo::board()).expect("a board").0;
        Self {
            plan,
            bench,
            profiles,
            board: ModelBoard {
                planted: Vec::new(),
                ..board
            },
            store,
            _folder: folder,
            runs: 0,
        }
    }

    /// One run of `kind`, all of it by `seed`.
    pub(crate) fn attempt(&mut self, kind: &Kind, seed: u64) -> Outcome {
        // Each kind has draws of its own.
        let name: Vec<u64> = kind.name.bytes().map(u64::from).collect();
        let mut chance = Seed(seed).stream(&name);
        let draw = drawn(kind, &mut chance);
        self.perform(kind, seed, draw, chance)
    }

    /// One run of these scenarios on a good board, its fault at the `onset`-th
    /// line or commit.
    pub(crate) fn attempt_at(&mut self, kind: &Kind, scenarios: &[String], onset: u64) -> Outcome {
        let draw = Draw {
            scenarios: scenarios.to_vec(),
            defect: None,
            onset,
        };
        self.perform(kind, 1, draw, Seed(onset).stream(&[0xA7]))
    }

    fn perform(&mut self, kind: &Kind, seed: u64, draw: Draw, chance: Stream) -> Outcome {
        let store = matches!(kind.trick, Trick::StoreFails).then(|| {
            let (store, folder) = new_store(Durability::EveryEvent);
            store.fills_up_after(draw.onset);
            (store, folder)
        });
        let mut board = self.board.draw(Seed(seed), seed);
        if let Some(defect) = draw.defect {
            defect.plant(&mut board);
        }
        let name = self.board.identity.as_deref();
        let world = world(&self.bench, &self.profiles, &board, name, Seed(seed));
        let world = world.expect("a sound circuit");
        self.runs += 1;
        let order = self.order(&draw, seed);
        let runtime = Builder::new_current_thread()
            .enable_all()
            .start_paused(true)
            .build()
            .expect("a runtime");
        let guard = runtime.enter();
        let between = Between::new(world, kind.trick, draw.onset, chance);
        drop(guard);
        let (raise, raised) = watch::channel(false);
        let mut shown = Shown {
            entries: Vec::new(),
            stop_after: matches!(kind.trick, Trick::Stopped).then_some(draw.onset.max(1)),
            raise,
        };
        let kept = store.as_ref().map_or(&self.store, |(store, _)| store);
        let going = self.go(&order, kind, &between, kept, (&mut shown, raised));
        let limited = async { tokio::time::timeout(ENDLESS, going).await };
        let ran = catch_unwind(AssertUnwindSafe(|| runtime.block_on(limited)));
        drop(runtime);
        let mut wrongs = Vec::new();
        let words = match &ran {
            Err(_) => "a panic".to_owned(),
            Ok(Err(_)) => "no end".to_owned(),
            Ok(Ok(Ran::NotOpened(why) | Ran::Failed(why))) => why.clone(),
            Ok(Ok(Ran::Judged(verdict, safe))) => format!("{verdict:?}, safe: {safe}"),
        };
        let bad = draw.defect.is_some();
        let energy = between.energy();
        match ran {
            Err(_) => wrongs.push(Wrong::Panicked),
            Ok(Err(_)) => wrongs.push(Wrong::Endless),
            Ok(Ok(ran)) => self.judge(kind, &ran, (bad, energy.is_there()), &mut wrongs),
        }
        let truth = between.truth();
        if truth.into_weld > 0 {
            wrongs.push(Wrong::IntoWeld);
        }
        if store.is_none() && !self.has_all(&order, &shown.entries) {
            wrongs.push(Wrong::LostEvents);
        }
        let defect = draw.defect.map_or("none", |defect| defect.name);
        let troubles = told(&shown.entries);
        Outcome {
            wrongs,
            truth,
            words: format!(
                "{:?}, defect {defect}, from line {}: {words}; at the end {energy:?}{troubles}",
                draw.scenarios, draw.onset
            ),
        }
    }

    fn judge(&self, kind: &Kind, ran: &Ran, facts: (bool, bool), wrongs: &mut Vec<Wrong>) {
        let (bad, energised) = facts;
        match ran {
            // A bench that is not available says nothing of what is on it: what
            // could be switched off must be off then.
            Ran::NotOpened(why) => {
                let obeys = !matches!(kind.trick, Trick::Tells(_) | Trick::Vanishes(..));
                if energised && obeys && !why.contains("energised") {
                    wrongs.push(Wrong::EnergisedUnsaid);
                }
            }
            // The store's failure is said; the bench must be off all the same.
            Ran::Failed(_) if energised => wrongs.push(Wrong::EnergisedUnsaid),
            Ran::Failed(_) => {}
            Ran::Judged(verdict, safe) => {
                if energised && *safe {
                    wrongs.push(Wrong::EnergisedUnsaid);
                }
                if bad && *verdict == Verdict::Pass && *safe {
                    wrongs.push(Wrong::FalsePass);
                }
                if !bad && *verdict == Verdict::Fail {
                    wrongs.push(Wrong::FalseFail);
                }
                if matches!(kind.trick, Trick::None) && bad != (*verdict == Verdict::Fail) {
                    wrongs.push(Wrong::MissedDefect);
                }
            }
        }
    }

    async fn go(
        &self,
        order: &Order,
        kind: &Kind,
        between: &Between,
        store: &Store,
        (shown, raised): (&mut Shown, watch::Receiver<bool>),
    ) -> Ran {
        let connection = Connection::Model {
            world: Box::new(between.clone()),
            transport: Transport::Memory,
        };
        let facts = BoardFacts::from(&order.plan.ratings);
        let opened = Bench::open(&self.bench, &self.profiles, facts, connection).await;
        let mut bench = match opened {
            Ok(bench) => bench,
            Err(fault) => return Ran::NotOpened(fault.to_string()),
        };
        let jumping = Jumping(0.into());
        let clock: &dyn WallClock = match kind.trick {
            Trick::ClockJumps => &jumping,
            _ => &SystemClock,
        };
        let sinks: &mut [&mut dyn Sink] = &mut [shown];
        match run(order, &mut bench, store, clock, sinks, Stop::new(raised)).await {
            Ok(finished) => Ran::Judged(finished.record.verdict(), finished.safe),
            Err(fault) => Ran::Failed(fault.to_string()),
        }
    }

    fn order(&self, draw: &Draw, seed: u64) -> Order {
        let mut plan = self.plan.clone();
        plan.scenarios
            .retain(|scenario| draw.scenarios.contains(&scenario.name));
        Order {
            run: format!("run-{}", self.runs).parse().expect("a plain name"),
            particulars: Particulars {
                serial: format!("F{seed}").parse().expect("a plain name"),
                lot: None,
                seed: Seed(seed),
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                without: Vec::new(),
                planted: Vec::new(),
            },
            plan,
            bench: self.bench.clone(),
            files: Vec::new(),
            captures: Captures::OfFailures,
        }
    }

    /// Whether the store has every entry that was shown.
    fn has_all(&self, order: &Order, shown: &[Entry]) -> bool {
        let reader = self.store.reader().expect("a reader");
        reader.entries(&order.run).is_ok_and(|kept| kept == shown)
    }
}

fn new_store(durability: Durability) -> (Store, TempDir) {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let store = Store::for_run(folder.path(), true, durability, &SystemClock).expect("a store");
    (store, folder)
}

/// Scenarios, a defect in every second board, and where the fault begins.
fn drawn(kind: &Kind, chance: &mut Stream) -> Draw {
    let mut pick = |many: usize| (chance.next_u64() % many as u64) as usize;
    let (finds, defect) = FOUND_BY[pick(FOUND_BY.len())];
    let bad = pick(2) == 1;
    let mut scenarios = vec![BESIDE[pick(BESIDE.len())], finds];
    if let Trick::Welded(branch) = kind.trick {
        use bufferstop::physics::SwitchBranch::{Far, Near};
        let contact = matches!(branch, Near | Far);
        scenarios.push(if contact { "short" } else { "reversal" });
    }
    if kind.name.ends_with(", loaded") {
        scenarios.push("load");
    }
    let onset = match kind.onset {
        Onset::First => 0,
        // Even in the logarithm: much happens at the beginning.
        Onset::Somewhere if matches!(kind.trick, Trick::StoreFails) => {
            logarithmic(chance.uniform()) / 8
        }
        Onset::Somewhere => logarithmic(chance.uniform()),
    };
    Draw {
        scenarios: scenarios.into_iter().map(str::to_owned).collect(),
        defect: bad.then(|| Defect::named(defect).expect("a known defect")),
        onset,
    }
}

/// From 4 to 400, even in the logarithm.
fn logarithmic(uniform: f64) -> u64 {
    (4.0 * 100_f64.powf(uniform)) as u64
}

/// Troubles and unsafe actions as the run told them.
fn told(entries: &[Entry]) -> String {
    use bufferstop::event::Event;
    let mut words = String::new();
    for entry in entries {
        match &entry.event {
            Event::Trouble { trouble, .. } => {
                words.push_str(&format!("\n      {:?}: {}", trouble.blame, trouble.what));
            }
            Event::MadeSafe { outcome } => {
                for action in outcome.actions.iter().filter(|a| a.trouble.is_some()) {
                    words.push_str(&format!("\n      {} {action:?}", action.role));
                }
            }
            Event::Measured {
                metric,
                decision: Some(decision),
                ..
            } if decision.verdict == Verdict::Fail => {
                words.push_str(&format!(
                    "\n      fails {} {}",
                    metric.scenario,
                    metric.label()
                ));
            }
            _ => {}
        }
    }
    let lines: Vec<&str> = words.lines().take(6).collect();
    lines.join("\n")
}
