//! `bufferstop bench --try`: every command of one profile tried on its instrument,
//! each exchange shown as it went over the wire. Nothing is energised beyond a small
//! stated value, and only where a person agrees.

use super::arguments::BenchArguments;
use super::attendance::{Attendance, Person};
use super::exit::Exit;
use super::files::{BenchFiles, Files, complain};
use super::mounting::drawn;
use super::output::Output;
use crate::bench::{Alone, Connection};
use crate::bench_file::Port;
use crate::ident::{Role, harmless};
use crate::instruments::{InstrumentError, Session, Try, attempt, tries};
use crate::link::{Listener, Traffic, Way, shortened};
use crate::model_bench::{Transport, world};
use crate::profile::Profile;
use crate::seed::Seed;
use crate::template;
use serde_json::{Value, json};
use std::io::{IsTerminal as _, Write as _};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// Bytes that went one way.
type Passed = (Way, Vec<u8>);

/// What passed over the wire since it was asked last.
#[derive(Clone, Default)]
struct Heard(Arc<Mutex<Vec<Passed>>>);

impl Heard {
    fn listener(&self) -> Listener {
        let own = self.clone();
        Listener::new(move |way, bytes| {
            let mut heard = own.0.lock().unwrap_or_else(PoisonError::into_inner);
            match heard.last_mut() {
                Some((last, together)) if *last == way => together.extend_from_slice(bytes),
                _ => heard.push((way, bytes.to_vec())),
            }
        })
    }

    fn take(&self) -> Vec<Passed> {
        let mut heard = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut *heard)
    }
}

/// One row of what was tried.
struct Row {
    command: String,
    found: Result<String, String>,
    passed: Vec<Passed>,
}

impl Row {
    fn shown(&self, output: Output) {
        if output.json {
            let (said, fault) = match &self.found {
                Ok(said) => (Some(said), None),
                Err(fault) => (None, Some(fault)),
            };
            let passed = self.passed.iter().map(|(way, bytes)| {
                let bytes = template::shown(&template::line_of(bytes));
                json!({ way.word(): bytes })
            });
            let passed: Vec<Value> = passed.collect();
            output.line(&json!({
                "command": self.command, "found": said, "fault": fault, "passed": passed,
            }));
            return;
        }
        match &self.found {
            Ok(said) => say_line!("  {:<20} {}", self.command, harmless(said)),
            Err(fault) => say_line!("  {:<20} DOES NOT FIT: {}", self.command, harmless(fault)),
        }
        for (way, bytes) in &self.passed {
            let mark = match way {
                Way::Sent => '>',
                Way::Received => '<',
            };
            say_line!("      {mark} {}", shortened(bytes));
        }
    }
}

/// Tries what `wanted` names: a role of the bench, or a profile at a port.
pub(super) fn walked(
    arguments: &BenchArguments,
    wanted: &str,
    output: Output,
) -> Result<Exit, Exit> {
    let mut files = Files::default();
    let heard = Heard::default();
    let of_file = wanted.ends_with(".toml");
    let found = if of_file {
        let profile = files.profile(Path::new(wanted));
        profile.map(|profile| Wanted::Profile(Box::new(profile)))
    } else {
        let bench = files.bench(arguments.bench.as_deref(), None);
        bench.map(|bench| Wanted::Bench(Box::new(bench)))
    };
    if let Some(exit) = complain(&files, true) {
        return Err(exit);
    }
    let found = found.ok_or(Exit::File)?;
    let mut attendance = Attendance::begin()?;
    let (runtime, mut person) = attendance.parts();
    runtime.block_on(async {
        let alone = match found {
            Wanted::Profile(profile) => at_port(arguments, &profile, &heard)?,
            Wanted::Bench(bench) => of_bench(&bench, wanted, &heard)?,
        };
        let walk = Walk {
            session: &alone.session,
            heard: &heard,
            output,
            ready: arguments.ready,
        };
        walk.through(&mut person).await
    })
}

enum Wanted {
    Profile(Box<Profile>),
    Bench(Box<BenchFiles>),
}

fn at_port(arguments: &BenchArguments, profile: &Profile, heard: &Heard) -> Result<Alone, Exit> {
    let Some(port) = &arguments.port else {
        warn_line!("a profile is tried at a port: add --port /dev/ttyUSB0 or --port host:5025");
        return Err(Exit::Usage);
    };
    let port = Port::named(port);
    Alone::at(&port, profile, traffic(profile.role, heard)).map_err(|fault| unavailable(&fault))
}

fn of_bench(files: &BenchFiles, role: &str, heard: &Heard) -> Result<Alone, Exit> {
    let role = Role::ALL.into_iter().find(|known| known.word() == role);
    let profile = role.and_then(|role| files.profiles.get(&role));
    let (Some(role), Some(profile)) = (role, profile) else {
        let there: Vec<&str> = files.profiles.keys().map(|role| role.word()).collect();
        warn_line!(
            "--try takes a role of the bench or a profile's file: {}",
            there.join(", ")
        );
        return Err(Exit::Usage);
    };
    let connection = match &files.board {
        None => Connection::Real,
        Some(board) => {
            let (seed, identity) = (Seed(1), board.identity.as_deref());
            let parameters = drawn(board, seed, 1, None);
            let world = world(&files.bench, &files.profiles, &parameters, identity, seed);
            Connection::Model {
                world: Box::new(world.map_err(|fault| unavailable(&fault))?),
                transport: Transport::Pty,
            }
        }
    };
    let traffic = traffic(role, heard);
    let alone = Alone::of(&files.bench, role, profile, connection, traffic);
    alone.map_err(|fault| unavailable(&fault))
}

