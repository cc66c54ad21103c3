//! Arrays of samples in NumPy's format, versions 1 to 3 (NumPy Enhancement
//! Proposal 1 and its successors): truths, integers of 8 to 64 bits, floats of 16
//! to 64, one or two dimensions in either order. Rate and scale it does not know.

use super::npy_header::{Array, NpyFault, NpyLayout, NpyType, Wanted, describe, header_length};

/// Samples of the chosen channel, in the file's own type or in the next wider one
/// of these that has all its values (of 64-bit integers those up to 2^53).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Samples<'a> {
    /// Signed 8-bit integers.
    I8(&'a [i8]),
    /// Signed 16-bit integers.
    I16(&'a [i16]),
    /// Signed 32-bit integers.
    I32(&'a [i32]),
    /// 32-bit floats.
    F32(&'a [f32]),
    /// 64-bit floats.
    F64(&'a [f64]),
}

impl Samples<'_> {
    /// How many there are.
    pub const fn len(&self) -> usize {
        match self {
            Self::I8(list) => list.len(),
            Self::I16(list) => list.len(),
            Self::I32(list) => list.len(),
            Self::F32(list) => list.len(),
            Self::F64(list) => list.len(),
        }
    }

    /// Whether there is none.
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// What was in a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NpySummary {
    /// Element type.
    pub kind: NpyType,
    /// Samples of a channel.
    pub samples: u64,
    /// Channels.
    pub channels: u64,
}

/// Elements turned into numbers at a time.
const BATCH: usize = 16_384;

/// Reads one channel of an array pushed in pieces of any length.
#[derive(Clone, Debug)]
pub struct NpyReader {
    channel: usize,
    layout: NpyLayout,
    /// Header bytes, then the bytes of an element that the last piece cut.
    carry: Vec<u8>,
    array: Option<Array>,
    header_length: u64,
    /// Elements read so far.
    elements: u64,
    bytes: Vec<u8>,
    buffers: Buffers,
}

#[derive(Clone, Debug, Default)]
struct Buffers {
    i8s: Vec<i8>,
    i16s: Vec<i16>,
    i32s: Vec<i32>,
    f32s: Vec<f32>,
    f64s: Vec<f64>,
}

impl NpyReader {
    /// A reader of `channel`, counted from 0.
    pub fn new(channel: usize, layout: NpyLayout) -> Self {
        Self {
            channel,
            layout,
            carry: Vec::new(),
            array: None,
            header_length: 0,
            elements: 0,
            bytes: Vec::new(),
            buffers: Buffers::default(),
        }
    }

    /// A reader of elements whose header, of so many bytes, is known.
    pub(super) fn headed(array: Array, header_length: u64) -> Self {
        Self {
            array: Some(array),
            header_length,
            ..Self::new(0, NpyLayout::Longer)
        }
    }

    /// The array's description, once the header has been read.
    pub fn summary(&self) -> Option<NpySummary> {
        self.array.map(|array| NpySummary {
            kind: array.kind,
            samples: array.samples,
            channels: array.channels,
        })
    }

    /// Goes on with this sample of the channel: the byte of the file that must
    /// be pushed next. `None` before the header has been read.
    pub fn go_to(&mut self, sample: u64) -> Option<u64> {
        let array = self.array?;
        let all = array.samples * array.channels;
        self.elements = (array.first + array.stride * sample.min(array.samples)).min(all);
        self.carry.clear();
        Some(self.header_length + self.elements * array.kind.size() as u64)
    }

    /// How many bytes the file has by its header, once that has been read.
    pub fn promised(&self) -> Option<u64> {
        let array = self.array?;
        let elements = array.samples * array.channels;
        Some(self.header_length + elements * array.kind.size() as u64)
    }

    /// Takes the next bytes and hands on the samples they complete.
    ///
    /// # Errors
    /// An [`NpyFault`]; the reader is then of no further use.
    pub fn push(
        &mut self,
        mut bytes: &[u8],
        sink: &mut impl FnMut(Samples<'_>),
    ) -> Result<(), NpyFault> {
        let array = match self.array {
            Some(array) => array,
            None => match self.header(&mut bytes)? {
                Some(array) => array,
                None => return Ok(()),
            },
        };
        let size = array.kind.size();
        if !self.carry.is_empty() {
            let missing = (size - self.carry.len()).min(bytes.len());
            self.carry.extend_from_slice(&bytes[..missing]);
            bytes = &bytes[missing..];
            if self.carry.len() < size {
                return Ok(());
            }
            let element = std::mem::take(&mut self.carry);
            self.elements(&array, &element, sink)?;
        }
        let whole = bytes.len() - bytes.len() % size;
        for batch in bytes[..whole].chunks(BATCH * size) {
            self.elements(&array, batch, sink)?;
        }
        self.carry.extend_from_slice(&bytes[whole..]);
        if !self.carry.is_empty() && self.elements == array.samples * array.channels {
            return Err(self.surplus(&array));
        }
        Ok(())
    }

    /// The end of the file.
    ///
    /// # Errors
    /// An [`NpyFault`] when it comes too early.
    pub fn finish(self) -> Result<NpySummary, NpyFault> {
        let Some(array) = self.array else {
            let byte = self.carry.len() as u64;
            return Err(NpyFault::Truncated {
                byte,
                promised: self.header_length.max(10).max(byte + 1),
            });
        };
        let size = array.kind.size() as u64;
        let promised = array.samples * array.channels;
        if self.elements < promised {
            return Err(NpyFault::Truncated {
                byte: self.header_length + self.elements * size + self.carry.len() as u64,
                promised: self.header_length + promised * size,
            });
        }
        Ok(NpySummary {
            kind: array.kind,
            samples: array.samples,
            channels: array.channels,
        })
    }

    fn surplus(&self, array: &Array) -> NpyFault {
        let elements = array.samples * array.channels;
        NpyFault::Surplus {
            byte: self.header_length + elements * array.kind.size() as u64,
        }
    }

    /// Collects the header; what follows it stays in `bytes`.
    fn header(&mut self, bytes: &mut &[u8]) -> Result<Option<Array>, NpyFault> {
        loop {
            let wanted = match header_length(&self.carry)? {
                Wanted::More(length) => length,
                Wanted::All(text_from, length) => {
                    if self.carry.len() == length {
                        let carry = std::mem::take(&mut self.carry);
                        self.header_length = length as u64;
                        let array = describe(&carry[text_from..], self.layout, self.channel)?;
                        self.array = Some(array);
                        return Ok(Some(array));
                    }
                    length
                }
            };
            self.header_length = wanted as u64;
            if bytes.is_empty() {
                return Ok(None);
            }
            let taken = (wanted - self.carry.len()).min(bytes.len());
            self.carry.extend_from_slice(&bytes[..taken]);
            *bytes = &bytes[taken..];
        }
    }

    fn elements(
        &mut self,
        array: &Array,
        bytes: &[u8],
        sink: &mut impl FnMut(Samples<'_>),
    ) -> Result<(), NpyFault> {
        let size = array.kind.size();
        let count = (bytes.len() / size) as u64;
        let from = self.elements;
        self.elements += count;
        if self.elements > array.samples * array.channels {
            return Err(self.surplus(array));
        }
        let last = array.first + array.stride * array.samples.saturating_sub(1);
        // The first element of the channel at or after `from`.
        let start = if from <= array.first {
            array.first
        } else {
            array.first + (from - array.first).div_ceil(array.stride) * array.stride
        };
        let end = (from + count).min(last + 1);
        if array.samples == 0 || start >= end {
            return Ok(());
        }
        if array.stride == 1 {
            let (a, b) = ((start - from) as usize, (end - from) as usize);
            self.numbers(array, &bytes[a * size..b * size], sink);
            return Ok(());
        }
        let mut picked = std::mem::take(&mut self.bytes);
        picked.clear();
        let mut element = start;
        while element < end {
            let at = (element - from) as usize * size;
            picked.extend_from_slice(&bytes[at..at + size]);
            element += array.stride;
        }
        self.numbers(array, &picked, sink);
        self.bytes = picked;
        Ok(())
    }

    fn numbers(&mut self, array: &Array, bytes: &[u8], sink: &mut impl FnMut(Samples<'_>)) {
        macro_rules! read {
            ($type:ty, $buffer:ident, $samples:ident) => {{
                // As they lie there, where they may be read from.
                if array.big_endian == cfg!(target_endian = "big")
                    && let Ok(samples) = bytemuck::try_cast_slice::<u8, $type>(bytes)
                {
                    return sink(Samples::$samples(samples));
                }
                let (rows, _) = bytes.as_chunks::<{ size_of::<$type>() }>();
                let buffer = &mut self.buffers.$buffer;
                buffer.clear();
                if array.big_endian {
                    buffer.extend(rows.iter().map(|&row| <$type>::from_be_bytes(row)));
                } else {
                    buffer.extend(rows.iter().map(|&row| <$type>::from_le_bytes(row)));
                }
                sink(Samples::$samples(buffer));
            }};
        }
        // Elements that have no type of their own among samples.
        macro_rules! widened {
            ($size:literal, $buffer:ident, $samples:ident, $number:expr) => {{
                let (rows, _) = bytes.as_chunks::<$size>();
                let buffer = &mut self.buffers.$buffer;
                buffer.clear();
                let number: fn([u8; $size]) -> _ = $number;
                buffer.extend(rows.iter().map(|&row| {
                    let mut row = row;
                    if array.big_endian {
                        row.reverse();
                    }
                    number(row)
                }));
                sink(Samples::$samples(buffer));
            }};
        }
        match array.kind {
            NpyType::Bool => widened!(1, i8s, I8, |[byte]| i8::from(byte != 0)),
            NpyType::U8 => widened!(1, i16s, I16, |[byte]| i16::from(byte)),
            NpyType::Offset8 => widened!(1, i8s, I8, |[byte]| (byte ^ 0x80) as i8),
            NpyType::U16 => widened!(2, i32s, I32, |row| i32::from(u16::from_le_bytes(row))),
            NpyType::U32 => widened!(4, f64s, F64, |row| f64::from(u32::from_le_bytes(row))),
            NpyType::I8 => read!(i8, i8s, I8),
            NpyType::I16 => read!(i16, i16s, I16),
            NpyType::I24 => widened!(3, i32s, I32, |[a, b, c]| {
                i32::from_le_bytes([0, a, b, c]) >> 8
            }),
            NpyType::I32 => read!(i32, i32s, I32),
            NpyType::I64 => widened!(8, f64s, F64, |row| i64::from_le_bytes(row) as f64),
            NpyType::F16 => widened!(2, f32s, F32, |row| half(u16::from_le_bytes(row))),
            NpyType::F32 => read!(f32, f32s, F32),
            NpyType::F64 => read!(f64, f64s, F64),
        }
    }
}

/// A number of IEEE 754 binary16: sign, five bits of exponent less 15, ten of
/// fraction.
fn half(bits: u16) -> f32 {
    let sign = if bits >> 15 == 1 { -1.0 } else { 1.0 };
    let exponent = i32::from(bits >> 10 & 0x1F);
    let fraction = f32::from(bits & 0x3FF);
    let size = match exponent {
        0 => fraction * libm::exp2f(-24.0),
        31 if fraction == 0.0 => f32::INFINITY,
        31 => f32::NAN,
        _ => (1024.0 + fraction) * libm::exp2f((exponent - 25) as f32),
    };
    sign * size
}
