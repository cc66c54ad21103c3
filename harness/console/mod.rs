//! What the person at the bench sees on a terminal: the run as it happens, the
//! verdict, and records told again. It decides nothing and measures nothing.

mod banner;
mod cautions;
mod fold;
mod gauge;
pub mod guide;
pub mod inspect;
pub mod keys;
mod live;
pub mod proof;
mod remaining;
mod row;
mod signs;
mod table;

pub use banner::banner;
pub(crate) use fold::{columns, fitted, folded};

pub use cautions::{AFTER_SOAK, BENCH_CAUTION, CAUTIONS, MODEL_CAUTION, caution_of, cautions};
pub use live::{Live, Prompts};
pub use remaining::{Expected, minutes};
pub use signs::{show_signs, writes_utf8};
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
