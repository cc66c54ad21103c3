//! The files of the demo, which come with the program: the plan, the model
//! bench, the model board and the lot of an invented garden-railway booster.
//! They are text as a user would write it, nothing more.

use crate::document::Source;

/// Boards in the demo's lot.
pub const BOARDS: u64 = 12;

/// The acceptance plan.
pub fn plan() -> Source {
    Source::new(
        "embedded: demo/plan.toml",
        include_str!("../../fixtures/demo/plan.toml"),
    )
}

/// The embedded model bench.
pub fn bench() -> Source {
    Source::new(
        "embedded: demo/bench.toml",
        include_str!("../../fixtures/demo/bench.toml"),
    )
}

/// The model board, with the defects planted in two boards of the lot.
pub fn board() -> Source {
    Source::new(
        "embedded: demo/board.toml",
        include_str!("../../fixtures/demo/board.toml"),
    )
}

/// The lot.
pub fn lot() -> Source {
    Source::new(
        "embedded: demo/lot.toml",
        include_str!("../../fixtures/demo/lot.toml"),
    )
}
