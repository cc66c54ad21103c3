//! An observation as bytes and back, named by their digest. It does not keep
//! or compress them; what the bytes are is said in `scenario::wire`.

use crate::digest::Digest;
use crate::scenario::{Observation, WireFault};
use crate::waveform::CaptureFault;

/// The first byte: which encoding follows. One is the format that `scenario::wire` spells out.
const FORMAT: u8 = 1;

/// The most bytes that are read as an observation.
pub const LONGEST_OBSERVATION: usize = 512 * 1024 * 1024;

/// Why bytes are not an observation.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ObservationFault {
    /// Nothing at all.
    #[error("there are no bytes")]
    Empty,
    /// More than [`LONGEST_OBSERVATION`].
    #[error("{0} bytes are more than an observation may have")]
    TooLong(usize),
    /// An encoding of another version.
    #[error("the observation is in format {0}; this program knows format {FORMAT}")]
    Format(u8),
    /// Bytes that say nothing.
    #[error("the bytes are no observation: {0}")]
    Malformed(String),
    /// Bytes after the end.
    #[error("{0} bytes follow after the observation's end")]
    Trailing(usize),
    /// A capture whose parts do not fit together.
    #[error(transparent)]
    Capture(#[from] CaptureFault),
    /// An infinite or missing number.
    #[error("a number is not finite")]
    NotFinite,
}

impl From<WireFault> for ObservationFault {
    fn from(fault: WireFault) -> Self {
        match fault {
            WireFault::Capture(fault) => Self::Capture(fault),
            WireFault::NotFinite => Self::NotFinite,
            other => Self::Malformed(other.to_string()),
        }
    }
}

/// The bytes of `observation`: a format byte, then the observation.
pub fn observation_bytes(observation: &Observation) -> Vec<u8> {
    let mut bytes = vec![FORMAT];
    observation.put(&mut bytes);
    bytes
}

/// The digest under which [`observation_bytes`] are kept.
pub fn observation_digest(observation: &Observation) -> Digest {
    Digest::of(&observation_bytes(observation))
}

/// The observation in `bytes`, its captures checked. Lengths in the bytes are
/// never trusted: memory grows only as elements are really read.
///
/// # Errors
/// An [`ObservationFault`] saying what is wrong.
pub fn from_bytes(bytes: &[u8]) -> Result<Observation, ObservationFault> {
    if bytes.len() > LONGEST_OBSERVATION {
        return Err(ObservationFault::TooLong(bytes.len()));
    }
    let (format, body) = bytes.split_first().ok_or(ObservationFault::Empty)?;
    if *format != FORMAT {
        return Err(ObservationFault::Format(*format));
    }
    let mut rest = body;
    let observation = Observation::take(&mut rest)?;
    if !rest.is_empty() {
        return Err(ObservationFault::Trailing(rest.len()));
    }
    Ok(observation)
}
