//! Sound files (RIFF WAVE, as Microsoft and IBM published it in 1991 and 1994):
//! PCM of 8, 16, 24 and 32 bits and floats of 32 and 64, any number of channels,
//! and files beyond 4 GB (RF64, as the EBU published it: Tech 3306, from memory).
//! A full scale in volts it does not know.

use super::npy::{NpyReader, NpySummary, Samples};
use super::npy_header::{Array, NpyFault, NpyType};
use super::{LONGEST_PIECE, shown};

/// What is wrong with a sound file. Bytes count from zero.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WavFault {
    /// Other first bytes than the format's.
    #[error("byte {byte}: this is not a sound file (RIFF WAVE)")]
    Magic {
        /// Where.
        byte: u64,
    },
    /// A form of samples that is not read.
    #[error("byte {byte}: {wrong}")]
    Form {
        /// Where the description begins.
        byte: u64,
        /// What is wrong with it.
        wrong: String,
    },
    /// Samples before they are described, or none.
    #[error("byte {byte}: the file ends before its samples")]
    NoSamples {
        /// Where it ends.
        byte: u64,
    },
    /// The end before the last sample.
    #[error("byte {byte}: the file ends, but its header promises {promised} bytes of samples")]
    Truncated {
        /// Where it ends.
        byte: u64,
        /// As promised.
        promised: u64,
    },
    /// A channel that is not there.
    #[error("there is no channel {wanted}; the file has {known}, counted from 0")]
    NoSuchChannel {
        /// As asked for.
        wanted: usize,
        /// How many there are.
        known: u64,
    },
}

/// What is in a sound file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WavSummary {
    /// Element type, samples of a channel, channels.
    pub samples: NpySummary,
    /// Samples a second, as the file says.
    pub rate: f64,
}

/// Reads one channel of a sound file pushed in pieces of any length.
#[derive(Clone, Debug)]
pub struct WavReader {
    channel: usize,
    /// Bytes of the whole file, where it is known: of a recording that was
    /// broken off the header promises nothing or too much.
    length: Option<u64>,
    carry: Vec<u8>,
    /// Bytes before the carried ones.
    before: u64,
    /// Bytes of a chunk that are passed over.
    skip: u64,
    form: Option<Form>,
    /// Bytes of samples, as files beyond 4 GB say.
    long: Option<u64>,
    data: Option<Data>,
}

#[derive(Clone, Copy, Debug)]
struct Form {
    kind: NpyType,
    channels: u64,
    rate: f64,
}

#[derive(Clone, Debug)]
struct Data {
    reader: NpyReader,
    summary: WavSummary,
    /// Bytes that are still to come.
    left: u64,
    from: u64,
    promised: u64,
}

/// A size that writers leave where they do not know it.
const UNKNOWN: u32 = u32::MAX;

impl WavReader {
    /// A reader of the channel, from 0, of a file of so many bytes.
    pub const fn new(channel: usize, length: Option<u64>) -> Self {
        Self {
            channel,
            length,
            carry: Vec::new(),
            before: 0,
            skip: 0,
            form: None,
            long: None,
            data: None,
        }
    }

    /// What the file says of itself, once its samples begin.
    pub fn summary(&self) -> Option<WavSummary> {
        self.data.as_ref().map(|data| data.summary)
    }

    /// Goes on with this sample: the byte of the file that must be pushed next.
    pub fn go_to(&mut self, sample: u64) -> Option<u64> {
        let data = self.data.as_mut()?;
        let byte = data.reader.go_to(sample)?;
        data.left = (data.from + data.promised).saturating_sub(byte);
        Some(byte)
    }

