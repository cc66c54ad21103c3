//! The header of an array in NumPy's format, versions 1 to 3: its element type,
//! shape and order, and what is wrong with it. It reads no sample.

use super::{LONGEST_PIECE, shown};

/// Element types that are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NpyType {
    /// Truths, a byte each.
    Bool,
    /// Unsigned 8-bit integers.
    U8,
    /// Unsigned 8-bit integers of which 128 is zero, as sound files have them.
    Offset8,
    /// Unsigned 16-bit integers.
    U16,
    /// Unsigned 32-bit integers.
    U32,
    /// Signed 8-bit integers.
    I8,
    /// Signed 16-bit integers.
    I16,
    /// Signed 24-bit integers, as sound files have them.
    I24,
    /// Signed 32-bit integers.
    I32,
    /// Signed 64-bit integers.
    I64,
    /// 16-bit floats.
    F16,
    /// 32-bit floats.
    F32,
    /// 64-bit floats.
    F64,
}

impl NpyType {
    pub(super) const fn size(self) -> usize {
        match self {
            Self::Bool | Self::U8 | Self::Offset8 | Self::I8 => 1,
            Self::U16 | Self::I16 | Self::F16 => 2,
            Self::I24 => 3,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::I64 | Self::F64 => 8,
        }
    }

    /// Whether its numbers have no steps.
    pub const fn is_float(self) -> bool {
        matches!(self, Self::F16 | Self::F32 | Self::F64)
    }

    /// The ends of the range of its codes; `None` of floats and truths.
    pub const fn codes(self) -> Option<(f64, f64)> {
        Some(match self {
            Self::U8 => (0.0, 255.0),
            Self::Offset8 | Self::I8 => (-128.0, 127.0),
            Self::U16 => (0.0, 65_535.0),
            Self::U32 => (0.0, u32::MAX as f64),
            Self::I16 => (-32_768.0, 32_767.0),
            Self::I24 => (-8_388_608.0, 8_388_607.0),
            Self::I32 => (i32::MIN as f64, i32::MAX as f64),
            Self::I64 => (i64::MIN as f64, i64::MAX as f64),
            Self::Bool | Self::F16 | Self::F32 | Self::F64 => return None,
        })
    }
}

/// Which axis of a two-dimensional array is time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NpyLayout {
    /// The longer one.
    Longer,
    /// Rows are samples, columns are channels.
    SamplesByChannels,
    /// Rows are channels, columns are samples.
    ChannelsBySamples,
}

/// What is wrong with a file. Bytes count from zero.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NpyFault {
    /// Other first bytes than the format's.
    #[error("byte {byte}: this is no .npy file")]
    Magic {
        /// Where.
        byte: u64,
    },
    /// A version of the format that nobody has written down.
    #[error("byte 6: version {0} of the format is not known")]
    Version(u8),
    /// A header that does not hold.
    #[error("byte {byte}: the header is faulty: {wrong}")]
    Header {
        /// Where the header begins.
        byte: u64,
        /// What is wrong with it.
        wrong: String,
    },
    /// A channel that is not there.
    #[error("there is no channel {wanted}; the file has {known}, counted from 0")]
    NoSuchChannel {
        /// As asked for.
        wanted: usize,
        /// How many there are.
        known: u64,
    },
    /// The end before the last sample.
    #[error("byte {byte}: the file ends, but its header promises {promised} bytes")]
    Truncated {
        /// Where it ends.
        byte: u64,
        /// How long it should be.
        promised: u64,
    },
    /// Bytes after the last sample.
    #[error("byte {byte}: the file goes on behind its last sample")]
    Surplus {
        /// Where it should end.
        byte: u64,
    },
}

/// How the chosen channel lies in its file.
#[derive(Clone, Copy, Debug)]
pub(super) struct Array {
    pub(super) kind: NpyType,
    pub(super) big_endian: bool,
    pub(super) samples: u64,
    pub(super) channels: u64,
    /// Elements from one sample of a channel to the next, and to the first.
    pub(super) stride: u64,
    pub(super) first: u64,
}

/// What a header says of its own length.
pub(super) enum Wanted {
    /// So many bytes before the length is known.
    More(usize),
    /// Where the header's text begins, and where it ends.
    All(usize, usize),
}

const MAGIC: &[u8] = b"\x93NUMPY";

