//! The samples of an array or a sound file, all of them or a stretch, and what its
//! header says. It keeps none and knows no volts.

use super::super::source::Format;
use super::abreast::abreast;
use super::{PART, Trouble, pieces, plain_file};
use crate::capture_file::{NpyFault, NpyLayout, NpyReader, NpySummary, Samples, WavReader};
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::Range;
use std::path::Path;

/// What an array or a sound file says of itself.
#[derive(Clone, Copy, Debug)]
pub(in crate::cli::inspect) struct ArrayFacts {
    pub(in crate::cli::inspect) array: NpySummary,
    /// Samples a second, where the file says it.
    pub(in crate::cli::inspect) rate: Option<f64>,
}

/// A reader of either kind of file.
#[derive(Clone)]
pub(super) enum ArrayReader {
    Npy(NpyReader),
    Wav(WavReader),
}

impl ArrayReader {
    pub(super) fn new(file: &File, format: Format, channel: usize) -> Result<Self, Trouble> {
        Ok(match format {
            Format::Wav => Self::Wav(WavReader::new(channel, Some(file.metadata()?.len()))),
            _ => Self::Npy(NpyReader::new(channel, NpyLayout::Longer)),
        })
    }

    pub(super) fn push(
        &mut self,
        bytes: &[u8],
        each: &mut impl FnMut(Samples<'_>),
    ) -> Result<(), Trouble> {
        match self {
            Self::Npy(reader) => Ok(reader.push(bytes, each)?),
            Self::Wav(reader) => Ok(reader.push(bytes, each)?),
        }
    }

    fn facts(&self) -> Option<ArrayFacts> {
        match self {
            Self::Npy(reader) => reader
                .summary()
                .map(|array| ArrayFacts { array, rate: None }),
            Self::Wav(reader) => reader.summary().map(|sound| ArrayFacts {
                array: sound.samples,
                rate: Some(sound.rate),
            }),
        }
    }

    fn go_to(&mut self, sample: u64) -> Option<u64> {
        match self {
            Self::Npy(reader) => reader.go_to(sample),
            Self::Wav(reader) => reader.go_to(sample),
        }
    }

    pub(super) fn finish(self) -> Result<(), Trouble> {
        match self {
            Self::Npy(reader) => drop(reader.finish()?),
            Self::Wav(reader) => drop(reader.finish()?),
        }
        Ok(())
    }
}

/// What the header says; an array that is shorter or longer than it says is a
/// fault.
pub(in crate::cli::inspect) fn array_facts(
    path: &Path,
    format: Format,
    channel: usize,
) -> Result<ArrayFacts, Trouble> {
    let mut file = plain_file(path)?;
    let (reader, facts) = header(&mut file, format, channel)?;
    let length = file.metadata()?.len();
    let promised = match &reader {
        ArrayReader::Npy(reader) => reader.promised(),
        ArrayReader::Wav(_) => None,
    };
    match promised {
        Some(byte) if length > byte => Err(NpyFault::Surplus { byte }.into()),
        Some(promised) if length < promised => Err(NpyFault::Truncated {
            byte: length,
            promised,
        }
        .into()),
        _ => Ok(facts),
    }
}

/// A reader that has read the header.
fn header(
    file: &mut File,
    format: Format,
    channel: usize,
) -> Result<(ArrayReader, ArrayFacts), Trouble> {
    let mut reader = ArrayReader::new(file, format, channel)?;
    let mut bytes = [0; 256];
    loop {
        let count = file.read(&mut bytes)?;
        reader.push(&bytes[..count], &mut |_| ())?;
        if let Some(facts) = reader.facts() {
            return Ok((reader, facts));
        }
        if count == 0 {
            reader.finish()?;
            return Err(Trouble::File("it ends inside its header".to_owned()));
        }
    }
}

/// All samples of a channel of an array or a sound file, in its own units.
pub(in crate::cli::inspect) fn array(
    path: &Path,
    format: Format,
    channel: usize,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<(), Trouble> {
    let mut reader = ArrayReader::new(&plain_file(path)?, format, channel)?;
    pieces(path, |bytes| reader.push(bytes, each))?;
    reader.finish()
}

/// The same; each batch goes to `ahead`, and with what that noticed to all `behind`.
pub(in crate::cli::inspect) fn array_abreast<N: Default + Send>(
    (path, format, channel): (&Path, Format, usize),
    ahead: &mut (impl FnMut(Samples<'_>, &mut N) + Send),
    behind: &mut [impl FnMut(Samples<'_>, &mut N) + Send],
) -> Result<(), Trouble> {
    let file = plain_file(path)?;
    let length = file.metadata()?.len();
    let reader = ArrayReader::new(&file, format, channel)?;
    abreast((file, length), reader, ahead, behind)
}

/// The samples of a channel from the first of `wanted` on, at least as far as
/// its end; nothing before is read.
pub(in crate::cli::inspect) fn array_part(
    path: &Path,
    format: Format,
    channel: usize,
    wanted: Range<u64>,
    each: &mut impl FnMut(Samples<'_>),
) -> Result<(), Trouble> {
    let mut file = plain_file(path)?;
    let (mut reader, _) = header(&mut file, format, channel)?;
    let Some(byte) = reader.go_to(wanted.start) else {
        return Ok(());
    };
    file.seek(SeekFrom::Start(byte))?;
    let mut bytes = vec![0; PART];
    let mut told = wanted.start;
    while told < wanted.end {
        let count = file.read(&mut bytes)?;
        if count == 0 {
            return Ok(());
        }
        reader.push(&bytes[..count], &mut |samples| {
            told += samples.len() as u64;
            each(samples);
        })?;
    }
    Ok(())
}
