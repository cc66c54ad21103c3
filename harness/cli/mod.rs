//! The command: arguments to checked values, the right hands called, an exit
//! status returned. It knows files, screens and processes; no physics and no
//! judgement.

/// Says something on standard error. `eprintln!` ends the program where nobody
/// hears it, as after the terminal was closed; a run must go on to its safe end.
macro_rules! warn_line {
    ($($words:tt)*) => { $crate::cli::output::warned(format_args!($($words)*)) };
}

/// Text on standard error as it stands, for a person alone.
macro_rules! warn_text {
    ($($words:tt)*) => {{
        use std::io::Write as _;
        let _ = write!(anstream::stderr().lock(), $($words)*);
    }};
}

/// Says something on standard output. `println!` ends the program where the
/// reader has gone away or the disk behind it is full; this remembers it.
macro_rules! say {
    ($($words:tt)*) => { $crate::cli::output::said(format_args!($($words)*)) };
}

/// The same with a line's end.
macro_rules! say_line {
    () => { $crate::cli::output::said(format_args!("\n")) };
    ($($words:tt)*) => {
        $crate::cli::output::said(format_args!("{}\n", format_args!($($words)*)))
    };
}

mod accept;
mod arguments;
mod attendance;
mod audience;
mod bench;
mod certificate;
mod check;
mod compare;
mod demo;
mod exit;
mod guide;
mod guided;
mod handing_out;
mod hindered;
mod inspect;
mod lanes;
mod lot;
mod model_bench;
mod new;
mod output;
mod proposed;
mod prove;
mod records;
mod rejudge;
mod selection;
mod serve;
mod served_bench;
mod session;
mod shell;
mod stopping;
mod store_fault;
mod substitution;
mod trace;
mod typed;
mod walk;

use crate::bench::guardian;
use crate::console;
use arguments::{Arguments, Command};
use clap::Parser;
use clap::error::ErrorKind;
use exit::Exit;
use output::Output;
use std::ffi::OsString;
use std::io::IsTerminal as _;
use std::panic::AssertUnwindSafe;
use std::process::ExitCode;

/// Runs the command with `arguments`, the program's own name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    // What is wrong with the words is said in the form that they ask for.
    let json = arguments.iter().any(|word| word == "--json");
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(fault) => {
            let asked = matches!(
                fault.kind(),
                ErrorKind::DisplayHelp | ErrorKind::DisplayVersion
            );
            if json && !asked {
                output::speak_json();
                warn_line!("{}", fault.render());
            } else {
                // Nothing can be said to a reader that has gone away.
                let _ = fault.print();
            }
            return if asked { Exit::Pass } else { Exit::Usage }.into();
        }
    };
    if arguments.json {
        output::speak_json();
    }
    if let Err(exit) = trace::start(arguments.log.as_deref(), arguments.trace.as_deref()) {
        return exit.into();
    }
    answer_for_bugs();
    let set = ["LC_ALL", "LC_CTYPE", "LANG"].map(|name| std::env::var(name).ok());
    let utf8 = console::writes_utf8(set.each_ref().map(|text| text.as_deref()));
    console::show_signs(utf8 && std::io::stdout().is_terminal());
    let output = Output {
        json: arguments.json,
    };
    // A run and a trial make safe what a panic interrupts, and nothing else energises:
    // only the status is left.
    let exit = std::panic::catch_unwind(AssertUnwindSafe(|| dispatch(&arguments.command, output)));
    exit.unwrap_or(Exit::Bug).or(output::finished()).into()
}

fn dispatch(command: &Command, output: Output) -> Exit {
    match command {
        Command::Demo(demo) => demo::demo(demo, output),
        Command::Accept(accept) => accept::accept(accept, output),
        Command::Serve(asked) => serve::serve(asked, output),
        Command::Check(check) => check::check(check, output),
        Command::Guide(topic) => guide::guide(topic, output),
        Command::Compare(lots) => compare::compare(lots, output),
        Command::Prove(prove) => prove::prove(prove, output),
        Command::Bench(bench) => bench::bench(bench, output),
        Command::Inspect(inspect) => inspect::inspect(inspect, output),
        Command::New(file) => new::new(file, output),
        Command::Shell(asked) => shell::completions(asked),
        Command::Manual => shell::manual(),
        Command::ModelBench(model_bench) => model_bench::serve(model_bench, output),
        Command::Guardian => match guardian::watch(&std::io::stdin()) {
            Ok(()) => Exit::Pass,
            Err(_) => Exit::Usage,
        },
        Command::Records(records) => records::records(records, output),
        Command::Rejudge(rejudge) => rejudge::again(rejudge, output),
    }
}

/// A panic is a bug here: one sentence for the person instead of a trace. What
/// it interrupted is made safe by whoever catches it.
fn answer_for_bugs() {
    std::panic::set_hook(Box::new(|panic| {
        let place = panic
            .location()
            .map(|place| format!(" at {}:{}", place.file(), place.line()))
            .unwrap_or_default();
        let what = panic.payload_as_str().unwrap_or("no reason given");
        warn_line!("a bug in bufferstop{place}: {what}");
    }));
}
