//! Every key that a file may have is a page of the guide, and no page is of a key
//! that no file may have. The keys are those that the readers themselves name when
//! one is misspelt.

use super::*;
use crate::bench_file;
use crate::document::{Fault, Source};
use crate::model_board;
use crate::plan;
use crate::profile;
use crate::workshop;
use std::collections::BTreeSet;

/// A key that no table has.
const STRANGE: &str = "zz_strange";

/// The keys of every table of `text`, as the faults name them that come of a
/// strange key in each.
fn known(text: &str, read: impl Fn(&Source) -> Vec<Fault>) -> BTreeSet<String> {
    let mut spoiled = format!("{STRANGE} = 1\n");
    let mut headers = vec![String::new()];
    for line in text.lines() {
        spoiled.push_str(line);
        spoiled.push('\n');
        headers.push(String::new());
        if let Some(header) = line.strip_prefix('[') {
            let header = header.trim_matches(['[', ']']).to_owned();
            spoiled.push_str(&format!("{STRANGE} = 1\n"));
            headers.push(header);
        }
    }
    let faults = read(&Source::new("f.toml", spoiled));
    let mut keys = BTreeSet::new();
    for fault in faults
        .iter()
        .filter(|fault| fault.message.contains(STRANGE))
    {
        let header = &headers[fault.line - 1];
        let expected = fault.expected.as_deref().unwrap_or_default();
        for key in expected.split(", ").map(|key| key.trim_matches('`')) {
            if key == "nothing" {
                continue;
            }
            keys.insert(match header.as_str() {
                "" => key.to_owned(),
                header => format!("{header}.{key}"),
            });
        }
    }
    keys
}

