//! Whole runs in which the `n`-th answer of any instrument is lost, or the disk is
//! full at the `n`-th commit, for every `n`. `BUFFERSTOP_FAULT_STEP` takes every so
//! many of them.

use super::kinds::KINDS;
use super::trial::Workplace;
use super::{BETWEEN_TABLES, Tally, number};
use bufferstop::document::Source;
use bufferstop::parallel::{cores, in_order};
use bufferstop::plan::{self, Plan, demo};
use std::time::Instant;

/// What is done once instead of often: another polarity, place or packet sends the
/// same lines again.
const ONCE: [(&str, &str); 10] = [
    ("kind = \"idle\"\n", "polarities = [\"alternating\"]\n"),
    (
        "kind = \"load\"\n",
        "steps = [\"0 A\", \"1.5 A\", \"3 A\"]\n",
    ),
    (
        "polarities = [\"positive\", \"negative\", \"alternating\"]\n",
        "polarities = [\"alternating\"]\n",
    ),
    ("multiples = [1.5, 2, 3]\n", "multiples = [1.5]\n"),
    ("places = [\"near\", \"far\"]\n", "places = [\"near\"]\n"),
    ("repeats = 2\n", "repeats = 1\n"),
    ("kind = \"reversal\"\n", "directions = [\"forward\"]\n"),
    (
        "kind = \"sense\"\n",
        "polarities = [\"positive\"]\nreadings = 3\n",
    ),
    (
        "kind = \"signal\"\n",
        "packets = [\"idle\"]\nloads = [\"rated\"]\ncutouts = [\"nominal\"]\n",
    ),
    ("kind = \"loss\"\n", "causes = [\"signal stops\"]\n"),
];

/// The demo's plan with everything done once.
fn brief() -> Plan {
    let mut text = demo::plan().text;
    for (found, once) in ONCE {
        assert_eq!(text.matches(found).count(), 1, "{found}");
        let kept = if found.starts_with("kind") { found } else { "" };
        text = text.replace(found, &format!("{kept}{once}"));
    }
    let source = Source::new("the demo's plan, everything once", text);
    plan::parse(&[source]).expect("a plan").0
}

/// The soak alone, since it takes as many lines as all the others.
fn parts(plan: &Plan) -> [(&'static str, Vec<String>); 2] {
    let names = plan.scenarios.iter().map(|scenario| scenario.name.clone());
    let (soak, others) = names.partition(|name| name == "soak");
    [("every scenario but the soak", others), ("the soak", soak)]
}

#[test]
#[ignore = "a campaign of an hour: scripts/long"]
fn every_line_and_every_commit_may_fail() {
    let step = number("BUFFERSTOP_FAULT_STEP").unwrap_or(1).max(1);
    let named = |name: &str| KINDS.iter().find(|kind| kind.name == name);
    for (part, scenarios) in parts(&brief()) {
        let place = || Workplace::with(brief());
        let sound = place().attempt_at(named("none").expect("a kind"), &scenarios, 0);
        assert!(sound.wrongs.is_empty(), "{part}: {}", sound.words);
        let lines = sound.truth.exchanges();
        // A run commits less often than it talks; beyond its end nothing fails.
        for (name, most) in [("answer lost", lines), ("store fails", lines / 8)] {
            let kind = named(name).expect("a kind");
            let mut tally = Tally::default();
            let (begun, mut shown) = (Instant::now(), Instant::now());
            let (trials, mut otherwise) = (most.div_ceil(step), 0);
            in_order(
                cores(),
                trials as usize,
                place,
                |place, index| Some(place.attempt_at(kind, &scenarios, index as u64 * step)),
                |index, outcome| {
                    let at = index as u64 * step;
                    tally.count(at, &outcome);
                    otherwise += u64::from(!outcome.words.contains("Pass, safe: true"));
                    if !outcome.wrongs.is_empty() {
                        println!("{name} at {at}: {:?}: {}", outcome.wrongs, outcome.words);
                    }
                    if shown.elapsed() > BETWEEN_TABLES {
                        shown = Instant::now();
                        println!("{name}: {} of {trials}, {:?}", tally.runs, tally.wrongs);
                    }
                    true
                },
            );
            let seconds = begun.elapsed().as_secs_f64();
            println!(
                "{part}, {name}: {trials} runs of {most} places in {seconds:.0} s, \
                 {} touched, {otherwise} not passed, worst {:.3} s to safe, {} never, \
                 wrong ends {:?}",
                tally.touched, tally.worst, tally.never_dead, tally.wrongs
            );
            assert!(tally.wrongs.is_empty(), "{name}: {:?}", tally.wrongs);
            // A store that fails lets no run pass; it stands not between the two.
            let came = if name == "store fails" {
                otherwise
            } else {
                tally.touched
            };
            assert!(came > 0, "{name}: nothing failed");
        }
    }
}
