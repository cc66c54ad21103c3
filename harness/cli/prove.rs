//! `bufferstop prove`: known defects planted in model boards, and good boards,
//! all through the plan in memory. A bench file with ports lends its wiring to a
//! model bench; nothing real is touched and no record is kept.

use super::arguments::Prove;
use super::exit::Exit;
use super::handing_out;
use super::hindered::sound;
use super::output::Output;
use super::stopping::stopping;
use super::store_fault::store_exit;
use crate::clock::{SystemClock, WallClock as _};
use crate::console;
use crate::event::Abort;
use crate::handout::{Form, plan_proof};
use crate::ident::{Serial, harmless};
use crate::model_board::{DEFECTS, Defect, ModelBoard};
use crate::plan::Plan;
use crate::proof::{Asked, Conclusion, FileDigest, LeftOut, PlanProof, Setting, Trial};
use crate::runner::{
    Entrant, Finished, Particulars, Rehearsal, RehearsalFault, RunFault, boards_at_a_time,
};
use crate::seed::Seed;
use crate::sitting::{BenchFiles, Files, Sound, drawn, planted};
use crate::store::{Durability, Store};
use serde_json::json;
use std::io::{IsTerminal as _, Write as _};
use std::path::Path;
use std::time::Instant;

/// Boards with a defect are drawn from further on in the same production, each
/// defect from a stretch of its own that its name chooses, so that neither a
/// choice of defects nor a new one moves a board.
fn first_with(defect: &Defect) -> u64 {
    const BEYOND_GOOD: u64 = 1 << 63;
    const STRETCH: u64 = 1 << 10;
    let name: Vec<u64> = defect.name.bytes().map(u64::from).collect();
    let drawn = Seed(0).stream(&name).next_u64();
    BEYOND_GOOD | (drawn - drawn % STRETCH)
}

