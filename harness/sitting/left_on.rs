//! Whether the last run on this bench left something on. A program that was started
//! anew remembers it by the record, until somebody has looked at the bench and said
//! so in a note. It asks no instrument.

use super::hindrance::Hindrance;
use crate::ident::RunId;
use crate::store::{Filter, Kind, Reader, StoreError};
use std::path::Path;

/// Runs looked back through for one on the same ports: more than the other benches of
/// a workshop can have run since.
const LOOKED_BACK: usize = 10_000;

/// Refuses a bench on `ports` whose last run did not end proven safe.
///
/// # Errors
/// [`Hindrance::Bench`], which says what to do.
pub fn refuse(reader: &Reader, ports: &[&str]) -> Result<(), Hindrance> {
    let Some(run) = last_unsafe(reader, ports)? else {
        return Ok(());
    };
    Err(Hindrance::Bench(format!(
        "run {run} on this bench ended without a proof that it is off: nothing is energised. Look at the bench, \
         switch everything on it off, and say so with `bufferstop records note {run} \"...\" --author NAME \
         --bench-is-off`"
    )))
}

/// The same for one port, by what the reports folder `out` holds; where no run was
/// ever recorded there, none left anything on.
///
/// # Errors
/// As for [`refuse`]; [`Hindrance::Store`] where the records cannot be read.
pub fn refuse_at(out: &Path, port: &str) -> Result<(), Hindrance> {
    let records = out.join(Kind::Records.file_name());
    if !records.exists() {
        return Ok(());
    }
    let reader = Reader::open(&records)?;
    refuse(&reader, &[port])
}

fn last_unsafe(reader: &Reader, ports: &[&str]) -> Result<Option<RunId>, StoreError> {
    let newest = Filter {
        newest_first: true,
        ..Filter::default()
    };
    for header in reader.runs(&newest).take(LOOKED_BACK) {
        let run = header?.run;
        let Some(record) = reader.record(&run)? else {
            continue;
        };
        let same = |port: &str| ports.contains(&port);
        if !record.instruments.iter().any(|known| same(&known.port)) {
            continue;
        }
        let left_on = record.left_on() && !was_looked_at(reader, &run)?;
        return Ok(left_on.then_some(run));
    }
    Ok(None)
}

/// Whether somebody says of having looked at the bench, since that run, that it is off.
pub fn was_looked_at(reader: &Reader, run: &RunId) -> Result<bool, StoreError> {
    Ok(reader.notes(run)?.iter().any(|note| note.bench_is_off))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::{SystemClock, WallClock as _};
    use crate::event::{Abort, Event};
    use crate::judgement::Verdict;
    use crate::record::Note;
    use crate::record::samples::{events, finished, made_safe, numbered, started, value};
    use crate::store::{Durability, Store};

    fn keep(store: &Store, run: &str, end: &[Event]) {
        let whole = events(started(run, "GR-0042", false), value(0.009, 2e-5));
        let begun = whole
            .into_iter()
            .take_while(|e| !matches!(e, Event::ScenarioStarted { .. }));
        let energised = Event::Step {
            scenario: "load".to_owned(),
            text: "hold 4 A".to_owned(),
            energises: true,
        };
        let started = Event::ScenarioStarted {
            scenario: "load".to_owned(),
            kind: "load".to_owned(),
        };
        let steps = [started, energised].into_iter();
        let entries = numbered(begun.chain(steps).chain(end.iter().cloned()));
        let mut run = store.begin(&entries[0]).expect("a new run");
        for entry in &entries[1..] {
            run.append(entry, true).expect("room");
        }
    }

    #[test]
    fn a_bench_that_was_left_on_waits_for_somebody_who_looked() {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let store = Store::for_run(folder.path(), false, Durability::EveryEvent, &SystemClock);
        let store = store.expect("a store");
        let left = |port: &str| {
            let reader = store.reader().expect("readable");
            last_unsafe(&reader, &[port]).expect("readable")
        };
        assert_eq!(left("port-1"), None, "nothing ran yet");
        let end = |safe| [made_safe(safe), finished(Verdict::Pass, None)];
        keep(&store, "r1", &end(true));
        assert_eq!(left("port-1"), None);
        keep(&store, "r2", &end(false));
        let run: RunId = "r2".parse().expect("a plain name");
        assert_eq!(left("port-1"), Some(run.clone()));
        let refused = refuse_at(folder.path(), "port-1");
        assert!(matches!(refused, Err(Hindrance::Bench(_))), "{refused:?}");
        assert_eq!(refuse_at(folder.path(), "port-2"), Ok(()));
        let nothing = folder.path().join("elsewhere");
        assert_eq!(refuse_at(&nothing, "port-1"), Ok(()), "no run was recorded");
        assert_eq!(left("port-2"), None, "another bench");
        let note = |bench_is_off| Note {
            at: SystemClock.now(),
            author: Some("J. Doe".to_owned()),
            text: "the supply hung".to_owned(),
            bench_is_off,
        };
        store.note(&run, note(false)).expect("room");
        assert_eq!(left("port-1"), Some(run.clone()), "a remark alone");
        store.note(&run, note(true)).expect("room");
        assert_eq!(left("port-1"), None);
        // A run that was cut off while it energised tells no end at all.
        let cut_off = finished(Verdict::Inconclusive, Some(Abort::CutOff));
        keep(&store, "r3", &[cut_off]);
        let run: RunId = "r3".parse().expect("a plain name");
        assert_eq!(left("port-1"), Some(run));
    }
}
