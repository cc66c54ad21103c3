//! What kind a file is, by the table that only that kind has. It reads nothing
//! else of it.

use crate::document::{Fault, Faults, Reader, Source, Table, Tree};

/// What a file says it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Plan,
    Bench,
    Profile,
    Board,
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
    pub(super) fn of(source: &Source) -> Option<Self> {
        let tree = Tree::read(source, &mut Faults::new())?;
        let reader = Reader::new(Faults::new());
        let root = Table::of(&tree, &reader);
        let found = KINDS.iter().find(|(_, table, _)| root.has(table));
        let found = found.map(|(kind, _, _)| *kind);
        // An overlay may have nothing but the plan it extends.
        found.or_else(|| root.has("extends").then_some(Self::Plan))
    }

    /// What is wrong where the file is of another kind than this one.
    pub(super) fn fault_of(self, source: &Source) -> Option<Fault> {
        let found = Self::of(source).filter(|found| *found != self)?;
        let tree = Tree::read(source, &mut Faults::new())?;
        let reader = Reader::new(Faults::new());
        let root = Table::of(&tree, &reader);
        let message = format!("this file is {}", found.words());
        let wanted = format!("{} here", self.words());
        Some(Fault::error(&root.place_of(found.table()), message).expected(wanted))
    }

    fn row(self) -> (Self, &'static str, &'static str) {
        let mut rows = KINDS.into_iter();
        rows.find(|(kind, _, _)| *kind == self)
            .expect("every kind has a row")
    }

    fn table(self) -> &'static str {
        self.row().1
    }

    fn words(self) -> &'static str {
        self.row().2
    }
}
