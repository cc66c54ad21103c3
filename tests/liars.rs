//! Instruments that lie, between the harness and the model bench: a load that
//! draws something else, a supply that gives something else, a capture device
//! that sends old samples. Whatever they say, a good board never fails and a
//! scenario never passes on what did not happen.

use crate::lots::Workshop;
use bufferstop::clock::{BenchInstant, BenchSpan};
use bufferstop::ident::Role;
use bufferstop::judgement::Verdict;
use bufferstop::model_bench::Answering;
use bufferstop::model_board::ModelBoard;
use bufferstop::record::Record;
use bufferstop::seed::Seed;
use std::collections::BTreeMap;

/// How an instrument lies.
#[derive(Clone, Copy, Debug)]
enum Lie {
    /// The load draws this part of what it is set to.
    LoadDraws(f64),
    /// The load's input never comes on.
    LoadStaysOff,
    /// The supply gives this part of what it is set to.
    SupplyGives(f64),
    /// From so many reads on, the capture device sends the samples of before.
    OldSamples(usize),
}

/// A world whose instruments lie.
struct Liar {
    world: Box<dyn Answering>,
    lie: Lie,
    /// Reads of samples so far.
    reads: usize,
    /// The answer to each read before the lie began.
    kept: BTreeMap<Vec<u8>, Vec<u8>>,
}

impl Answering for Liar {
    fn now(&self) -> BenchInstant {
        self.world.now()
    }

    fn advance(&mut self, span: BenchSpan) {
        self.world.advance(span);
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let text = String::from_utf8_lossy(line).into_owned();
        let line = match (self.lie, role) {
            (Lie::LoadDraws(part), Role::Load) => {
                let heads = ["CURR ", "CURR:TRIG ", "CURR:STAR ", "STOP "];
                let text = scaled(&text, &heads, part);
                scaled(&text, &["RES "], 1.0 / part)
            }
            (Lie::LoadStaysOff, Role::Load) => text.replace("INP ON", "INP OFF"),
            (Lie::SupplyGives(part), Role::Supply) => scaled(&text, &["VOLT "], part),
            _ => text,
        };
        let answer = self.world.exchange(role, line.as_bytes());
        if let (Lie::OldSamples(from), Role::Capture) = (self.lie, role)
            && line.starts_with("TRAC?")
        {
            self.reads += 1;
            if self.reads <= from {
                self.kept.insert(line.into_bytes(), answer.clone());
            } else if let Some(old) = self.kept.get(line.as_bytes())
                && old.len() == answer.len()
            {
                return old.clone();
            }
        }
        answer
    }
}

/// `line` with the number behind each of `heads` times `part`.
fn scaled(line: &str, heads: &[&str], part: f64) -> String {
    let mut out = line.to_owned();
    for head in heads {
        let Some(at) = out.find(head).map(|at| at + head.len()) else {
            continue;
        };
        let end = out[at..].find(';').map_or(out.len(), |length| at + length);
        if let Ok(number) = out[at..end].parse::<f64>() {
            out.replace_range(at..end, &format!("{}", number * part));
        }
    }
    out
}

/// A good board tested by a lying bench.
fn lied_to(lie: Lie) -> Record {
    let mut workshop = Workshop::new();
    let nominal = ModelBoard {
        planted: Vec::new(),
        ..workshop.board.clone()
    };
    let board = nominal.draw(Seed(77), 1);
    workshop.accept_behind(&board, Seed(77), |world| {
        Box::new(Liar {
            world,
            lie,
            reads: 0,
            kept: BTreeMap::new(),
        })
    })
}

/// The verdict on each scenario that came to one.
fn verdicts(record: &Record) -> Vec<(&str, Verdict)> {
    let scenarios = record.scenarios.iter();
    scenarios
        .filter_map(|scenario| Some((scenario.kind.as_str(), scenario.verdict?)))
        .collect()
}

/// No scenario of `record` failed, and each of `doubtful` is inconclusive.
fn unproven(lie: Lie, record: &Record, doubtful: &[&str]) {
    let found = verdicts(record);
    for &(kind, verdict) in &found {
        assert_ne!(verdict, Verdict::Fail, "{lie:?}: {kind} of {found:?}");
        if doubtful.contains(&kind) {
            assert_eq!(verdict, Verdict::Inconclusive, "{lie:?}: {kind}");
        }
    }
    assert_eq!(
        record.verdict(),
        Verdict::Inconclusive,
        "{lie:?}: {found:?}"
    );
}

#[test]
fn a_load_that_draws_something_else_passes_nothing() {
    let loaded = ["load", "overload", "sense", "signal", "soak"];
    for lie in [Lie::LoadDraws(0.5), Lie::LoadDraws(1.3), Lie::LoadStaysOff] {
        let record = lied_to(lie);
        // A pulse is the load's own and comes in spite of an input that is off.
        let doubtful = match lie {
            Lie::LoadStaysOff => &loaded[3..4],
            _ => &loaded[..],
        };
        unproven(lie, &record, doubtful);
    }
}

#[test]
fn a_supply_that_gives_something_else_passes_nothing() {
    for part in [0.8, 1.1] {
        let lie = Lie::SupplyGives(part);
        unproven(lie, &lied_to(lie), &["load", "signal", "idle"]);
    }
}

#[test]
fn old_samples_pass_nothing() {
    // In the midst of the load's steps, and later.
    for (reads, doubtful) in [(40, &["load"][..]), (160, &[])] {
        let lie = Lie::OldSamples(reads);
        unproven(lie, &lied_to(lie), doubtful);
    }
}
