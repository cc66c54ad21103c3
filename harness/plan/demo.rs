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

/// The same bench on which the instruments err by a twentieth of what their
/// accuracy allows: what is left of it from run to run on one bench.
pub fn steady_bench() -> Source {
    let text = bench().text;
    let errors = "instrument_errors = \"5 %\"\n";
    const TABLE: &str = "[model.fixture]\n";
    let text = if text.contains(TABLE) {
        text.replacen(TABLE, &format!("{TABLE}{errors}"), 1)
    } else {
        format!("{text}\n# One bench, run after run.\n{TABLE}{errors}")
    };
    Source::new("embedded: demo/bench.toml, steady", text)
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

/// A lot and the model board that stands for its boards.
#[derive(Clone, Debug)]
pub struct LotFiles {
    /// The lot file.
    pub lot: Source,
    /// The model board.
    pub board: Source,
}

/// A part that the demo can substitute.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// A current sensor of less gain.
    CurrentSensor,
    /// A larger trip filter.
    TripFilter,
}

/// The lot before any part was substituted.
pub fn before() -> LotFiles {
    LotFiles {
        lot: Source::new(
            "embedded: demo/lot-before.toml",
            include_str!("../../fixtures/demo/lot-before.toml"),
        ),
        board: board(),
    }
}

/// The lot with another part.
pub fn after(part: Part) -> LotFiles {
    let (lot, board) = match part {
        Part::CurrentSensor => (
            Source::new(
                "embedded: demo/lot-current-sensor.toml",
                include_str!("../../fixtures/demo/lot-current-sensor.toml"),
            ),
            Source::new(
                "embedded: demo/board-current-sensor.toml",
                include_str!("../../fixtures/demo/board-current-sensor.toml"),
            ),
        ),
        Part::TripFilter => (
            Source::new(
                "embedded: demo/lot-trip-filter.toml",
                include_str!("../../fixtures/demo/lot-trip-filter.toml"),
            ),
            Source::new(
                "embedded: demo/board-trip-filter.toml",
                include_str!("../../fixtures/demo/board-trip-filter.toml"),
            ),
        ),
    };
    LotFiles { lot, board }
}
