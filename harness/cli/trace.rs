//! `--log` and `--trace`: what happens as lines for a person, and every byte on the
//! wires as lines of a file. It decides nothing that is said.

use super::exit::Exit;
use crate::ident::harmless;
use crate::link::{Passed, TRAFFIC};
use std::fs::{File, OpenOptions};
use std::io::Write as _;
use std::path::Path;
use std::sync::{Mutex, PoisonError};
use std::time::Instant;
use tracing::field::{Field, Visit};
use tracing::{Event, Subscriber};
use tracing_subscriber::Layer;
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::{Context, SubscriberExt as _};
use tracing_subscriber::util::SubscriberInitExt as _;

/// Starts what was asked for.
///
/// # Errors
/// Wrong usage, after saying what.
pub(super) fn start(level: Option<&str>, trace: Option<&Path>) -> Result<(), Exit> {
    if level.is_none() && trace.is_none() {
        return Ok(());
    }
    let log = level.map(log).transpose()?;
    let log = log.map(|filter| {
        tracing_subscriber::fmt::layer()
            .with_writer(std::io::stderr)
            // A log that nobody reads ends nothing.
            .log_internal_errors(false)
            .with_filter(filter)
    });
    let trace = trace.map(Kept::new).transpose()?;
    let all = Targets::new().with_target(TRAFFIC, LevelFilter::TRACE);
    let trace = trace.map(|kept| kept.with_filter(all));
    // A second call in one process keeps the first log.
    let _ = tracing_subscriber::registry()
        .with(log)
        .with(trace)
        .try_init();
    Ok(())
}

/// Of the wires a person is told shortened, not byte by byte.
fn log(level: &str) -> Result<Targets, Exit> {
    let level = match level {
        "info" => LevelFilter::INFO,
        "debug" => LevelFilter::DEBUG,
        "trace" => LevelFilter::TRACE,
        other => {
            warn_line!("--log {}: use info, debug or trace", harmless(other));
            return Err(Exit::Usage);
        }
    };
    let all = Targets::new().with_default(level);
    Ok(all.with_target(TRAFFIC, LevelFilter::OFF))
}

/// The file of a trace.
struct Kept {
    begun: Instant,
    file: Mutex<File>,
}

impl Kept {
    fn new(path: &Path) -> Result<Self, Exit> {
        let opened = OpenOptions::new().write(true).create_new(true).open(path);
        let file = opened.map_err(|fault| {
            let shown = harmless(&path.display().to_string());
            warn_line!("--trace {shown}: {fault}; a trace is never written over");
            Exit::Usage
        })?;
        Ok(Self {
            begun: Instant::now(),
            file: Mutex::new(file),
        })
    }
}

impl<S: Subscriber> Layer<S> for Kept {
    fn on_event(&self, event: &Event<'_>, _: Context<'_, S>) {
        let mut passed = Told(Passed {
            at: self.begun.elapsed().as_secs_f64(),
            role: String::new(),
            port: String::new(),
            way: String::new(),
            bytes: String::new(),
        });
        event.record(&mut passed);
        let Ok(mut line) = serde_json::to_string(&passed.0) else {
            return;
        };
        line.push('\n');
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        // A full disk must not end a run that is being traced.
        let _ = file.write_all(line.as_bytes());
    }
}

/// The fields of an event as a line of a trace.
struct Told(Passed);

impl Told {
    fn note(&mut self, field: &Field, text: String) {
        match field.name() {
            "role" => self.0.role = text,
            "port" => self.0.port = text,
            "way" => self.0.way = text,
            "bytes" => self.0.bytes = text,
            _ => {}
        }
    }
}

impl Visit for Told {
    fn record_debug(&mut self, field: &Field, value: &dyn std::fmt::Debug) {
        self.note(field, format!("{value:?}"));
    }

    fn record_str(&mut self, field: &Field, value: &str) {
        self.note(field, value.to_owned());
    }
}
