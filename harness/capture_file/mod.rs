//! Capture files of any device, read as a stream: bytes are pushed in, samples
//! and changes come out, in bounded memory. It opens no files and knows
//! nothing of the signal inside.

mod ceiling;
mod csv;
mod digits;
mod grid;
mod lengths;
mod npy;
mod npy_header;
mod spans;
mod survey;
mod vcd;
mod vcd_fault;
mod vcd_header;
mod vcd_value;
mod wav;
mod wire_edges;

pub use ceiling::Clipping;
pub use csv::{CsvAsk, CsvColumn, CsvDialect, CsvFault, CsvReader, CsvSummary, CsvWish};
pub use grid::{FoundGrid, Grid};
pub use npy::{NpyReader, NpySummary, Samples};
pub use npy_header::{NpyFault, NpyLayout, NpyType};
pub use spans::{Span, Spans};
pub use survey::{Readings, SampleFacts, Survey};
pub use vcd::{Change, VcdReader, VcdSummary};
pub use vcd_fault::{VcdFault, VcdTrouble};
pub use vcd_header::{VcdWire, WireKind};
pub use vcd_value::Value;
pub use wav::{WavFault, WavReader, WavSummary};
pub use wire_edges::{WireEdges, WireEvent, WirePair};

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