pub(super) fn prove(arguments: &Prove, output: Output) -> Exit {
    match prepared(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn prepared(arguments: &Prove, output: Output) -> Result<Exit, Exit> {
    let chosen = chosen(&arguments.only_defect)?;
    let mut files = Files::default();
    let plan = files.plan(&arguments.plan);
    let board = arguments.model_board.as_deref();
    let stated = files.bench(arguments.bench.as_deref(), board);
    let real = stated.as_ref().is_some_and(|b| !b.bench.is_model());
    let bench = stated.and_then(|stated| files.modelled(stated, board));
    let Sound { plan, bench, .. } = sound(&mut files, plan, bench)?;
    let mut work = Work::of(arguments, plan, bench, &chosen)?;
    work.setting.real = real;
    work.setting.files = files
        .facts()
        .into_iter()
        .map(|facts| FileDigest {
            name: facts.name,
            digest: facts.digest,
        })
        .collect();
    let begun = SystemClock.now();
    let (proof, trouble) = work.done()?;
    let mut exit = trouble.or(match proof.conclusion {
        Conclusion::NothingEscapes => Exit::Pass,
        Conclusion::Escapes => Exit::Fail,
        Conclusion::Inconclusive => Exit::Inconclusive,
    });
    let folder = arguments.out.as_deref();
    let written = folder.map(|folder| hand_out(folder, (&proof, &work.setting, begun)));
    if let Some(Err(unwritten)) = written {
        exit = exit.or(unwritten);
    }
    if output.json {
        output.document(&json!({
            "model": true,
            "setting": work.setting,
            "proof": proof,
            "exit": exit.code(),
        }));
        return Ok(exit);
    }
    let room = output.screen().width;
    say!("{}", console::proof::told(&proof, &work.setting, room));
    if let (Some(folder), Some(Ok(()))) = (folder, written) {
        let shown = harmless(&folder.display().to_string());
        say_line!("\n{shown}/proof.html  {shown}/proof.pdf");
    }
    Ok(exit)
}

/// The defects asked for by name; all where none is.
fn chosen(names: &[String]) -> Result<Vec<&'static Defect>, Exit> {
    if names.is_empty() {
        return Ok(DEFECTS.iter().collect());
    }
    let unknown = names.iter().find(|name| Defect::named(name).is_none());
    if let Some(name) = unknown {
        let known: Vec<&str> = DEFECTS.iter().map(|defect| defect.name).collect();
        warn_line!(
            "--only-defect {}: known defects are {}",
            harmless(name),
            known.join(", ")
        );
        return Err(Exit::Usage);
    }
    let asked = |defect: &&Defect| names.iter().any(|name| name == defect.name);
    Ok(DEFECTS.iter().filter(asked).collect())
}

/// Everything decided before the first run.
struct Work {
    plan: Plan,
    bench: BenchFiles,
    asked: Asked,
    setting: Setting,
    /// In the order in which they run, each with its defect.
    entrants: Vec<Entrant>,
    planted: Vec<Option<&'static str>>,
}

impl Work {
    fn of(
        arguments: &Prove,
        plan: Plan,
        bench: BenchFiles,
        chosen: &[&'static Defect],
    ) -> Result<Self, Exit> {
        // What the board's file plants is for lots: here boards are good, or
        // carry one defect.
        let board = bench.board.as_ref().ok_or(Exit::File)?;
        let board = ModelBoard {
            planted: Vec::new(),
            ..board.clone()
        };
        let (fitting, others): (Vec<&Defect>, Vec<&Defect>) =
            chosen.iter().partition(|d| d.fits(&board.nominal));
        if let (Some(defect), false) = (others.first(), arguments.only_defect.is_empty()) {
            warn_line!(
                "--only-defect {}: {}",
                defect.name,
                unfitting(defect, &board)
            );
            return Err(Exit::Usage);
        }
        let asked = Asked {
            scenarios: plan.run().map(|(_, s)| s.name.clone()).collect(),
            defects: fitting
                .iter()
                .map(|defect| (defect.name.to_owned(), defect.what.to_owned()))
                .collect(),
            each: arguments.boards_per_defect as usize,
            good: arguments.boards as usize,
        };
        let no_board = arguments.model_board.is_none();
        let own_board = bench
            .bench
            .model
            .as_ref()
            .is_some_and(|m| m.board.is_some());
        let setting = Setting {
            plan: plan.name.clone(),
            bench: bench.bench.name.clone(),
            bench_file: arguments
                .bench
                .as_ref()
                .map(|path| path.display().to_string()),
            real: false,
            board: board.name.clone(),
            board_of_demo: no_board && !own_board && arguments.bench.is_some(),
            seed: Seed(arguments.seed),
            each: asked.each,
            left_out: others
                .iter()
                .map(|defect| LeftOut {
                    defect: defect.name.to_owned(),
                    why: unfitting(defect, &board),
                })
                .collect(),
            files: Vec::new(),
        };
        let (entrants, planted) = entrants(arguments, &board, &fitting).into_iter().unzip();
        Ok(Self {
            plan,
            bench,
            asked,
            setting,
            entrants,
            planted,
        })
    }

    /// Runs every board until all are done or somebody stops it.
    fn done(&self) -> Result<(PlanProof, Exit), Exit> {
        let unwritable = |fault: std::io::Error| {
            warn_line!("no temporary folder: {fault}");
            Exit::Store
        };
        let folder = tempfile::tempdir().map_err(unwritable)?;
        let store = Store::for_run(folder.path(), true, Durability::AtEnd, &SystemClock)
            .map_err(|fault| store_exit(&fault))?;
        let (stop, _listening) = stopping()?;
        let rehearsal = Rehearsal {
            plan: &self.plan,
            bench: &self.bench.bench,
            profiles: &self.bench.profiles,
            files: &[],
            store: &store,
            clock: &SystemClock,
            threads: boards_at_a_time(),
            stop: &stop,
        };
        let progress = Progress::new(self.entrants.len());
        let (mut trials, mut trouble, mut index) = (Vec::new(), Exit::Pass, 0);
        rehearsal.perform(&self.entrants, |entrant, outcome| {
            let defect = self.planted[index];
            index += 1;
            progress.told(index);
            match outcome {
                Ok(Finished { record, .. }) => {
                    if record.abort() == Some(&Abort::Harness) {
                        trouble = trouble.or(Exit::Bug);
                    }
                    trials.extend(Trial::of(&record, defect));
                    true
                }
                Err(fault) => {
                    progress.over();
                    warn_line!("{}: {fault}", entrant.particulars.serial);
                    trouble = trouble.or(status(&fault));
                    false
                }
            }
        });
        progress.over();
        if !matches!(trouble, Exit::Pass | Exit::Bug) {
            return Err(trouble);
        }
        Ok((PlanProof::of(&self.asked, &trials), trouble))
    }
}

fn status(fault: &RehearsalFault) -> Exit {
    match fault {
        RehearsalFault::Bench(_) => Exit::Bench,
        RehearsalFault::Run(RunFault::Store(_)) => Exit::Store,
        RehearsalFault::Run(RunFault::Record(_) | RunFault::Withdrawn(_)) => Exit::Bug,
    }
}

fn unfitting(defect: &Defect, board: &ModelBoard) -> String {
    if defect.reversing_only && board.nominal.reversing.is_none() {
        "the board has no reversing logic".to_owned()
    } else {
        "the board is like that when it is good".to_owned()
    }
}

/// In rounds: one board with each defect, the good ones between them, so that
/// whoever stops early has seen something of everything.
fn entrants(
    arguments: &Prove,
    board: &ModelBoard,
    defects: &[&'static Defect],
) -> Vec<(Entrant, Option<&'static str>)> {
    let seed = Seed(arguments.seed);
    let entrant = |name: String, index: u64, defect: Option<&'static Defect>| {
        let entrant = Entrant {
            run: format!("proof-{index}").parse().expect("a plain name"),
            particulars: Particulars {
                serial: name.parse::<Serial>().expect("a plain name"),
                lot: None,
                seed,
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                without: Vec::new(),
                planted: planted(board, index, defect),
            },
            board: drawn(board, seed, index, defect),
            identity: board.identity.clone(),
            seed: seed.derived(index),
        };
        (entrant, defect.map(|defect| defect.name))
    };
    // Steps of equal length: a defect each, and good boards spread over them.
    let (each, good) = (arguments.boards_per_defect, arguments.boards);
    let a_round = defects.len().max(1) as u64;
    let mut all = Vec::new();
    for step in 0..each * a_round {
        let (round, place) = (step / a_round, step % a_round);
        if let Some(defect) = defects.get(place as usize) {
            let name = format!("{}-{}", defect.name.replace(' ', "-"), round + 1);
            all.push(entrant(name, first_with(defect) + round, Some(defect)));
        }
        let until = |step: u64| good * step / (each * a_round);
        let share = until(step) + 1..=until(step + 1);
        all.extend(share.map(|index| entrant(format!("good-{index}"), index, None)));
    }
    all
}

fn hand_out(
    folder: &Path,
    (proof, setting, at): (&PlanProof, &Setting, jiff::Timestamp),
) -> Result<(), Exit> {
    let document = plan_proof(proof, setting, at);
    std::fs::create_dir_all(folder).map_err(|fault| {
        let shown = folder.display().to_string();
        warn_line!("--out {}: {fault}", harmless(&shown));
        Exit::Store
    })?;
    for form in Form::ALL {
        let path = folder.join("proof").with_extension(form.ending());
        handing_out::write(&path, &handing_out::bytes(&document, form)?)?;
    }
    Ok(())
}

/// How far it is, on standard error while a person watches that.
struct Progress {
    live: bool,
    of: usize,
    begun: Instant,
}

impl Progress {
    fn new(of: usize) -> Self {
        let live = std::io::stderr().is_terminal();
        let progress = Self {
            live,
            of,
            begun: Instant::now(),
        };
        let text = format!("{of} boards to run");
        if live {
            progress.line(&text);
        } else {
            warn_line!("{text}");
        }
        progress
    }

    fn told(&self, done: usize) {
        let left = self.begun.elapsed().as_secs_f64() * (self.of - done) as f64 / done as f64;
        self.line(&format!(
            "{done} of {} boards, about {left:.0} s left",
            self.of
        ));
    }

    fn over(&self) {
        self.line("");
    }

    fn line(&self, text: &str) {
        if self.live {
            warn_text!("\r\x1b[K{text}");
            // A screen that is gone ends nothing.
            let _ = std::io::stderr().flush();
        }
    }
}
