//! Capture files of any device, read as a stream: bytes are pushed in, samples
//! and changes come out, in bounded memory. It opens no files and knows
//! nothing of the signal inside.

mod csv;
mod csv_header;
mod npy;
mod npy_header;
mod vcd;
mod vcd_header;
mod wire_edges;

pub use csv::{CsvDialect, CsvReader, CsvSummary};
pub use csv_header::{CsvColumn, CsvFault};
pub use npy::{NpyReader, NpySummary, Samples};
pub use npy_header::{NpyFault, NpyLayout, NpyType};
pub use vcd::{Change, Value, VcdFault, VcdReader, VcdSummary, VcdTrouble};
pub use vcd_header::{VcdWire, WireKind};
pub use wire_edges::{WireEdges, WirePair};

/// The longest stretch of a file that is held at once: a word, a header or a
/// record longer than this is refused.
pub const LONGEST_PIECE: usize = 65_536;

/// Untrusted text made fit for a message: short, without control characters.
fn shown(bytes: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(LONGEST)]);
    let mut shown: String = text.chars().flat_map(char::escape_debug).collect();
    if bytes.len() > LONGEST {
        shown.push_str("...");
    }
    shown
}

#[cfg(test)]
mod tests;
