//! Files inside a room: those that use each other in a circle can only be read
//! together. It says which do, and asks no more of them.

use super::paths::{Crate, Path};
use super::{no_breach, the_crate};
use std::collections::{BTreeMap, BTreeSet};

/// Two files may be two halves of one story.
const LARGEST: usize = 2;

/// Whom each file uses of its own room, and one path by which it does. A `use`
/// that only hands on is followed to where the thing is defined, and `mod x;`
/// uses nothing.
fn uses(all: &Crate) -> BTreeMap<Path, BTreeMap<Path, String>> {
    let of_room = |module: &Path| {
        let homes = all.used_by(module).into_iter();
        homes
            .filter_map(|(path, home)| Some((home?, path.join("::"))))
            .filter(|(home, _)| home != module && home[0] == module[0])
            .collect()
    };
    all.files()
        .map(|(module, _)| (module.clone(), of_room(module)))
        .collect()
}

/// Every circle of more than [`LARGEST`] files, in words.
fn circles(all: &Crate) -> Vec<String> {
    let uses = uses(all);
    let reach: BTreeMap<&Path, BTreeSet<&Path>> = uses
        .keys()
        .map(|from| {
            let mut reached = BTreeSet::new();
            let mut ahead: Vec<&Path> = uses[from].keys().collect();
            while let Some(next) = ahead.pop() {
                if reached.insert(next) {
                    ahead.extend(uses[next].keys());
                }
            }
            (from, reached)
        })
        .collect();
    let mut told: BTreeSet<&Path> = BTreeSet::new();
    let mut found = Vec::new();
    for from in uses.keys() {
        let circle: Vec<&Path> = reach[from]
            .iter()
            .copied()
            .filter(|to| reach[to].contains(from))
            .collect();
        if circle.len() <= LARGEST || circle.iter().any(|file| told.contains(file)) {
            continue;
        }
        told.extend(&circle);
        let names: Vec<&str> = circle.iter().map(|m| all.file(m).name.as_str()).collect();
        let mut words = format!("a circle of {} files: {}", names.len(), names.join(", "));
        for file in &circle {
            for (to, path) in uses[*file].iter().filter(|(to, _)| circle.contains(to)) {
                let (file, to) = (&all.file(file).name, &all.file(to).name);
                words.push_str(&format!("\n    {file} uses {to}: {path}"));
            }
        }
        found.push(words);
    }
    found
}

/// What several files share stands in a file below them, so that each can be
/// read, tested or replaced with nothing but what is below it.
#[test]
fn files_of_a_room_make_no_circle_of_more_than_two() {
    no_breach(&circles(&the_crate()));
}

/// The reader of circles itself: three files in a ring, by a plain path, by a
/// name handed on and by a path in the code, and the same with the ring cut.
#[test]
fn a_ring_of_three_files_is_named() {
    let ring = |last: &'static str| {
        let files = [
            (
                "room/mod.rs",
                "mod a;\nmod b;\nmod c;\npub use c::{Deep as Third, other};\n",
            ),
            (
                "room/a.rs",
                "use super::b::{First, second};\n// use super::c::Deep;\n",
            ),
            (
                "room/b.rs",
                "use crate::room::Third;\npub struct First;\npub fn second() {}\n",
            ),
            ("room/c.rs", last),
            ("alone.rs", "use crate::room::other;\n"),
        ];
        let files = files.map(|(name, text)| (name.to_owned(), text));
        circles(&Crate::of(files))
    };
    let closed = "pub struct Deep;\npub(in crate::room) fn other() { super::a::run() }\n";
    let found = ring(closed);
    assert_eq!(found.len(), 1, "{found:?}");
    let expected = "a circle of 3 files: room/a.rs, room/b.rs, room/c.rs\n";
    assert!(found[0].starts_with(expected), "{found:?}");
    assert!(found[0].contains("room/b.rs uses room/c.rs: room::Third"));
    let cut = "pub struct Deep;\npub fn other() { say(\"super::a::run\") }\n";
    assert!(ring(cut).is_empty());
}
