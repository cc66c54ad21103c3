//! An observation as bytes and back, named by their digest. It does not keep
//! or compress them; what the bytes are is said in `wire`.

use super::wire::{self, WireFault};
use crate::digest::Digest;
use crate::observation::{Observation, Take};
use crate::waveform::CaptureFault;

/// The first byte: which encoding follows. One is the format of [`wire`].
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
    wire::put(observation, &mut bytes);
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
    let observation = wire::take(&mut rest)?;
    if !rest.is_empty() {
        return Err(ObservationFault::Trailing(rest.len()));
    }
    Ok(observation)
}

/// Every take in the order in which it was taken.
pub fn takes(observation: &Observation) -> Vec<&Take> {
    match observation {
        Observation::Load { steps } => steps.iter().map(|step| &step.take).collect(),
        Observation::Sense { steps, .. } => steps.iter().map(|step| &step.take).collect(),
        Observation::Overload { ramp, steps, hold } => {
            let first = ramp.iter().map(|ramp| &ramp.take);
            let middle = steps.iter().map(|step| &step.take);
            let last = hold.iter().map(|hold| &hold.take);
            first.chain(middle).chain(last).collect()
        }
        Observation::Short { pulses } => pulses
            .iter()
            .flat_map(|pulse| {
                let early = [&pulse.before, &pulse.fast];
                early.into_iter().chain(&pulse.slow).chain([&pulse.after])
            })
            .collect(),
        Observation::Reversal {
            closings, short, ..
        } => closings
            .iter()
            .map(|closing| &closing.take)
            .chain(short)
            .collect(),
        Observation::Signal { takes, .. } => takes.iter().map(|seen| &seen.take).collect(),
        Observation::Idle { steps } => steps.iter().map(|step| &step.take).collect(),
        Observation::Loss { losses } => losses.iter().map(|lost| &lost.take).collect(),
        Observation::Inrush { starts, .. } => starts
            .iter()
            .flat_map(|start| [&start.fine, &start.coarse])
            .collect(),
        Observation::Soak { soaks } => {
            let looks = soaks.iter().flat_map(|soaked| &soaked.looks);
            looks.map(|look| &look.take).collect()
        }
        Observation::Supply { steps } => steps.iter().map(|step| &step.take).collect(),
    }
}
