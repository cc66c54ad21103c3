//! `bufferstop accept`: one board, or one after another from standard input.
//! Everything typed is checked before a port is opened.

use super::arguments::Accept;
use super::exit::Exit;
use super::files::{BenchFiles, Files, Sound};
use super::mounting::{Mounted, mounted, place, planted};
use super::output::Output;
use super::selection::Selection;
use super::session::Session;
use super::stopping::Lines;
use crate::ident::{LotName, Serial, harmless};
use crate::model_board::Defect;
use crate::runner::Particulars;
use crate::seed::Seed;
use crate::units::{Celsius, parse};
use std::path::Path;
use std::str::FromStr;

pub(super) fn accept(arguments: &Accept, output: Output) -> Exit {
    match prepared(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn prepared(arguments: &Accept, output: Output) -> Result<Exit, Exit> {
    let loops = arguments.serial == "-";
    // The serial number first: it is what a person mistypes most.
    let serial = if loops {
        None
    } else {
        Some(name::<Serial>(
            "--serial: the serial number",
            &arguments.serial,
        )?)
    };
    let ambient = arguments.ambient.as_deref().map(ambient).transpose()?;
    let mut files = Files::default();
    let plan = files.plan(&arguments.plan);
    let bench = files.bench(arguments.bench.as_deref(), arguments.model_board.as_deref());
    let lot = lot(arguments, &mut files)?;
    let selection = Selection::of(arguments)?;
    let plan = plan.map(|plan| selection.of_plan(plan)).transpose()?;
    let Sound {
        plan,
        bench,
        omitted,
    } = files.sound(plan, bench)?;
    let without = [selection.without.clone(), omitted].concat();
    let defect = defect(arguments, &bench)?;
    let mut session = Session::open(&plan, &bench, files.facts(), &arguments.out, output, false)?;
    let particulars = |serial: Serial| Particulars {
        lot: lot.clone(),
        seed: Seed(arguments.seed),
        operator: arguments.operator.clone(),
        ambient,
        retest: arguments.retest.clone(),
        only: selection.diagnosis(),
        without: without.clone(),
        planted: match &bench.board {
            Some(board) => planted(board, place(&serial), defect),
            None => Vec::new(),
        },
        serial,
    };
    match serial {
        Some(serial) => one(&mut session, particulars(serial), &bench, defect, output),
        None => many(&mut session, &particulars, &bench, defect, output),
    }
}

/// One board; on a model bench the one of its serial number.
fn one(
    session: &mut Session<'_>,
    particulars: Particulars,
    bench: &BenchFiles,
    defect: Option<&'static Defect>,
    output: Output,
) -> Result<Exit, Exit> {
    let seed = particulars.seed;
    let mounted = match &bench.board {
        Some(board) => mounted(board, seed, place(&particulars.serial), defect),
        None => Mounted::Real,
    };
    let outcome = session.accept(particulars, mounted)?;
    if !output.json {
        say_line!(
            "{}  {}",
            outcome.record.headline(),
            outcome.folder.display()
        );
    }
    Ok(outcome.exit)
}

/// Scan, run, next: one serial number a line until the input ends or the person
/// asks to stop.
fn many(
    session: &mut Session<'_>,
    particulars: &dyn Fn(Serial) -> Particulars,
    bench: &BenchFiles,
    defect: Option<&'static Defect>,
    output: Output,
) -> Result<Exit, Exit> {
    let mut worst = Exit::Pass;
    let mut lines = Lines::of_standard_input()?;
    while let Some(line) = session.next_line(&mut lines) {
        let text = line.trim();
        if text.is_empty() {
            continue;
        }
        let ended = match name::<Serial>("the serial number", text) {
            Ok(serial) => one(session, particulars(serial), bench, defect, output),
            Err(exit) => Err(exit),
        };
        let ended = ended.unwrap_or_else(|exit| exit);
        worst = worst.or(ended);
        if session.stopped() || worst == Exit::Store {
            break;
        }
        if ended == Exit::Bench {
            warn_line!("the lot ends here: no further board goes on this bench as it is");
            break;
        }
    }
    if session.stopped() {
        // The boards that were still to come were not judged.
        worst = worst.or(Exit::Inconclusive);
    }
    Ok(worst)
}

fn name<N: FromStr<Err: std::fmt::Display>>(what: &str, text: &str) -> Result<N, Exit> {
    text.parse().map_err(|fault: N::Err| {
        warn_line!("{what} cannot be used: {fault}");
        Exit::Usage
    })
}

fn ambient(text: &str) -> Result<Celsius, Exit> {
    parse::<Celsius>(text).map_err(|fault| {
        warn_line!(
            "--ambient {}: {fault}; write it as \"23 degC\"",
            harmless(text)
        );
        Exit::Usage
    })
}

/// `--lot` is a lot file where there is one of that name, else a plain name.
fn lot(arguments: &Accept, files: &mut Files) -> Result<Option<LotName>, Exit> {
    let Some(text) = &arguments.lot else {
        return Ok(None);
    };
    let path = Path::new(text);
    if path.extension().is_some_and(|ending| ending == "toml") {
        // A fault in it is among the files' faults, which end the command.
        return Ok(files.lot(path).map(|lot| lot.name));
    }
    name::<LotName>("--lot: the name", text).map(Some)
}

fn defect(arguments: &Accept, bench: &BenchFiles) -> Result<Option<&'static Defect>, Exit> {
    let Some(wanted) = &arguments.defect else {
        return Ok(None);
    };
    if bench.board.is_none() {
        warn_line!("--defect: only a model board can be given a defect");
        return Err(Exit::Usage);
    }
    if let Some(defect) = Defect::named(wanted) {
        return Ok(Some(defect));
    }
    let known: Vec<&str> = crate::model_board::DEFECTS
        .iter()
        .map(|defect| defect.name)
        .collect();
    warn_line!(
        "--defect {}: known defects are {}",
        harmless(wanted),
        known.join(", ")
    );
    Err(Exit::Usage)
}
