//! `bufferstop demo --substitute`: two lots of model boards, the second with a
//! part substituted, accepted in memory and compared. The comparison must find
//! what the part changes and nothing else.

use super::arguments::{Compare, Demo, StorePlace, SubstitutedPart};
use super::compare;
use super::exit::Exit;
use super::hindered::sound;
use super::output::Output;
use super::stopping::stopping;
use super::store_fault::store_exit;
use crate::clock::SystemClock;
use crate::event::FileFacts;
use crate::ident::{LotName, Serial};
use crate::judgement::Verdict;
use crate::model_board::ModelBoard;
use crate::plan::demo::Part;
use crate::plan::{Lot, Plan, demo};
use crate::runner::{Entrant, Particulars, Rehearsal, boards_at_a_time};
use crate::seed::Seed;
use crate::sitting::{BenchFiles, Files, Sound};
use crate::store::{Durability, Store};

/// Boards of each lot.
const BOARDS: u64 = 24;
/// Measurements of the check standard with each lot, before, amid and after.
const CHECKS: u64 = 3;
/// The lots are drawn apart: the second continues where the first ends.
const SECOND_LOT: u64 = 1000;

pub(super) fn told(arguments: &Demo, part: SubstitutedPart, output: Output) -> Result<Exit, Exit> {
    let part = match part {
        SubstitutedPart::CurrentSensor => Part::CurrentSensor,
        SubstitutedPart::TripFilter => Part::TripFilter,
    };
    let store = Store::for_run(&arguments.out, true, Durability::AtEnd, &SystemClock)
        .map_err(|fault| store_exit(&fault))?;
    let mut names = Vec::new();
    for (files, first) in [(demo::before(), 0), (demo::after(part), SECOND_LOT)] {
        let lot = Prepared::of(files)?;
        lot.accept(arguments, &store, first, output)?;
        names.push(lot.lot.name);
    }
    drop(store);
    compared(arguments, &names, output)
}

/// A lot ready to be accepted.
struct Prepared {
    plan: Plan,
    bench: BenchFiles,
    facts: Vec<FileFacts>,
    lot: Lot,
    board: ModelBoard,
    reference: ModelBoard,
}

impl Prepared {
    fn of(embedded: demo::LotFiles) -> Result<Self, Exit> {
        let mut files = Files::default();
        let (plan, bench) = (files.demo_plan(), files.steady_bench());
        let lot = files.embedded_lot(embedded);
        let Sound { plan, bench, .. } = sound(&mut files, plan, bench)?;
        let (lot, board) = lot.ok_or(Exit::File)?;
        let sound = |board: &ModelBoard| ModelBoard {
            planted: Vec::new(),
            ..board.clone()
        };
        let reference = bench.board.as_ref().map(sound).ok_or(Exit::File)?;
        Ok(Self {
            board: sound(&board),
            facts: files.facts(),
            plan,
            bench,
            lot,
            reference,
        })
    }

    /// One after another: the reference board, the lot, the reference board.
    fn entrants(&self, seed: Seed, first: u64) -> Vec<Entrant> {
        let name = |index: u64| format!("{}-{index:02}", self.lot.name);
        let boards = (1..=BOARDS).map(|index| {
            let board = self.board.draw(seed, first + index);
            self.entrant(name(index), board, seed, first + index)
        });
        let mut entrants: Vec<Entrant> = boards.collect();
        if let Some(check) = &self.lot.check_standard {
            for round in (0..CHECKS).rev() {
                // The same board each time, the instruments' noise not.
                let board = self.reference.draw(seed, 0);
                let noise = first + BOARDS + 1 + round;
                let place = (round * BOARDS / (CHECKS - 1)) as usize;
                let mut entrant = self.entrant(check.to_string(), board, seed, noise);
                entrant.identity.clone_from(&self.reference.identity);
                entrants.insert(place, entrant);
            }
        }
        entrants
    }

    fn entrant(
        &self,
        serial: String,
        board: crate::model_board::BoardParameters,
        seed: Seed,
        noise: u64,
    ) -> Entrant {
        Entrant {
            run: uuid::Uuid::now_v7()
                .to_string()
                .parse()
                .expect("an identifier is a plain name"),
            particulars: Particulars {
                serial: serial.parse::<Serial>().expect("a lot's name and a number"),
                lot: Some(self.lot.name.clone()),
                seed,
                operator: None,
                ambient: None,
                retest: None,
                only: None,
                without: Vec::new(),
                planted: Vec::new(),
            },
            board,
            identity: self.board.identity.clone(),
            seed: seed.derived(noise),
        }
    }

    fn accept(
        &self,
        arguments: &Demo,
        store: &Store,
        first: u64,
        output: Output,
    ) -> Result<(), Exit> {
        let (stop, _listening) = stopping()?;
        let rehearsal = Rehearsal {
            plan: &self.plan,
            bench: &self.bench.bench,
            profiles: &self.bench.profiles,
            files: &self.facts,
            store,
            clock: &SystemClock,
            threads: boards_at_a_time(),
            stop: &stop,
        };
        let entrants = self.entrants(Seed(arguments.seed), first);
        let (mut passed, mut trouble) = (0, None);
        rehearsal.perform(&entrants, |entrant, outcome| match outcome {
            Ok(finished) => {
                passed += usize::from(finished.record.verdict() == Verdict::Pass);
                true
            }
            Err(fault) => {
                trouble = Some(format!("{}: {fault}", entrant.particulars.serial));
                false
            }
        });
        if let Some(trouble) = trouble {
            warn_line!("{trouble}");
            return Err(Exit::Bench);
        }
        if stop.is_raised() {
            return Err(Exit::Inconclusive);
        }
        if !output.json {
            say_line!(
                "Lot {}: {BOARDS} boards and the check standard {CHECKS} times on the model bench, {passed} of {} \
                 runs passed",
                self.lot.name,
                entrants.len()
            );
        }
        Ok(())
    }
}

fn compared(arguments: &Demo, names: &[LotName], output: Output) -> Result<Exit, Exit> {
    let report = arguments.out.join("comparison.html");
    let asked = Compare {
        place: StorePlace {
            out: Some(arguments.out.clone()),
            model: true,
        },
        baseline: names[0].to_string(),
        candidate: Some(names[1].to_string()),
        boards_needed: false,
        plan: None,
        out_file: Some(report),
    };
    if !output.json {
        say_line!();
    }
    let exit = compare::compare(&asked, output);
    if !output.json {
        let out = arguments.out.display();
        say_line!(
            "\nLook at\n  {out}/comparison.html\n  bufferstop compare --model --out {out} --baseline {} --candidate {} \
             --out-file comparison.pdf\n  bufferstop records lot {} --model --out {out} --out-file lot.html",
            names[0],
            names[1],
            names[1]
        );
    }
    match exit {
        // Found out is what the demo is for, whichever way it is.
        Exit::Pass | Exit::Fail | Exit::Inconclusive => Ok(Exit::Pass),
        exit => Err(exit),
    }
}
