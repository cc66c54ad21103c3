//! How a capture device hands out its samples, and where what they mean stands.
//! It reads none.

use crate::checksum::LineCheck;
use crate::template::Template;

/// The samples of one answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Data {
    /// A definite-length block of IEEE 488.2.
    Block {
        /// Bytes of a sample: one or two.
        bytes: usize,
        /// Whether the codes are signed (two's complement).
        signed: bool,
        /// Whether the high byte comes first.
        high_first: bool,
    },
    /// A list of codes in ASCII, parted by commas.
    Codes {
        /// Whether they go either side of nought.
        signed: bool,
    },
    /// A list of volts at the input in ASCII, parted by commas.
    Volts,
    /// A table in ASCII, a row a sample: volts at the input, or the word of the lines.
    Table {
        /// The column of it, from one.
        column: usize,
        /// Lines before the first row.
        header_lines: usize,
        /// Whether the whole of it is a block, or so many lines.
        in_block: bool,
    },
}

/// The checksum over the data of a block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BlockCheck {
    /// How it is computed and written, without a mark.
    pub check: LineCheck,
    /// Whether its bytes are the block's last, counted in its head, or stand behind it.
    pub counted: bool,
}

impl BlockCheck {
    /// Bytes that stand behind a block.
    pub fn tail(&self) -> usize {
        if self.counted { 0 } else { self.check.length() }
    }
}

/// Where one thing that samples mean is found.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// In this field of the preamble, from one.
    Field(usize),
    /// In the preamble, behind this name.
    Named(String),
    /// In the answer to a question of its own.
    Asked(Template),
    /// It never changes.
    Always(f64),
}

/// What the samples of a capture device mean: a code's volts are
/// `volts_at_zero + volts_per_code * (code - zero_code)`.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    /// How samples come.
    pub data: Data,
    /// The checksum of a block, where it has one.
    pub check: Option<BlockCheck>,
    /// Samples that it holds.
    pub count: Option<Place>,
    /// Volts at the input for one code; none where the samples are volts.
    pub volts_per_code: Option<Place>,
    /// Volts at the input that `zero_code` stands for.
    pub volts_at_zero: Option<Place>,
    /// The code that stands for them.
    pub zero_code: Option<Place>,
    /// Whether a sample reached the end of the range.
    pub clipped: Option<Place>,
    /// Bits of the converter.
    pub bits: Option<Place>,
    /// The largest voltage that it can show, either side.
    pub full_scale: Option<Place>,
    /// Seconds between two samples.
    pub period: Option<Place>,
    /// Seconds from the trigger to the first sample: none or fewer than none.
    pub first: Option<Place>,
}

impl Waveform {
    /// Every place of which it has one.
    pub fn places(&self) -> impl Iterator<Item = &Place> {
        let places = [
            &self.count,
            &self.volts_per_code,
            &self.volts_at_zero,
            &self.zero_code,
            &self.clipped,
            &self.bits,
            &self.full_scale,
            &self.period,
            &self.first,
        ];
        places.into_iter().flatten()
    }

    /// Whether any of it stands in the preamble.
    pub fn has_preamble(&self) -> bool {
        self.places()
            .any(|place| matches!(place, Place::Field(_) | Place::Named(_)))
    }
}

/// As the shipped profile's device has it: words of two bytes, the high one first,
/// and a preamble that lists samples, period, time of the first one, volts a code,
/// volts at code zero, whether it was clipped, and bits of the converter.
impl Default for Waveform {
    fn default() -> Self {
        Self {
            data: Data::Block {
                bytes: 2,
                signed: true,
                high_first: true,
            },
            check: None,
            count: Some(Place::Field(1)),
            volts_per_code: Some(Place::Field(4)),
            volts_at_zero: Some(Place::Field(5)),
            zero_code: None,
            clipped: Some(Place::Field(6)),
            bits: Some(Place::Field(7)),
            full_scale: None,
            period: Some(Place::Field(2)),
            first: Some(Place::Field(3)),
        }
    }
}
