//! `bufferstop demo`: the whole story on the embedded model bench. A lot of
//! twelve boards is accepted, two of them with planted defects, and the demo
//! succeeds only if exactly those two fail.

use super::arguments::Demo;
use super::attendance::Attendance;
use super::exit::Exit;
use super::hindered::sound;
use super::lanes::Drawn;
use super::output::Output;
use super::session::{Outcome, Session};
use super::substitution;
use crate::ident::LotName;
use crate::judgement::Verdict;
use crate::link::Person;
use crate::model_board::ModelBoard;
use crate::plan::demo::BOARDS;
use crate::runner::Particulars;
use crate::seed::Seed;
use crate::sitting::{Files, Sound, mounted, planted};
use serde_json::json;

pub(super) fn demo(arguments: &Demo, output: Output) -> Exit {
    let told = match arguments.substitute {
        Some(part) => substitution::told(arguments, part, output),
        None => told(arguments, output),
    };
    match told {
        Ok(exit) | Err(exit) => exit,
    }
}

fn told(arguments: &Demo, output: Output) -> Result<Exit, Exit> {
    let mut files = Files::default();
    let (plan, lot, bench) = (files.demo_plan(), files.demo_lot(), files.bench(None, None));
    let Sound { plan, bench, .. } = sound(&mut files, plan, bench)?;
    let lot = lot.ok_or(Exit::File)?;
    let board = bench
        .board
        .as_ref()
        .expect("the embedded bench is a model bench");
    let seed = Seed(arguments.seed);
    let mut session = Session::open(
        (Attendance::begin()?, Person::assumed()),
        &plan,
        &bench,
        files.facts(),
        &arguments.out,
        output,
        true,
    )?;
    if !output.json {
        say_line!(
            "Lot {}, {BOARDS} boards, on the embedded model bench: {}\n",
            lot.name,
            plan.name
        );
    }
    let (mut surprises, mut ended) = (Vec::new(), Ok(Exit::Pass));
    let mut indices = 1..=BOARDS;
    session.accept_side_by_side(
        |_, _| {
            let index = indices.next()?;
            let particulars = Box::new(particulars(&lot.name, index, board, seed));
            Some(Drawn::Board(particulars, mounted(board, seed, index, None)))
        },
        |_, outcome| {
            let record = match outcome {
                Ok(Outcome { record, .. }) => record,
                Err(exit) => {
                    ended = Err(exit);
                    return false;
                }
            };
            let planted = &record.started.planted;
            tell(planted, output);
            let expected = if planted.is_empty() {
                Verdict::Pass
            } else {
                Verdict::Fail
            };
            if record.verdict() != expected {
                surprises.push(record.started.serial.to_string());
                let told = Exit::of(record.verdict()).or(Exit::Inconclusive);
                ended = ended.map(|exit| exit.or(told));
            }
            true
        },
    );
    let exit = ended?;
    if session.stopped() {
        return Ok(exit.or(Exit::Inconclusive));
    }
    conclude(arguments, &surprises, output);
    Ok(exit)
}

/// What is said of the board at `index` of the lot.
fn particulars(lot: &LotName, index: u64, board: &ModelBoard, seed: Seed) -> Particulars {
    Particulars {
        serial: format!("{lot}-{index:02}")
            .parse()
            .expect("a lot's name and a number"),
        lot: Some(lot.clone()),
        seed,
        operator: None,
        ambient: None,
        retest: None,
        only: None,
        without: Vec::new(),
        planted: planted(board, index, None),
    }
}

/// What was planted, under the board's line.
fn tell(planted: &[String], output: Output) {
    if !output.json && !planted.is_empty() {
        say_line!("    planted: {}", planted.join(", "));
    }
}

fn conclude(arguments: &Demo, surprises: &[String], output: Output) {
    let out = arguments.out.display();
    if output.json {
        output.line(&json!({"demo": {"as_planted": surprises.is_empty(), "surprises": surprises}}));
        return;
    }
    if surprises.is_empty() {
        say_line!("\nExactly the boards with planted defects failed.");
    } else {
        say_line!("\nNot as planted: {}", surprises.join(", "));
    }
    say_line!(
        "\nLook at\n  {out}/<serial>/<run>/summary.txt   what was found, and what was wrong\n  \
         {out}/<serial>/<run>/junit.xml     for other tools\n  bufferstop records list --model --out {out}\n  \
         bufferstop records certificate <serial> --model --out {out} --out-file certificate.pdf"
    );
}
