//! `bufferstop accept`: one board, or one after another from standard input.
//! Everything typed is checked before a port is opened.

use super::arguments::Accept;
use super::attendance::Attendance;
use super::exit::Exit;
use super::guided::Guide;
use super::hindered::{hindered, own_workshop, sound};
use super::lanes::{Drawn, Instead};
use super::output::Output;
use super::selection::Selection;
use super::session::{Outcome, Session};
use super::store_fault::store_exit;
use super::typed::{Boards, ambient, defect, named_lot};
use crate::ident::Serial;
use crate::runner::{Particulars, Stop};
use crate::seed::Seed;
use crate::sitting::{Files, Mounted, Sound, mounted, place, planted, serial};
use std::io::IsTerminal as _;
use std::sync::{Mutex, PoisonError};

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
    let particulars = |serial| Particulars {
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
    let prepared = |serial: Serial| {
        let mounted = match &bench.board {
            Some(board) => mounted(board, Seed(arguments.seed), place(&serial), defect),
            None => Mounted::Real,
        };
        (particulars(serial), mounted)
    };
    let mut run = |session: &mut Session, serial| {
        let (particulars, mounted) = prepared(serial);
        told(session.accept(particulars, mounted), output)
    };
    let serials = match boards {
        Boards::One(serial) => return run(&mut session, serial),
        Boards::Scanned => None,
        Boards::Numbered(serials) => Some(serials),
    };
    let by_hand = std::io::stdin().is_terminal() && !output.json;
    let again = arguments.retest.is_some();
    let mut guide = Guide::new(by_hand, lot.clone(), again, expected);
    let ended = match serials {
        // A model changes its board by itself, and nobody is asked for the next.
        serials if !real && (serials.is_some() || !by_hand) => {
            side_by_side(&mut session, &mut guide, serials, &prepared, output)
        }
        None => {
            let asks = real && by_hand && !arguments.ready;
            scanned(&mut session, &mut guide, asks, &mut run)
        }
        Some(serials) => numbered(&mut session, &mut guide, serials, &mut run),
    };
    guide.tell_the_end();
    ended
}

/// Runs one board.
type Run<'a> = dyn FnMut(&mut Session, Serial) -> Result<Exit, Exit> + 'a;

/// Says how a board's run ended.
fn told(outcome: Result<Outcome, Exit>, output: Output) -> Result<Exit, Exit> {
    let outcome = outcome?;
    if !output.json {
        say_line!(
            "{}  {}",
            outcome.record.headline(),
            outcome.folder.display()
        );
    }
    Ok(outcome.exit)
}

/// Numbered boards, or those of the lines that come in, on embedded benches side by
/// side: what is said and kept of them is what it would be one after another.
fn side_by_side(
    session: &mut Session,
    guide: &mut Guide,
    serials: Option<Vec<Serial>>,
    prepared: &(dyn Fn(Serial) -> (Particulars, Mounted) + Sync),
    output: Output,
) -> Result<Exit, Exit> {
    let reader = session.reader()?;
    let mut numbered = serials.map(Vec::into_iter);
    let (guide, mut worst) = (Mutex::new(guide), Exit::Pass);
    let guide = || guide.lock().unwrap_or_else(PoisonError::into_inner);
    session.accept_side_by_side(
        move |attendance, over| {
            let serial = match &mut numbered {
                Some(serials) => serials.next()?,
                None => match next_serial(attendance, over)? {
                    Ok(serial) => serial,
                    Err(says) => return Some(Drawn::Instead(says)),
                },
            };
            let mut guide = guide();
            Some(match guide.refusal(&serial, &reader) {
                Ok(None) => {
                    guide.begun(&serial);
                    let (particulars, mounted) = prepared(serial);
                    Drawn::Board(Box::new(particulars), mounted)
                }
                Ok(Some(why)) => Drawn::Instead(Box::new(move || Guide::refuse(&serial, &why))),
                Err(fault) => Drawn::Instead(Box::new(move || store_exit(&fault))),
            })
        },
        |serial, outcome| {
            let ended = told(outcome, output).unwrap_or_else(|exit| exit);
            if let Some(serial) = serial {
                guide().ended(&serial, ended);
            }
            worst = worst.or(ended);
            !is_last(ended)
        },
    );
    Ok(worst.or(stopped(session)))
}

/// The serial number of the next line that has one, or what says why it has none.
fn next_serial(attendance: &mut Attendance, over: &mut Stop) -> Option<Result<Serial, Instead>> {
    loop {
        let line = match attendance.next_line_before(over) {
            Ok(line) => line?,
            Err(exit) => return Some(Err(Box::new(move || exit))),
        };
        let text = line.trim();
        if !text.is_empty() {
            let serial = serial("the serial number", text);
            return Some(serial.map_err(|why| Box::new(move || hindered(&why)) as Instead));
        }
    }
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
    run: &mut Run<'_>,
) -> Result<Exit, Exit> {
    let mut worst = Exit::Pass;
    let count = serials.len();
    for (index, serial) in serials.into_iter().enumerate() {
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
    guide.begun(&serial);
    let ended = run(session, serial.clone()).unwrap_or_else(|exit| exit);
    guide.ended(&serial, ended);
    ended
}

/// Whether nothing more can be run after a board that ended so.
fn ends_the_lot(session: &Session, ended: Exit) -> bool {
    is_last(ended) || session.stopped()
}

/// The same, whatever the person asked for.
fn is_last(ended: Exit) -> bool {
    if ended == Exit::Bench {
        warn_line!("the lot ends here: no further board goes on this bench as it is");
    }
    matches!(ended, Exit::Store | Exit::Bench)
}

/// The boards that were still to come when the person stopped were not judged.
fn stopped(session: &Session) -> Exit {
    if session.stopped() {
        Exit::Inconclusive
    } else {
        Exit::Pass
    }
}