fn check(word: &str, texts: &[String], read: impl Fn(&Source) -> Vec<Fault>) {
    let file = File::of(word).expect("it has pages");
    let mut all = BTreeSet::new();
    for text in texts {
        all.extend(known(text, &read));
    }
    assert!(all.len() > 5, "{word}: {all:?}");
    // A table's own key is no page where its keys are.
    let table = |key: &str| {
        let inner = format!("{key}.");
        all.iter().any(|other| other.starts_with(&inner))
            || file.all().any(|page| {
                let depth = key.split('.').count();
                let words: Vec<&str> = page.key.split('.').collect();
                words.len() > depth && stands_for(&words[..depth].join("."), key)
            })
    };
    let lacking: Vec<&String> = all
        .iter()
        .filter(|key| file.page(key).is_none() && !table(key))
        .collect();
    assert!(lacking.is_empty(), "{word}: no page for {lacking:#?}");
    let stale: Vec<&str> = file
        .all()
        .map(|page| page.key)
        .filter(|key| {
            let own = |known: &String| stands_for(key, known);
            // Names are free where a general key ends with one.
            let last = key.rsplit('.').next().unwrap_or(key);
            let free = last.chars().all(|c| c.is_ascii_uppercase());
            !free && !all.iter().any(own)
        })
        .collect();
    assert!(stale.is_empty(), "{word}: no file has {stale:#?}");
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn every_page_fits_a_terminal_and_its_example_can_be_read() {
    for file in FILES {
        let mut seen = BTreeSet::new();
        for page in file.all() {
            assert!(seen.insert(page.key), "{} twice", page.key);
            for room in [92, 80] {
                let shown = file.shown(page, room);
                assert!(squeezed(&shown).contains(&squeezed(page.says)));
                // An example is a file's own lines.
                for line in shown
                    .lines()
                    .filter(|line| !page.example.contains(line.trim()))
                {
                    assert!(line.chars().count() <= room, "{line}");
                }
                let widest = shown.lines().map(|line| line.chars().count()).max();
                assert!(widest.is_some_and(|width| width <= 100), "{shown}");
            }
            let example: Result<toml::Table, _> = page.example.parse();
            let example = example.unwrap_or_else(|e| panic!("{}: {e}", page.key));
            let last = page.key.rsplit('.').next().unwrap_or(page.key);
            let general = last.chars().all(|c| c.is_ascii_uppercase());
            let written = general || page.example.contains(last);
            assert!(written && !example.is_empty(), "{}", page.key);
        }
        for room in [92, 80] {
            let overview = file.overview(room);
            let wide = overview.lines().find(|line| line.chars().count() > room);
            assert_eq!(wide, None, "{room}");
        }
    }
    let profile = File::of("profile").expect("it is there");
    let page = profile
        .page("reply.measure_current.pattern")
        .expect("a page");
    assert_eq!(page.key, "reply.COMMAND.pattern");
    assert!(profile.page("reply.measure_current.patern").is_none());
}

/// What an overview says of a key is a whole sentence: no bracket and no quotation
/// mark is left open, and it is not cut inside a number or a name.
#[test]
fn an_overview_cuts_no_sentence() {
    for page in FILES.iter().flat_map(File::all) {
        let first = first_sentence(page.says);
        let count = |sign: char| first.matches(sign).count();
        for (opening, closing) in [('(', ')'), ('[', ']'), ('{', '}')] {
            assert_eq!(count(opening), count(closing), "{}: {first}", page.key);
        }
        for quote in ['`', '"'] {
            assert_eq!(count(quote) % 2, 0, "{}: {first}", page.key);
        }
        let after = page.says[first.len()..].chars().nth(1);
        assert!(
            after.is_none_or(char::is_whitespace),
            "{}: {first}",
            page.key
        );
    }
    for (text, wanted) in [
        (
            "as in 0.8 A (ITU-T V.42). Without it 1.",
            "as in 0.8 A (ITU-T V.42)",
        ),
        (
            "a file that ends in `.csv`; it is read.",
            "a file that ends in `.csv`",
        ),
        ("one (a; b) two; three", "one (a; b) two"),
        ("no end", "no end"),
    ] {
        assert_eq!(first_sentence(text), wanted);
    }
}

/// A table has no page of its own but those of its keys.
#[test]
fn a_table_lists_its_keys() {
    let listed = |word: &str, key: &str| {
        let file = File::of(word).expect("it has pages");
        let pages = file.within(key);
        (file.table(key, &pages, 80), pages.len())
    };
    let (wiring, count) = listed("bench", "wiring");
    assert!(
        wiring.starts_with("bench.wiring\n") && count > 1,
        "{wiring}"
    );
    assert!(wiring.contains("\n  wiring."), "{wiring}");
    assert!(
        wiring.lines().all(|line| line.chars().count() <= 80),
        "{wiring}"
    );
    assert!(listed("plan", "comparison").1 > 1);
    // Under a name of one's own too.
    assert!(listed("profile", "reply.measure_current").1 > 1);
    assert_eq!(listed("bench", "wirin").1, 0);
    assert_eq!(listed("plan", "ratings.rated_current").1, 0);
}

#[test]
fn every_key_of_a_profile_has_its_page() {
    let strangers = [
        include_str!("../../../fixtures/strangers/load.toml"),
        include_str!("../../../fixtures/strangers/list-scope.toml"),
        include_str!("../../../fixtures/strangers/byte-scope.toml"),
    ];
    let mut texts: Vec<String> = profile::shipped_names()
        .into_iter()
        .map(|name| {
            profile::shipped_source(name)
                .expect("it comes with the program")
                .text
        })
        .chain(strangers.map(str::to_owned))
        .collect();
    // Tables that may be written inline, written out.
    let supply = &texts[0];
    texts.push(format!(
        "{supply}\n[line.checksum]\nkind = \"sum\"\n[argument.set_voltage]\n\
         [argument.set_voltage.volts]\nadd = 1\n[reply.condition]\nbytes = 1\n\
         [completion]\nwait = \"1 ms\"\n[completion.waits]\noutput_on = \"1 s\"\n"
    ));
    let inline = [
        "[waveform.volts_per_code]\nvalue = 1",
        "[waveform.bits]\nvalue = 8",
        "[waveform.checksum]\nkind = \"sum\"",
    ];
    let capture = &texts[2];
    texts.push(format!(
        "{capture}\n[waveform]\ndata = \"block\"\n{}\n",
        inline.join("\n")
    ));
    check("profile", &texts, |source| {
        profile::parse(source).err().unwrap_or_default()
    });
}

fn fixture(name: &str) -> String {
    match name {
        "plan" => include_str!("../../../fixtures/demo/plan.toml"),
        "bench" => include_str!("../../../fixtures/demo/bench.toml"),
        "board" => include_str!("../../../fixtures/demo/board.toml"),
        _ => include_str!("../../../fixtures/demo/lot.toml"),
    }
    .to_owned()
}

#[test]
fn every_key_of_a_bench_has_its_page() {
    let bench = fixture("bench");
    let bus = "bus = { metres = 20, conductor = \"AWG 14\" }\n";
    assert!(bench.contains(bus));
    let bench = bench.replace(bus, "");
    let texts = [format!(
        "{bench}\n[model.fixture]\nbleeder = \"1 kohm\"\n\
         [wiring.bus]\nmetres = 20\nconductor = \"AWG 14\"\n\
         [safety]\nsupply_fuse = \"10 A\"\n\
         [[instrument]]\nrole = \"load\"\nprofile = \"load\"\nnet = \"earth\"\n\
         [instrument.usb]\nvendor = 1\nproduct = 2\n\
         [[branch]]\nclosed_by = \"load\"\ncloses = \"near short\"\n\
         resistance = \"1 ohm\"\ninductance = \"1 uH\"\n"
    )
    .replacen("[safety]\nemergency_stop = \"model: none is needed\"\nsupply_fuse = \"model: 10 A in the supply's positive\"\n", "", 1)];
    check("bench", &texts, |source| {
        bench_file::parse(source).err().unwrap_or_default()
    });
}

#[test]
fn every_key_of_a_plan_has_its_page() {
    // A limit and a margin written out, and a scenario's own settings left in.
    let text = fixture("plan").replacen(
        "[scenario.limits]\ninput_current_off = {",
        "[scenario.limits.off_voltage]\nmax = \"1 V\"\nsource = \"house\"\n\
         [scenario.limits]\ninput_current_off = {",
        1,
    );
    check("plan", &[text], |source| {
        plan::parse(std::slice::from_ref(source))
            .err()
            .unwrap_or_default()
    });
}

#[test]
fn every_key_of_a_model_board_and_of_a_lot_has_its_page() {
    check("board", &[fixture("board")], |source| {
        model_board::parse(source).err().unwrap_or_default()
    });
    check("lot", &[fixture("lot")], |source| {
        plan::parse_lot(source).err().unwrap_or_default()
    });
    let workshop = "format = 1\n[issuer]\nname = \"A\"\n[defaults]\noperator = \"B\"\n";
    check("bufferstop", &[workshop.to_owned()], |source| {
        workshop::parse(source).err().unwrap_or_default()
    });
}