/// How long the header is, as far as its first bytes tell.
pub(super) fn header_length(bytes: &[u8]) -> Result<Wanted, NpyFault> {
    let compared = bytes.len().min(MAGIC.len());
    if let Some(at) = (0..compared).find(|&at| bytes[at] != MAGIC[at]) {
        return Err(NpyFault::Magic { byte: at as u64 });
    }
    let Some(&version) = bytes.get(6) else {
        return Ok(Wanted::More(8));
    };
    let (text_from, length) = match (version, bytes) {
        (1, [_, _, _, _, _, _, _, _, a, b, ..]) => (10, usize::from(u16::from_le_bytes([*a, *b]))),
        (2 | 3, [_, _, _, _, _, _, _, _, a, b, c, d, ..]) => {
            let length = u32::from_le_bytes([*a, *b, *c, *d]);
            (12, usize::try_from(length).unwrap_or(usize::MAX))
        }
        (1, _) => return Ok(Wanted::More(10)),
        (2 | 3, _) => return Ok(Wanted::More(12)),
        (other, _) => return Err(NpyFault::Version(other)),
    };
    if length > LONGEST_PIECE {
        return Err(NpyFault::Header {
            byte: 8,
            wrong: format!("it claims {length} bytes"),
        });
    }
    Ok(Wanted::All(text_from, text_from + length))
}

/// What the header's text says of the array.
pub(super) fn describe(text: &[u8], layout: NpyLayout, channel: usize) -> Result<Array, NpyFault> {
    let wrong = |wrong: String| NpyFault::Header { byte: 10, wrong };
    let text = std::str::from_utf8(text).map_err(|_| wrong("it is no text".to_owned()))?;
    let value = |key: &str| {
        let found = [format!("'{key}':"), format!("\"{key}\":")]
            .iter()
            .find_map(|key| text.find(key.as_str()).map(|at| at + key.len()));
        found
            .map(|at| text[at..].trim_start())
            .ok_or_else(|| wrong(format!("it has no '{key}'")))
    };
    let descr = value("descr")?;
    let descr = descr
        .strip_prefix(['\'', '"'])
        .and_then(|rest| rest.split(['\'', '"']).next())
        .ok_or_else(|| wrong("'descr' is no plain type".to_owned()))?;
    let (big_endian, kind) = element_type(descr).ok_or_else(|| {
        let shown = shown(descr.as_bytes());
        wrong(format!(
            "type '{shown}' is not read; expected b1, i1, i2, i4, i8, u1, u2, u4, f2, f4 or f8"
        ))
    })?;
    let fortran = value("fortran_order")?.starts_with("True");
    let shape = value("shape")?;
    let shape = shape
        .strip_prefix('(')
        .and_then(|rest| rest.split_once(')'))
        .ok_or_else(|| wrong("'shape' is no tuple".to_owned()))?
        .0;
    let sides: Result<Vec<u64>, _> = shape
        .split(',')
        .map(str::trim)
        .filter(|side| !side.is_empty())
        .map(str::parse)
        .collect();
    let sides = sides.map_err(|_| wrong(format!("shape ({})", shown(shape.as_bytes()))))?;
    let (rows, columns) = match *sides.as_slice() {
        [length] => (length, 1),
        [rows, columns] => (rows, columns),
        _ => {
            return Err(wrong(format!(
                "{} dimensions; expected 1 or 2",
                sides.len()
            )));
        }
    };
    let by_rows = match layout {
        _ if sides.len() == 1 => true,
        NpyLayout::Longer => rows >= columns,
        NpyLayout::SamplesByChannels => true,
        NpyLayout::ChannelsBySamples => false,
    };
    let (samples, channels) = if by_rows {
        (rows, columns)
    } else {
        (columns, rows)
    };
    // Lengths in bytes must stay countable.
    samples
        .checked_mul(channels)
        .and_then(|n| n.checked_mul(16))
        .ok_or_else(|| wrong("it claims more bytes than can be counted".to_owned()))?;
    let wanted = channel as u64;
    if wanted >= channels {
        return Err(NpyFault::NoSuchChannel {
            wanted: channel,
            known: channels,
        });
    }
    // In C order a row lies in one piece, in Fortran order a column.
    let interleaved = by_rows != (fortran && sides.len() > 1);
    Ok(Array {
        kind,
        big_endian,
        samples,
        channels,
        stride: if interleaved { channels } else { 1 },
        first: if interleaved {
            wanted
        } else {
            wanted * samples
        },
    })
}

fn element_type(descr: &str) -> Option<(bool, NpyType)> {
    let kind = match descr.get(1..)? {
        "b1" => NpyType::Bool,
        "u1" => NpyType::U8,
        "u2" => NpyType::U16,
        "u4" => NpyType::U32,
        "i1" => NpyType::I8,
        "i2" => NpyType::I16,
        "i4" => NpyType::I32,
        "i8" => NpyType::I64,
        "f2" => NpyType::F16,
        "f4" => NpyType::F32,
        "f8" => NpyType::F64,
        _ => return None,
    };
    match descr.as_bytes().first()? {
        b'<' | b'=' => Some((false, kind)),
        b'|' if kind.size() == 1 => Some((false, kind)),
        b'>' => Some((true, kind)),
        _ => None,
    }
}
