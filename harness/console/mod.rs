//! What the person at the bench sees on a terminal: the run as it happens, the
//! verdict, and records told again. It decides nothing and measures nothing.

mod banner;
mod fold;
mod gauge;
pub mod guide;
pub mod inspect;
mod live;
pub mod proof;
mod row;
mod table;

pub use banner::banner;
pub use live::Live;
pub use table::{table, table_within};

/// What the far end of the output can show.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Screen {
    /// A person watches: transient lines may be drawn and taken back.
    pub live: bool,
    /// Columns.
    pub width: usize,
    /// Lines.
    pub height: usize,
}

impl Screen {
    /// Plain lines, as for a file or a pipe.
    pub const PLAIN: Self = Self {
        live: false,
        width: 100,
        height: 40,
    };
}

/// The usual cautions, shown before anything is energised.
pub const CAUTIONS: &[&str] = &[
    "This test puts shorts and tens of amperes through the board. Wires, contacts and the board get hot; keep clear and keep nothing that burns near by.",
    "Wear eye protection: parts under test can burst. Do not leave the bench alone.",
    "Have the emergency stop within reach and a fuse in the supply: this program is not a safety device.",
    "Neither output rail is ground. An earthed clip on a rail shorts a bridge switch.",
    "Mains-fed supplies: follow your local codes, and leave mains work to licensed people.",
];