fn traffic(role: Role, heard: &Heard) -> Traffic {
    Traffic {
        role: role.word().to_owned(),
        listener: Some(heard.listener()),
    }
}

fn unavailable(fault: &dyn std::fmt::Display) -> Exit {
    warn_line!(
        "the instrument cannot be reached: {}",
        harmless(&fault.to_string())
    );
    Exit::Bench
}

/// Why something is left out where nobody was there or the person left it out.
const UNASKED: &str = "nobody agreed: on a terminal it is asked, --ready agrees";

/// A command that was left out, and why.
struct LeftOut {
    command: &'static str,
    why: String,
}

impl LeftOut {
    fn new(command: &'static str, why: &str) -> Self {
        let why = why.to_owned();
        Self { command, why }
    }
}

struct Walk<'a> {
    session: &'a Session,
    heard: &'a Heard,
    output: Output,
    ready: bool,
}

impl Walk<'_> {
    async fn through(&self, person: &mut Person<'_>) -> Result<Exit, Exit> {
        let profile = self.session.profile();
        if !self.output.json {
            let port = &self.session.port().settings().name;
            say_line!("{} at {}\n", harmless(&profile.name), harmless(port));
        }
        let identity = self.session.identify().await;
        let known = identity.is_ok();
        let mut unfit = usize::from(!known);
        self.row(
            "identify",
            identity.map(|text| format!("\"{}\"", text.escape_debug())),
        );
        let mut missing = Vec::new();
        let mut left_out = Vec::new();
        // Why nothing may be switched on any more, once anything forbade it.
        let mut forbidden: Option<String> = None;
        // Of a stranger nothing is known, not even what switches it off.
        let list = if known { tries(profile.role) } else { &[] };
        for one in list {
            if profile.command(one.command).is_none() {
                if !missing.contains(&one.command) {
                    missing.push(one.command);
                }
                continue;
            }
            if let (Some(why), Some(_)) = (&forbidden, one.energises) {
                left_out.push(LeftOut::new(one.command, why));
                continue;
            }
            if !self.agreed(one, person).await? {
                left_out.push(LeftOut::new(one.command, UNASKED));
                continue;
            }
            let found = tokio::select! {
                biased;
                () = person.stop.raised() => break,
                found = attempt(self.session, one) => found,
            };
            if let Err(fault) = &found {
                unfit += 1;
                if one.forbids(fault) && forbidden.is_none() {
                    let why = format!("not tried, since `{}` did not fit", one.command);
                    forbidden = Some(why);
                }
            }
            self.row(one.command, found);
        }
        if known {
            unfit += self.made_safe().await;
        }
        self.tell(unfit, &missing, &left_out);
        Ok(if unfit == 0 { Exit::Pass } else { Exit::Bench })
    }

    fn row(&self, command: &str, found: Result<String, InstrumentError>) {
        let row = Row {
            command: command.to_owned(),
            found: found.map_err(|fault| fault.to_string()),
            passed: self.heard.take(),
        };
        row.shown(self.output);
    }

    /// Whether a person agrees to what `one` lets in, where it lets anything in.
    async fn agreed(&self, one: &Try, person: &mut Person<'_>) -> Result<bool, Exit> {
        let Some(what) = one.energises else {
            return Ok(true);
        };
        if self.ready {
            return Ok(true);
        }
        if !std::io::stdin().is_terminal() || self.output.json {
            return Ok(false);
        }
        say!(
            "  {}: this makes {what}. Enter tries it, s leaves it out: ",
            one.command
        );
        // A prompt that cannot be shown is one that nobody waits for.
        let _ = std::io::stdout().flush();
        let line = person.next_line().await?;
        Ok(line.is_some_and(|line| line.trim().is_empty()))
    }

    /// Each line that makes it safe; how many it did not take.
    async fn made_safe(&self) -> usize {
        let mut unfit = 0;
        for line in &self.session.profile().safety.make_safe {
            let taken = self.session.order(line).await;
            unfit += usize::from(taken.is_err());
            self.row("make_safe", taken.map(|()| "taken".to_owned()));
        }
        unfit
    }

    fn tell(&self, unfit: usize, missing: &[&str], left_out: &[LeftOut]) {
        if self.output.json {
            let left_out = left_out
                .iter()
                .map(|one| json!({"command": one.command, "why": one.why}));
            let left_out: Vec<Value> = left_out.collect();
            self.output
                .line(&json!({"unfit": unfit, "missing": missing, "left_out": left_out}));
            return;
        }
        say_line!();
        if !missing.is_empty() {
            say_line!("not in the profile: {}", missing.join(", "));
        }
        for one in left_out {
            say_line!("left out: {} ({})", one.command, one.why);
        }
        match unfit {
            0 => say_line!("everything that was tried fits"),
            1 => say_line!("one exchange does not fit"),
            count => say_line!("{count} exchanges do not fit"),
        }
    }
}