    /// Takes the next bytes and hands on the samples they complete.
    ///
    /// # Errors
    /// A [`WavFault`]; the reader is then of no further use.
    pub fn push(
        &mut self,
        mut bytes: &[u8],
        sink: &mut impl FnMut(Samples<'_>),
    ) -> Result<(), WavFault> {
        while !bytes.is_empty() {
            if let Some(data) = &mut self.data {
                let taken = usize::try_from(data.left).map_or(bytes.len(), |n| n.min(bytes.len()));
                data.left -= taken as u64;
                // No more than promised: there is nothing to refuse.
                let read = data.reader.push(&bytes[..taken], sink);
                return read.map_err(|fault| WavFault::Form {
                    byte: data.from,
                    wrong: fault.to_string(),
                });
            }
            if self.skip > 0 {
                let skipped =
                    usize::try_from(self.skip).map_or(bytes.len(), |n| n.min(bytes.len()));
                self.skip -= skipped as u64;
                self.before += skipped as u64;
                bytes = &bytes[skipped..];
                continue;
            }
            self.carry.push(bytes[0]);
            bytes = &bytes[1..];
            self.header()?;
        }
        Ok(())
    }

    /// The end of the file.
    ///
    /// # Errors
    /// A [`WavFault`] when it comes too early.
    pub fn finish(self) -> Result<WavSummary, WavFault> {
        let byte = self.before + self.carry.len() as u64;
        let Some(data) = self.data else {
            return Err(WavFault::NoSamples { byte });
        };
        match data.reader.finish() {
            Ok(_) => Ok(data.summary),
            Err(NpyFault::Truncated { byte, .. }) => Err(WavFault::Truncated {
                byte,
                promised: data.promised,
            }),
            Err(fault) => Err(WavFault::Form {
                byte: data.from,
                wrong: fault.to_string(),
            }),
        }
    }

    /// Takes what the carried bytes complete: the beginning, or a chunk's head.
    fn header(&mut self) -> Result<(), WavFault> {
        if self.before == 0 {
            let carry = &self.carry;
            let at = carry.len() - 1;
            let expected = match at {
                0..4 => carry[..] == b"RIFF"[..=at] || carry[..] == b"RF64"[..=at],
                8..12 => carry[at] == b"WAVE"[at - 8],
                _ => true,
            };
            if !expected {
                return Err(WavFault::Magic { byte: at as u64 });
            }
            if carry.len() == 12 {
                self.take(12);
            }
            return Ok(());
        }
        let [a, b, c, d, sizes @ ..] = &self.carry[..] else {
            return Ok(());
        };
        let name = [*a, *b, *c, *d];
        let Some(size) = sizes
            .first_chunk::<4>()
            .map(|size| u32::from_le_bytes(*size))
        else {
            return Ok(());
        };
        match &name {
            b"data" => self.samples(size),
            b"fmt " => {
                let length = size as usize;
                if !(16..=LONGEST_PIECE).contains(&length) {
                    return Err(self.wrong(format!("the description has {length} bytes")));
                }
                if self.carry.len() == 8 + length {
                    self.form = Some(self.described()?);
                    self.take(8 + length);
                    self.skip = (length % 2) as u64;
                }
                Ok(())
            }
            b"ds64" if size >= 24 => {
                // The size of all, then that of the samples.
                if let Some(long) = self.carry.get(16..).and_then(|rest| rest.first_chunk()) {
                    self.long = Some(u64::from_le_bytes(*long));
                    self.take(24);
                    self.skip = u64::from(size) - 16;
                }
                Ok(())
            }
            _ => {
                self.take(8);
                // Chunks lie at even places.
                self.skip = u64::from(size) + u64::from(size % 2);
                Ok(())
            }
        }
    }

    fn take(&mut self, count: usize) {
        self.before += count as u64;
        self.carry.clear();
    }

    fn wrong(&self, wrong: String) -> WavFault {
        WavFault::Form {
            byte: self.before,
            wrong,
        }
    }

    /// What the chunk `fmt ` says.
    fn described(&self) -> Result<Form, WavFault> {
        let body = &self.carry[8..];
        let short = |at: usize| u16::from_le_bytes([body[at], body[at + 1]]);
        let rate = u32::from_le_bytes([body[4], body[5], body[6], body[7]]);
        // An extended description has the form at its end.
        let tag = match short(0) {
            0xFFFE if body.len() >= 26 => short(24),
            tag => tag,
        };
        let (channels, frame, bits) = (short(2), short(12), short(14));
        // What a sample takes counts, not how many of its bits are used.
        let bytes = frame.checked_div(channels).unwrap_or(0);
        let kind = match (tag, bytes) {
            (1, 1) => NpyType::Offset8,
            (1, 2) => NpyType::I16,
            (1, 3) => NpyType::I24,
            (1, 4) => NpyType::I32,
            (3, 4) => NpyType::F32,
            (3, 8) => NpyType::F64,
            _ => {
                return Err(self.wrong(format!(
                    "samples of form {tag} with {bits} bits are not read; save them as PCM of 8 to 32 bits or as floats"
                )));
            }
        };
        if rate == 0 {
            return Err(self.wrong("it has 0 samples a second".to_owned()));
        }
        Ok(Form {
            kind,
            channels: u64::from(channels),
            rate: f64::from(rate),
        })
    }

    fn samples(&mut self, size: u32) -> Result<(), WavFault> {
        let Some(form) = self.form else {
            let name = shown(&self.carry[..4]);
            return Err(self.wrong(format!("'{name}' stands before the samples are described")));
        };
        let from = self.before + 8;
        let there = self.length.map(|length| length.saturating_sub(from));
        let frame = form.kind.size() as u64 * form.channels;
        let promised = match (size, self.long, there) {
            (UNKNOWN, Some(long), _) => long,
            // A stream that was never closed: what there is.
            (0 | UNKNOWN, _, Some(there)) => there,
            (size, ..) => u64::from(size),
        };
        let promised = promised - promised % frame;
        let wanted = self.channel as u64;
        if wanted >= form.channels {
            return Err(WavFault::NoSuchChannel {
                wanted: self.channel,
                known: form.channels,
            });
        }
        let array = Array {
            kind: form.kind,
            big_endian: false,
            samples: promised / frame,
            channels: form.channels,
            stride: form.channels,
            first: wanted,
        };
        self.data = Some(Data {
            reader: NpyReader::headed(array, from),
            summary: WavSummary {
                samples: NpySummary {
                    kind: form.kind,
                    samples: array.samples,
                    channels: form.channels,
                },
                rate: form.rate,
            },
            left: promised,
            from,
            promised,
        });
        self.carry.clear();
        Ok(())
    }
}
