//! What kind a file is, by the table that only that kind has. It reads nothing
//! else of it.

use crate::document::{Fault, Faults, Place, Reader, Source, Table, Tree};

/// What a file says it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A plan.
    Plan,
    /// A bench.
    Bench,
    /// A profile of an instrument.
    Profile,
    /// A model board.
    Board,
    /// A lot.
    Lot,
}

/// The table that tells, and the kind in words.
const KINDS: [(Kind, &str, &str); 5] = [
    (Kind::Plan, "plan", "a plan"),
    (Kind::Bench, "bench", "a bench"),
    (Kind::Profile, "profile", "a profile of an instrument"),
    (Kind::Board, "board", "a model board"),
    (Kind::Lot, "lot", "a lot"),
];

impl Kind {
    /// What the file says it is; nothing where it says nothing that can be read.
    pub fn of(source: &Source) -> Option<Self> {
        told(source).map(|(kind, _)| kind)
    }

    /// What is wrong where the file is of another kind than this one.
    pub fn fault_of(self, source: &Source) -> Option<Fault> {
        let (found, place) = told(source).filter(|(found, _)| *found != self)?;
        let message = format!("this file is {}", found.words());
        let wanted = format!("{} here", self.words());
        Some(Fault::error(&place, message).expected(wanted))
    }

    fn words(self) -> &'static str {
        let mut rows = KINDS.into_iter();
        let row = rows.find(|(kind, ..)| *kind == self);
        row.expect("every kind has a row").2
    }
}

/// What a file says it is, and where.
fn told(source: &Source) -> Option<(Kind, Place)> {
    let tree = Tree::read(source, &mut Faults::new())?;
    let reader = Reader::new(Faults::new());
    let root = Table::of(&tree, &reader);
    let mut rows = KINDS.into_iter();
    let found = rows.find(|(_, table, _)| root.has(table));
    // An overlay may have nothing but the plan it extends.
    let overlay = || root.has("extends").then_some((Kind::Plan, "extends", ""));
    let (kind, key, _) = found.or_else(overlay)?;
    Some((kind, root.place_of(key)))
}
