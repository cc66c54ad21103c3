//! What `bufferstop new` is told, as typed. Nothing here is checked beyond its shape.

use clap::Args;
use std::path::PathBuf;

/// What a new file is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(in crate::cli) enum NewKind {
    /// What a board must withstand and show.
    Plan,
    /// Instruments, wiring and envelope.
    Bench,
    /// How to talk to a model of instrument.
    Profile,
    /// A model board.
    Board,
    /// Boards that were built together.
    Lot,
}

impl NewKind {
    #[cfg(test)]
    pub(in crate::cli) const ALL: [Self; 5] = [
        Self::Plan,
        Self::Bench,
        Self::Profile,
        Self::Board,
        Self::Lot,
    ];

    pub(in crate::cli) const fn word(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Bench => "bench",
            Self::Profile => "profile",
            Self::Board => "board",
            Self::Lot => "lot",
        }
    }
}

pub(in crate::cli) const NEW_AFTER: &str = "\
Example:  bufferstop new plan plan.toml --rated-current '3 A' \\
              --trip-current '4 A' --voltage '18 V'
          bufferstop new bench bench.toml \\
              --emergency-stop 'red button, cuts the mains' \\
              --supply-fuse '10 A' --roles supply=person,load,capture,drive
          bufferstop new profile my-load.toml --role load

On a terminal it asks for what is not given. Nothing is written over.";

#[derive(Debug, Args)]
pub(in crate::cli) struct NewFile {
    /// What the file is of.
    #[arg(value_enum)]
    pub(in crate::cli) kind: NewKind,
    /// The new file.
    pub(in crate::cli) file: PathBuf,
    /// The current that a board carries for ever, such as "3 A".
    #[arg(long, value_name = "CURRENT")]
    pub(in crate::cli) rated_current: Option<String>,
    /// The current at which it trips, such as "4 A".
    #[arg(long, value_name = "CURRENT")]
    pub(in crate::cli) trip_current: Option<String>,
    /// The voltage at which it is tested, such as "18 V".
    #[arg(long, value_name = "VOLTAGE")]
    pub(in crate::cli) voltage: Option<String>,
    /// Its signal lines.
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(1..=2))]
    pub(in crate::cli) signal_lines: Option<u8>,
    /// The family of boards.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) family: Option<String>,
    /// The name of the bench or of the lot.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) name: Option<String>,
    /// The instrument of a profile.
    #[arg(long, value_name = "ROLE")]
    pub(in crate::cli) role: Option<String>,
    /// The instruments of a bench, parted by commas; `=person` behind one that a person
    /// works, `drive=external` for a source that always sends.
    #[arg(long, value_name = "ROLES")]
    pub(in crate::cli) roles: Option<String>,
    /// What the bench's emergency stop is and what it cuts.
    #[arg(long, value_name = "WHAT")]
    pub(in crate::cli) emergency_stop: Option<String>,
    /// The fuse in the board's supply.
    #[arg(long, value_name = "WHAT")]
    pub(in crate::cli) supply_fuse: Option<String>,
}
