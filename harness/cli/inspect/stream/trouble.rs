//! Why a capture file could not be read, in one line that names the option
//! which would read it where there is one. It reads nothing.

use crate::capture_file::{CsvAsk, CsvFault, NpyFault, VcdFault, VcdTrouble, WavFault};
use crate::cli::exit::Exit;

/// Why a file could not be read, and who can mend it.
#[derive(Debug)]
pub(in crate::cli::inspect) enum Trouble {
    /// The command line does not fit the file.
    Usage(String),
    /// The file is faulty.
    File(String),
    /// Already told, with the status to leave with.
    Told(Exit),
}

impl From<std::io::Error> for Trouble {
    fn from(fault: std::io::Error) -> Self {
        Self::File(fault.to_string())
    }
}

impl From<VcdFault> for Trouble {
    fn from(fault: VcdFault) -> Self {
        match &fault.trouble {
            VcdTrouble::Choose(known) => Self::Usage(format!(
                "name the wire to read with --wire; the file has: {known}"
            )),
            VcdTrouble::NoSuchWire { .. } | VcdTrouble::Ambiguous(_) => {
                Self::Usage(fault.trouble.to_string())
            }
            _ => Self::File(fault.to_string()),
        }
    }
}

/// What to type, where the file does not say it.
const fn asked(ask: CsvAsk) -> &'static str {
    match ask {
        CsvAsk::Decimal => "say which with --decimal-comma or --decimal-point",
        CsvAsk::Thousands => "say what groups digits with --thousands point or --thousands comma",
        CsvAsk::Separator => {
            "say what parts fields with --separator comma, semicolon, tab or space"
        }
        CsvAsk::NoHeader => "give --no-header; columns are then numbered from 1",
        CsvAsk::TimeColumn => "name the time with --time-column, by name or number",
        CsvAsk::TimeUnit => "give it with --time-unit, such as us or s",
        CsvAsk::Rate => "give --rate, such as \"1 MHz\", and --start for the first row's instant",
        CsvAsk::Scale => "give --scale, such as \"1 V\"",
    }
}

impl From<CsvFault> for Trouble {
    fn from(fault: CsvFault) -> Self {
        match fault {
            CsvFault::NoSuchColumn { .. } => Self::Usage(fault.to_string()),
            CsvFault::Unclear { ask, .. } => Self::Usage(format!("{fault}; {}", asked(ask))),
            CsvFault::NoHeader { .. } => Self::Usage(format!(
                "{fault}; without such a line {}",
                asked(CsvAsk::NoHeader)
            )),
            CsvFault::Header { .. } => Self::File(format!(
                "{fault} (--column, --time-column, --time-unit, --scale say otherwise)"
            )),
            CsvFault::TimeStands { .. } => Self::File(format!(
                "{fault}; where times have too few digits, --rate counts the rows instead"
            )),
            CsvFault::Quote { .. } | CsvFault::TooLong { .. } => Self::File(format!(
                "{fault}; if fields are parted by something else, {}",
                asked(CsvAsk::Separator)
            )),
            CsvFault::Number { .. } => Self::File(format!(
                "{fault}; --decimal-comma, --decimal-point and --thousands say how numbers are written"
            )),
            CsvFault::Empty { .. }
            | CsvFault::NoNumbers { .. }
            | CsvFault::Fields { .. }
            | CsvFault::Unit { .. }
            | CsvFault::AfterEnd { .. }
            | CsvFault::Unwritten { .. }
            | CsvFault::Cut { .. } => Self::File(fault.to_string()),
        }
    }
}

impl From<NpyFault> for Trouble {
    fn from(fault: NpyFault) -> Self {
        match fault {
            NpyFault::NoSuchChannel { .. } => Self::Usage(fault.to_string()),
            _ => Self::File(fault.to_string()),
        }
    }
}

impl From<WavFault> for Trouble {
    fn from(fault: WavFault) -> Self {
        match fault {
            WavFault::NoSuchChannel { .. } => Self::Usage(fault.to_string()),
            _ => Self::File(fault.to_string()),
        }
    }
}
