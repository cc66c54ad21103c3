//! `bufferstop bench`: which ports there are, whether the instruments of a
//! bench are themselves, and what the bench cannot do. It energises nothing; what
//! `--try` does is decided in `walk`.

use super::arguments::BenchArguments;
use super::attendance::Attendance;
use super::exit::Exit;
use super::hindered::complain;
use super::output::Output;
use super::walk::walked;
use crate::bench::Identified;
use crate::bench_file::{Closes, Measures, Probed};
use crate::console::BENCH_CAUTION;
use crate::ident::{Role, harmless};
use crate::plan::Plan;
use crate::seed::Seed;
use crate::sitting::{BenchFiles, Files, Mounted, drawn, open_bench};
use serde_json::json;

pub(super) fn bench(arguments: &BenchArguments, output: Output) -> Exit {
    match told(arguments, output) {
        Ok(exit) | Err(exit) => exit,
    }
}

fn told(arguments: &BenchArguments, output: Output) -> Result<Exit, Exit> {
    if let Some(wanted) = &arguments.tried {
        return walked(arguments, wanted, output);
    }
    let mut files = Files::default();
    let bench = files.bench(arguments.bench.as_deref(), None);
    // Identifying needs no plan, but the interlock wants a board to think of:
    // the demo's, which nothing will be done to.
    let plan = files.demo_plan();
    if let Some(exit) = complain(&files, true) {
        return Err(exit);
    }
    let (Some(bench), Some(plan)) = (bench, plan) else {
        return Err(Exit::File);
    };
    let ports = found_ports();
    if !output.json {
        say_line!(
            "serial ports on this machine: {}",
            if ports.is_empty() {
                "none".to_owned()
            } else {
                ports.join(", ")
            }
        );
    }
    let identified = identify(&bench, &plan, output)?;
    let missing = cannot(&bench);
    if output.json {
        let instruments: Vec<_> = identified
            .iter()
            .map(|found| {
                json!({"role": found.role, "identity": found.identity, "profile": found.profile, "port": found.port,
                       "calibrated": found.calibrated, "due": found.due, "certificate": found.certificate})
            })
            .collect();
        output.document(&json!({"bench": bench.bench.name, "ports": ports, "instruments": instruments, "cannot": missing}));
        return Ok(Exit::Pass);
    }
    say_line!("\n{}", harmless(&bench.bench.name));
    for found in &identified {
        let role = found.role.word();
        say_line!("  {role:<12} {}", harmless(&found.identity));
        say_line!("  {:<12} {}", "", found.port);
        say_line!("  {:<12} {}", "", harmless(&calibration(found)));
    }
    for what in &missing {
        say_line!("  cannot: {what}");
    }
    say_line!("\n{BENCH_CAUTION}");
    Ok(Exit::Pass)
}

/// What the bench file states of the calibration.
fn calibration(found: &Identified) -> String {
    let Some(date) = &found.calibrated else {
        return "no calibration stated".to_owned();
    };
    let due = found.due.map(|due| format!(", due {due}"));
    let certificate = found.certificate.as_ref();
    let certificate = certificate.map(|number| format!(", {number}"));
    let [due, certificate] = [due, certificate].map(Option::unwrap_or_default);
    format!("calibrated {date}{due}{certificate}")
}

/// Serial ports that are there now.
pub(super) fn found_ports() -> Vec<String> {
    let found = serialport::available_ports().unwrap_or_default();
    let mut names: Vec<String> = found.into_iter().map(|port| port.port_name).collect();
    names.sort();
    names
}

fn identify(bench: &BenchFiles, plan: &Plan, output: Output) -> Result<Vec<Identified>, Exit> {
    let mounted = match &bench.board {
        Some(board) => Mounted::Model {
            board: Box::new(drawn(board, Seed(1), 1, None)),
            identity: board.identity.clone(),
            seed: Seed(1),
        },
        None => Mounted::Real,
    };
    let attendance = Attendance::begin()?;
    let person = attendance.person(&bench.bench, false, output)?;
    attendance.runtime.block_on(async {
        let mut opened = open_bench(bench, plan, mounted, &person).await?;
        let found = opened.identified().to_vec();
        opened.make_safe().await;
        Ok(found)
    })
}

/// What a plan may ask for and this bench leaves out.
fn cannot(files: &BenchFiles) -> Vec<String> {
    let bench = &files.bench;
    let roles = Role::ALL
        .into_iter()
        .filter(|role| bench.instrument(*role).is_none());
    let mut missing: Vec<String> = roles.map(|role| format!("there is no {role}")).collect();
    if bench.probed() == Some(Probed::Ambient) {
        missing.push("no thermometer is on the heat sink".to_owned());
    }
    for (word, closes) in Closes::WORDS {
        if bench.branch(*closes).is_none() {
            missing.push(format!("no switch channel closes the {word}"));
        }
    }
    for (word, measures) in Measures::WORDS {
        if bench.channel(*measures).is_none() {
            missing.push(format!("no channel measures the {word}"));
        }
    }
    missing
}
