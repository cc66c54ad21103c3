//! Tests of the fold, the chain and the bytes.

mod stored;

use super::chain::{ChainFault, Stored, next, start, verify};
use super::samples::{
    events, finished, made_safe, measured, numbered, observation, started, trouble, value,
};
use super::*;
use crate::event::Event;
use crate::measurement::{Estimate, Evidence, Landmark, Mark};
use proptest::prelude::*;

fn failing() -> Vec<Entry> {
    numbered(events(started("r1", "GR-0042", false), value(0.0123, 2e-5)))
}

#[test]
fn a_run_is_told_whole() {
    let record = Record::fold(&failing()).expect("a whole run");
    assert_eq!(record.headline(), "FAIL");
    assert_eq!((record.instruments.len(), record.scenarios.len()), (1, 2));
    let load = &record.scenarios[0];
    assert_eq!((load.steps.len(), load.metrics.len()), (1, 2));
    assert_eq!(load.verdict, Some(Verdict::Pass));
    assert_eq!(record.scenarios[1].verdict, Some(Verdict::Fail));
    assert_eq!(record.made_safe(), Some(true));
    assert!(record.energised() && !record.is_open());
    assert_eq!(record.not_run().count(), 0);
}

#[test]
fn a_model_run_and_a_diagnosis_never_read_as_a_bare_pass() {
    let mut facts = started("r1", "GR-0042", true);
    facts.only = Some("load".into());
    let all = numbered(events(facts, value(0.005, 2e-5)));
    let record = Record::fold(&all).expect("a whole run");
    assert_eq!(record.headline(), "MODEL DIAGNOSIS PASS");
    let open = Record::fold(&all[..4]).expect("an open run");
    assert_eq!(open.headline(), "MODEL DIAGNOSIS UNFINISHED");
    assert_eq!(open.verdict(), Verdict::Inconclusive);
}

#[test]
fn what_no_run_can_have_said_is_refused() {
    let whole: Vec<Event> = failing().into_iter().map(|entry| entry.event).collect();
    let start = whole[0].clone();
    let step = whole[3].clone();
    let begin = whole[2].clone();
    let end = whole[7].clone();
    let scenario = "load".to_owned();
    let mut gap = failing();
    gap.remove(4);
    for (name, entries, fault) in [
        ("nothing", vec![], RecordFault::Empty),
        (
            "no start",
            numbered([step.clone()]),
            RecordFault::NotStarted { sequence: 1 },
        ),
        (
            "two starts",
            numbered([start.clone(), start.clone()]),
            RecordFault::StartedTwice { sequence: 2 },
        ),
        (
            "a gap",
            gap,
            RecordFault::Sequence {
                wanted: 5,
                found: 6,
            },
        ),
        (
            "after the end",
            numbered([
                start.clone(),
                finished(Verdict::Pass, None),
                made_safe(true),
            ]),
            RecordFault::AfterEnd { sequence: 3 },
        ),
        (
            "a step of nothing",
            numbered([start.clone(), step]),
            RecordFault::NotRunning {
                sequence: 2,
                scenario: scenario.clone(),
            },
        ),
        (
            "a metric of a scenario that has ended",
            numbered([
                start.clone(),
                begin.clone(),
                end,
                measured("load", "x", value(1.0, 0.0), None),
            ]),
            RecordFault::NotRunning {
                sequence: 4,
                scenario: scenario.clone(),
            },
        ),
        (
            "a scenario twice",
            numbered([start, begin.clone(), begin]),
            RecordFault::ScenarioTwice {
                sequence: 3,
                scenario,
            },
        ),
    ] {
        assert_eq!(Record::fold(&entries), Err(fault), "{name}");
    }
}

#[test]
fn a_trouble_finds_its_place() {
    let mut all = events(started("r1", "GR-0042", false), value(0.005, 2e-5));
    all.insert(3, trouble(Some("load"), "the load is slow"));
    all.insert(4, trouble(Some("soak"), "no thermometer"));
    all.insert(5, trouble(None, "a port is gone"));
    let record = Record::fold(&numbered(all)).expect("troubles are no faults");
    assert_eq!(record.scenarios[0].troubles.len(), 1);
    assert_eq!(record.troubles.len(), 2);
    assert_eq!(record.troubles[0].scenario.as_deref(), Some("soak"));
}

