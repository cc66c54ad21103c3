//! What can be wrong with a value change dump, and where. It reads nothing.

use super::LONGEST_PIECE;

/// What is wrong with a file, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, byte {byte}: {trouble}")]
pub struct VcdFault {
    /// Line, counted from one.
    pub line: u64,
    /// Byte, counted from zero.
    pub byte: u64,
    /// What.
    pub trouble: VcdTrouble,
}

/// What can be wrong with a value change dump.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VcdTrouble {
    /// A word that cannot stand here.
    #[error("'{0}' cannot stand here")]
    Unexpected(String),
    /// A declaration that does not hold.
    #[error("the declaration is faulty: {0}")]
    Declaration(&'static str),
    /// A timescale other than 1, 10 or 100 of s to fs.
    #[error("'{0}' is no timescale; expected 1, 10 or 100 of s, ms, us, ns, ps or fs")]
    Timescale(String),
    /// No timescale in the header.
    #[error("the header has no $timescale")]
    NoTimescale,
    /// No wire was named and there is more than one, or none.
    #[error("name the wire to read; the file has: {0}")]
    Choose(String),
    /// A named wire is not there.
    #[error("there is no wire '{wanted}'; the file has: {known}")]
    NoSuchWire {
        /// As asked for.
        wanted: String,
        /// The first few there are.
        known: String,
    },
    /// A name fits two wires.
    #[error("'{0}' names more than one wire; give its scopes too, joined by dots")]
    Ambiguous(String),
    /// A chosen vector of more than 64 bits.
    #[error("'{0}' is wider than 64 bits")]
    TooWide(String),
    /// A value for a code that no wire has.
    #[error("code '{0}' belongs to no declared wire")]
    NoSuchCode(String),
    /// A value that does not fit its wire.
    #[error("value '{0}' does not fit its wire")]
    Misfit(String),
    /// A time that is no number or beyond what can be held.
    #[error("'{0}' is no time that can be held")]
    Time(String),
    /// A time before the one before it.
    #[error("time goes back from {from} to {to}")]
    TimeGoesBack {
        /// The time before, in ticks.
        from: u64,
        /// The time now, in ticks.
        to: u64,
    },
    /// A word too long to be one.
    #[error("a word is longer than {LONGEST_PIECE} bytes")]
    TooLong,
    /// The end where more must come.
    #[error("the file ends {0}")]
    Truncated(&'static str),
}
