//! `bufferstop accept`: one board, or one after another from standard input.
//! Everything typed is checked before a port is opened.

use super::arguments::Accept;
use super::attendance::Attendance;
use super::exit::Exit;
use super::guided::{Guide, pattern};
use super::hindered::{own_workshop, sound};
use super::output::Output;
use super::selection::Selection;
use super::session::Session;
use super::store_fault::store_exit;
use crate::ident::{LotName, Serial, harmless};
use crate::model_board::Defect;
use crate::plan::Plan;
use crate::runner::Particulars;
use crate::seed::Seed;
use crate::sitting::{
    BenchFiles, Files, Mounted, Sound, is_lot_file, mounted, of_one_family, place, planted, serial,
};
use crate::units::{Celsius, parse};
use std::io::IsTerminal as _;
use std::path::Path;
use std::str::FromStr;

pub(super) fn accept(arguments: &Accept, output: Output) -> Exit {
    match prepared(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn prepared(arguments: &Accept, output: Output) -> Result<Exit, Exit> {
    // The serial number first: it is what a person mistypes most.
    let boards = Boards::of(&arguments.serial)?;
    let ambient = arguments.ambient.as_deref().map(ambient).transpose()?;
    let own = own_workshop()?;
    let (out, default_lot) = (own.records(arguments.out.as_deref()), own.lot());
    let operator = arguments
        .operator
        .clone()
        .or(own.workshop.defaults.operator);
    let mut files = Files::default();
    let plan = files.plan(&arguments.plan);
    let bench = files.bench(arguments.bench.as_deref(), arguments.model_board.as_deref());
    let lot = arguments.lot.clone().or(default_lot);
    let lot = lot
        .as_deref()
        .map(|text| named_lot(text, plan.as_ref(), &mut files));
    let lot = lot.transpose()?.flatten();
    let selection = Selection::of(arguments)?;
    let plan = plan.map(|plan| selection.of_plan(plan)).transpose()?;
    let Sound {
        plan,
        bench,
        omitted,
        expected,
    } = sound(&mut files, plan, bench)?;
    let without = [selection.without.clone(), omitted].concat();
    let defect = defect(arguments, &bench)?;
    let mut attendance = Attendance::begin()?;
    let real = !bench.bench.is_model();
    if real {
        attendance.confirm(arguments.ready, output)?;
    }
    let assumed = arguments.assume_operator;
    let person = attendance.person(&bench.bench, assumed, output)?;
    let mut session = Session::open(
        (attendance, person),
        &plan,
        &bench,
        files.facts(),
        &out,
        output,
        false,
    )?;
    session.expects(expected);
    let particulars = |serial: Serial| Particulars {
        lot: lot.clone(),
        seed: Seed(arguments.seed),
        operator: operator.clone(),
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
    let mut run =
        |session: &mut Session, serial| one(session, particulars(serial), &bench, defect, output);
    let serials = match boards {
        Boards::One(serial) => return run(&mut session, serial),
        Boards::Scanned => None,
        Boards::Numbered(serials) => Some(serials),
    };
    let by_hand = std::io::stdin().is_terminal() && !output.json;
    let again = arguments.retest.is_some();
    let mut guide = Guide::new(by_hand, lot.clone(), again, expected);
    let ended = match serials {
        None => {
            let asks = real && by_hand && !arguments.ready;
            scanned(&mut session, &mut guide, asks, &mut run)
        }
        // A model changes its board by itself.
        Some(serials) => numbered(&mut session, &mut guide, serials, real, &mut run),
    };
    guide.tell_the_end();
    ended
}

/// Which boards are run.
enum Boards {
    /// This one.
    One(Serial),
    /// Those whose serial numbers come in, one a line.
    Scanned,
    /// These, one after another.
    Numbered(Vec<Serial>),
}

impl Boards {
    fn of(text: &str) -> Result<Self, Exit> {
        if text == "-" {
            return Ok(Self::Scanned);
        }
        match pattern(text) {
            Ok(Some(serials)) => Ok(Self::Numbered(serials)),
            Ok(None) => Ok(Self::One(serial("--serial: the serial number", text)?)),
            Err(fault) => {
                warn_line!("--serial {}: {}", harmless(text), harmless(&fault));
                Err(Exit::Usage)
            }
        }
    }
}

/// Runs one board.
type Run<'a> = dyn FnMut(&mut Session, Serial) -> Result<Exit, Exit> + 'a;

/// One board; on a model bench the one of its serial number.
fn one(
    session: &mut Session,
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
/// asks to stop. Where it `asks`, the person confirms each board.
fn scanned(
    session: &mut Session,
    guide: &mut Guide,
    asks: bool,
    run: &mut Run<'_>,
) -> Result<Exit, Exit> {
    let mut worst = Exit::Pass;
    guide.ask_serial();
    while let Some(line) = session.next_line()? {
        let text = line.trim();
        if !text.is_empty() {
            let ended = match serial("the serial number", text) {
                Ok(serial) => match refused(session, guide, &serial)? {
                    Some(exit) => exit,
                    None if asks && !confirmed(session, guide, &serial)? => Exit::Inconclusive,
                    None => board(session, guide, serial, run),
                },
                Err(hindrance) => hindrance.into(),
            };
            worst = worst.or(ended);
            if ends_the_lot(session, ended) {
                break;
            }
        }
        guide.ask_serial();
    }
    Ok(worst.or(stopped(session)))
}

/// Whether the person says that the board is in the fixture and nobody's hands
/// are.
fn confirmed(session: &mut Session, guide: &Guide, serial: &Serial) -> Result<bool, Exit> {
    guide.ask_ready(serial, None);
    Ok(session.next_line()?.is_some_and(|line| !leaves_out(&line)))
}

/// Whether a line leaves a board out.
fn leaves_out(line: &str) -> bool {
    line.trim().eq_ignore_ascii_case("s")
}

/// One after another, each once a line says that it is on the bench.
fn numbered(
    session: &mut Session,
    guide: &mut Guide,
    serials: Vec<Serial>,
    waits: bool,
    run: &mut Run<'_>,
) -> Result<Exit, Exit> {
    let mut worst = Exit::Pass;
    let count = serials.len();
    for (index, serial) in serials.into_iter().enumerate() {
        if waits {
            guide.ask_ready(&serial, Some(count - index));
            match session.next_line()? {
                None => {
                    // The boards that were still to come were not judged.
                    worst = worst.or(Exit::Inconclusive);
                    break;
                }
                Some(line) if leaves_out(&line) => {
                    worst = worst.or(Exit::Inconclusive);
                    continue;
                }
                Some(_) => {}
            }
        }
        session.comes_before(count - index - 1);
        let ended = match refused(session, guide, &serial)? {
            Some(exit) => exit,
            None => board(session, guide, serial, run),
        };
        worst = worst.or(ended);
        if ends_the_lot(session, ended) {
            break;
        }
    }
    Ok(worst.or(stopped(session)))
}

/// The status where a board must not be run now, after saying why.
fn refused(session: &Session, guide: &Guide, serial: &Serial) -> Result<Option<Exit>, Exit> {
    let refusal = guide.refusal(serial, &session.reader()?);
    let refusal = refusal.map_err(|fault| store_exit(&fault))?;
    Ok(refusal.map(|why| Guide::refuse(serial, &why)))
}

/// Runs a board of a lot.
fn board(session: &mut Session, guide: &mut Guide, serial: Serial, run: &mut Run<'_>) -> Exit {
    let ended = run(session, serial.clone()).unwrap_or_else(|exit| exit);
    guide.ended(serial, ended);
    ended
}

/// Whether nothing more can be run after a board that ended so.
fn ends_the_lot(session: &Session, ended: Exit) -> bool {
    if ended == Exit::Bench {
        warn_line!("the lot ends here: no further board goes on this bench as it is");
    }
    session.stopped() || matches!(ended, Exit::Store | Exit::Bench)
}

/// The boards that were still to come when the person stopped were not judged.
fn stopped(session: &Session) -> Exit {
    if session.stopped() {
        Exit::Inconclusive
    } else {
        Exit::Pass
    }
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

/// The lot of that name, or of the file of that name.
fn named_lot(text: &str, plan: Option<&Plan>, files: &mut Files) -> Result<Option<LotName>, Exit> {
    let path = Path::new(text);
    if is_lot_file(path) {
        // A fault in it is among the files' faults, which end the command.
        let lot = files.lot(path);
        if let (Some(lot), Some(plan)) = (&lot, plan) {
            of_one_family(lot, plan)?;
        }
        return Ok(lot.map(|lot| lot.name));
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
