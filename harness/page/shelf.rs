//! The files that a sitting is chosen from: plans, benches and lots of one folder, by
//! the names that a page is shown. A name that is not on the list opens nothing.

use crate::document::{LARGEST_FILE, Source};
use crate::event::FileFacts;
use crate::ident::LotName;
use crate::sitting::{FileKind, Files, Sound, of_one_family, plain_file};
use crate::units::Celsius;
use std::path::{Path, PathBuf};

/// Files looked at, and folders below the first.
const MOST_FILES: usize = 400;
const DEEPEST: usize = 2;

/// What is chosen where no bench is named.
pub(super) const MODEL_BENCH: &str = "";

/// What a page chose, as it was typed.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Choice {
    pub(super) plan: String,
    pub(super) bench: String,
    /// A lot file, or a plain name.
    pub(super) lot: String,
    pub(super) operator: Option<String>,
    pub(super) ambient: Option<Celsius>,
    pub(super) confirmed: bool,
}

impl Choice {
    /// The bench as a person knows it.
    pub(super) fn bench_words(&self) -> &str {
        if self.bench == MODEL_BENCH {
            "embedded model bench"
        } else {
            &self.bench
        }
    }
}

/// What there is to choose from, by name.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Shelf {
    pub(super) plans: Vec<String>,
    pub(super) benches: Vec<String>,
    pub(super) lots: Vec<String>,
}

impl Shelf {
    /// What lies in `folder` and a little below it.
    pub(super) fn of(folder: &Path) -> Self {
        let mut shelf = Self::default();
        let mut left = MOST_FILES;
        shelf.look(folder, "", 0, &mut left);
        for names in [&mut shelf.plans, &mut shelf.benches, &mut shelf.lots] {
            names.sort();
        }
        shelf
    }

    fn look(&mut self, folder: &Path, before: &str, depth: usize, left: &mut usize) {
        let Ok(entries) = std::fs::read_dir(folder) else {
            return;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            // A name that is no text could not be asked for.
            let Some(name) = name.to_str().filter(|name| !name.starts_with('.')) else {
                continue;
            };
            let named = format!("{before}{name}");
            // A link is not followed: it may lead anywhere.
            let Ok(kind) = entry.file_type() else {
                continue;
            };
            if kind.is_dir() && depth < DEEPEST {
                self.look(&entry.path(), &format!("{named}/"), depth + 1, left);
            } else if kind.is_file() && name.ends_with(".toml") {
                if *left == 0 {
                    return;
                }
                *left -= 1;
                self.take(&entry.path(), named);
            }
        }
    }

    fn take(&mut self, path: &Path, name: String) {
        let Ok(bytes) = plain_file::read(path, LARGEST_FILE) else {
            return;
        };
        let Ok(source) = Source::from_bytes(&name, &bytes) else {
            return;
        };
        match FileKind::of(&source) {
            Some(FileKind::Plan) => self.plans.push(name),
            Some(FileKind::Bench) => self.benches.push(name),
            Some(FileKind::Lot) => self.lots.push(name),
            _ => {}
        }
    }

    /// Where the plan of that name lies; nothing where there is none.
    pub(super) fn plan(&self, folder: &Path, name: &str) -> Option<PathBuf> {
        let known = self.plans.iter().any(|known| known == name);
        known.then(|| folder.join(name))
    }

    /// The same for a bench.
    pub(super) fn bench(&self, folder: &Path, name: &str) -> Option<PathBuf> {
        let known = self.benches.iter().any(|known| known == name);
        known.then(|| folder.join(name))
    }
}

/// What the files of a choice say.
pub(super) struct Found {
    /// Nothing where any fault forbids going on.
    pub(super) sound: Option<Sound>,
    pub(super) lot: Option<LotName>,
    pub(super) facts: Vec<FileFacts>,
    /// Every fault with its place.
    pub(super) faults: String,
}

/// Reads the files of a choice.
///
/// # Errors
/// A name that is not on the list, or no name of a lot.
pub(super) fn read(folder: &Path, choice: &Choice) -> Result<Found, String> {
    let shelf = Shelf::of(folder);
    let plan = shelf.plan(folder, &choice.plan);
    let plan = plan.ok_or_else(|| format!("there is no plan {:?} in the folder", choice.plan))?;
    let bench = match choice.bench.as_str() {
        MODEL_BENCH => None,
        name => Some(
            shelf
                .bench(folder, name)
                .ok_or_else(|| format!("there is no bench {name:?} in the folder"))?,
        ),
    };
    let mut files = Files::default();
    let plan = files.plan(&plan);
    let bench = files.bench(bench.as_deref(), None);
    let lot = if shelf.lots.contains(&choice.lot) {
        let lot = files.lot(&folder.join(&choice.lot));
        if let (Some(lot), Some(plan)) = (&lot, &plan) {
            of_one_family(lot, plan).map_err(|other| other.to_string())?;
        }
        lot.map(|lot| lot.name)
    } else if choice.lot.is_empty() {
        None
    } else {
        let name = choice.lot.parse::<LotName>();
        Some(name.map_err(|fault| format!("the name of the lot cannot be used: {fault}"))?)
    };
    let sound = files.sound(plan, bench);
    Ok(Found {
        sound,
        lot,
        facts: files.facts(),
        faults: files.rendered(false),
    })
}