#[test]
fn the_measurement_digest_knows_what_was_measured_and_nothing_else() {
    let fold = |run: &str, trip| {
        let entries = numbered(events(started(run, "GR-0042", true), value(trip, 2e-5)));
        Record::fold(&entries).expect("a whole run")
    };
    let one = fold("r1", 0.005);
    let mut later = fold("r2", 0.005);
    later.started_at += jiff::SignedDuration::from_secs(86_400);
    later.instruments.clear();
    // Marks follow from what was seen; older records have none.
    later.scenarios[0].metrics[0].metric.evidence = Some(Evidence {
        take: 0,
        label: "hold 1 A".into(),
        marks: vec![Mark::instant(Landmark::Onset, Estimate::new(1e-6, 1e-7))],
    });
    assert_eq!(measurement_digest(&one), measurement_digest(&later));
    assert_ne!(
        measurement_digest(&one),
        measurement_digest(&fold("r1", 0.005_000_001))
    );
}

/// The link of the first line of text `{}` computed outside, with GNU
/// coreutils: `printf '%064d\n{}' 0 | sha256sum`.
#[test]
fn a_link_is_what_sha256sum_says() {
    assert_eq!(
        next(&start(), "{}").to_string(),
        "5649d09ed68c17156095d175eef152856c5b1a81c117c409c1e00f096aa6838e"
    );
}

fn chained(texts: &[String]) -> Vec<Stored> {
    let mut link = start();
    (1..)
        .zip(texts)
        .map(|(position, text)| {
            link = next(&link, text);
            Stored {
                position,
                text: text.clone(),
                link: link.to_string(),
            }
        })
        .collect()
}

fn lines() -> Vec<Stored> {
    let texts: Vec<String> = failing()
        .into_iter()
        .map(|entry| Line {
            run: "r1".parse().expect("a plain name"),
            content: Content::Entry(entry),
        })
        .map(|line| line.text().expect("a faithful line"))
        .collect();
    chained(&texts)
}

fn check(lines: Vec<Stored>, head: Option<Digest>) -> Result<u64, ChainFault> {
    let checked = verify(lines.into_iter().map(Ok::<_, ()>), head);
    checked
        .expect("memory does not fail")
        .map(|intact| intact.lines)
}

#[test]
fn each_kind_of_tampering_is_named() {
    let good = lines();
    let count = good.len() as u64;
    assert_eq!(check(good.clone(), None), Ok(count));

    let mut changed = good.clone();
    changed[9].text = changed[9].text.replace("0.0123", "0.0083");
    assert_ne!(changed[9].text, good[9].text);
    assert_eq!(
        check(changed, None),
        Err(ChainFault::Altered {
            position: 10,
            what: "run r1, entry 10".into()
        })
    );

    let mut missing = good.clone();
    missing.remove(4);
    assert_eq!(
        check(missing.clone(), None),
        Err(ChainFault::Missing {
            position: 5,
            found: 6
        })
    );
    for (position, line) in (1..).zip(&mut missing) {
        line.position = position;
    }
    assert_eq!(
        check(missing, None),
        Err(ChainFault::EntryMissing {
            run: "r1".parse().expect("a plain name"),
            sequence: 5,
            position: 5,
        })
    );

    let mut moved = good.clone();
    moved.swap(5, 6);
    moved[5].position = 6;
    moved[6].position = 7;
    assert_eq!(
        check(moved, None),
        Err(ChainFault::Reordered {
            position: 6,
            found: 7
        })
    );
}

#[test]
fn a_cut_tail_shows_only_against_a_head() {
    let mut cut = lines();
    let head: Digest = cut[12].link.parse().expect("a link");
    let earlier: Digest = cut[3].link.parse().expect("a link");
    assert_eq!(check(cut.clone(), Some(head)), Ok(13));
    assert_eq!(check(cut.clone(), Some(earlier)), Ok(13));
    cut.pop();
    assert_eq!(check(cut.clone(), None), Ok(12));
    assert_eq!(
        check(cut, Some(head)),
        Err(ChainFault::HeadNotFound { head })
    );
}

#[test]
fn a_store_written_anew_shows_only_against_a_head() {
    let good = lines();
    let head: Digest = good[12].link.parse().expect("a link");
    let texts: Vec<String> = good
        .iter()
        .map(|line| line.text.replace("GR-0042", "GR-0043"))
        .collect();
    assert_eq!(check(chained(&texts), None), Ok(13));
    assert!(check(chained(&texts), Some(head)).is_err());
}

#[test]
fn a_line_that_would_not_read_back_is_refused() {
    let mut entry = failing().remove(9);
    if let Event::Measured { metric, .. } = &mut entry.event {
        metric.finding = crate::measurement::Finding::Value(crate::measurement::Estimate {
            value: f64::NAN,
            u: 0.0,
        });
    }
    let line = Line {
        run: "r1".parse().expect("a plain name"),
        content: Content::Entry(entry),
    };
    assert_eq!(line.text(), Err(LineFault::NotFaithful));
}

#[test]
fn an_observation_comes_back() {
    let seen = observation(2000);
    let bytes = observation_bytes(&seen);
    assert_eq!(from_bytes(&bytes), Ok(seen));
    assert_eq!(from_bytes(&[]), Err(ObservationFault::Empty));
    assert_eq!(from_bytes(&[9, 0]), Err(ObservationFault::Format(9)));
    let mut longer = bytes.clone();
    longer.push(0);
    assert_eq!(from_bytes(&longer), Err(ObservationFault::Trailing(1)));
    for cut in 0..200 {
        assert!(from_bytes(&bytes[..cut]).is_err(), "{cut}");
    }
}

#[test]
fn a_length_that_lies_costs_nothing() {
    // `Load` with 2^62 steps announced and none given.
    let mut bytes = vec![1, 0];
    bytes.extend([0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x40]);
    assert!(matches!(
        from_bytes(&bytes),
        Err(ObservationFault::Malformed(_))
    ));
}

#[test]
fn a_capture_whose_parts_do_not_fit_is_refused() {
    let mut seen = observation(10);
    if let crate::scenario::Observation::Load(crate::scenario::load::Seen { steps }) = &mut seen {
        steps[0].take.capture.lines[0].changes = vec![7, 3];
    }
    assert!(matches!(
        from_bytes(&observation_bytes(&seen)),
        Err(ObservationFault::Capture(_))
    ));
    let mut seen = observation(10);
    if let crate::scenario::Observation::Load(crate::scenario::load::Seen { steps }) = &mut seen {
        steps[0].take.capture.channels[0].scale = f64::INFINITY;
    }
    assert_eq!(
        from_bytes(&observation_bytes(&seen)),
        Err(ObservationFault::NotFinite)
    );
}

proptest! {
    #[test]
    fn no_bytes_panic(bytes: Vec<u8>) {
        let _ = from_bytes(&bytes);
        let mut with_format = vec![1];
        with_format.extend(bytes);
        let _ = from_bytes(&with_format);
    }

    #[test]
    fn a_flipped_bit_never_panics(at in 0_usize..100, bit in 0_u8..8) {
        let mut bytes = observation_bytes(&observation(40));
        let at = at % bytes.len();
        bytes[at] ^= 1 << bit;
        let _ = from_bytes(&bytes);
    }

    /// Replaying events gives the same record, through their JSON text too,
    /// and a record survives its own.
    #[test]
    fn a_replay_tells_the_same(
        trip in 1e-6_f64..1.0, u in 0.0_f64..1e-3, cut in 1_usize..14, model: bool,
    ) {
        let entries = numbered(events(started("r1", "GR-0042", model), value(trip, u)));
        let live = &entries[..cut.min(entries.len())];
        let record = Record::fold(live).expect("the start of a whole run");
        let replayed: Vec<Entry> = live
            .iter()
            .map(|entry| serde_json::to_string(entry).expect("plain data"))
            .map(|text| serde_json::from_str(&text).expect("its own text"))
            .collect();
        prop_assert_eq!(&Record::fold(&replayed), &Ok(record.clone()));
        let text = serde_json::to_string(&record).expect("plain data");
        let back: Record = serde_json::from_str(&text).expect("its own text");
        prop_assert_eq!(back, record);
    }
}
