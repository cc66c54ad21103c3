//! An observation as bytes and back, named by their digest. It does not keep
//! or compress them.

use crate::digest::Digest;
use crate::measurement::Estimate;
use crate::observation::{Observation, Take};
use crate::waveform::CaptureFault;

/// The first byte: which encoding follows. One is postcard's wire format of
/// [`Observation`] as it stands in this version.
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

/// The bytes of `observation`: a format byte, then postcard.
pub fn observation_bytes(observation: &Observation) -> Vec<u8> {
    postcard::to_extend(observation, vec![FORMAT])
        .expect("an observation is plain data and a Vec grows")
}

/// The digest under which [`observation_bytes`] are kept.
pub fn observation_digest(observation: &Observation) -> Digest {
    Digest::of(&observation_bytes(observation))
}

/// The observation in `bytes`, its captures checked.
///
/// Lengths in the bytes are never trusted: memory grows only as elements are
/// really read (serde reserves at most a mebibyte ahead).
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
    let (observation, rest) = postcard::take_from_bytes::<Observation>(body)
        .map_err(|fault| ObservationFault::Malformed(fault.to_string()))?;
    if !rest.is_empty() {
        return Err(ObservationFault::Trailing(rest.len()));
    }
    for take in takes(&observation) {
        check(take)?;
    }
    if !numbers(&observation).all(f64::is_finite) {
        return Err(ObservationFault::NotFinite);
    }
    Ok(observation)
}

/// The plain numbers beside the takes.
fn numbers(observation: &Observation) -> impl Iterator<Item = f64> {
    let estimate = |estimate: Option<Estimate>| estimate.map(|e| [e.value, e.u]);
    let numbers: Vec<f64> = match observation {
        Observation::Overload { steps, .. } => steps.iter().map(|step| step.multiple).collect(),
        Observation::Sense { steps, .. } => {
            let counts = steps.iter().flat_map(|step| &step.counts);
            counts.copied().collect()
        }
        Observation::Idle { steps } => steps
            .iter()
            .filter_map(|step| estimate(step.input_current))
            .flatten()
            .collect(),
        Observation::Soak { soaks } => soaks
            .iter()
            .flat_map(|soaked| {
                let looks = soaked.looks.iter().map(|look| &look.warmth);
                soaked.rest.iter().chain(looks)
            })
            .filter_map(|warmth| estimate(warmth.temperature))
            .flatten()
            .collect(),
        Observation::Supply { steps } => steps
            .iter()
            .filter_map(|step| estimate(step.drawn))
            .flatten()
            .collect(),
        _ => Vec::new(),
    };
    numbers.into_iter()
}

/// Every take in the order in which it was taken.
pub fn takes(observation: &Observation) -> Vec<&Take> {
    observation.takes()
}

fn check(take: &Take) -> Result<(), ObservationFault> {
    let capture = &take.capture;
    let finite = capture.channels.iter().all(|channel| {
        channel.scale.is_finite()
            && channel.offset.is_finite()
            && channel.accuracy.gain_u.is_finite()
            && channel.accuracy.offset_u.is_finite()
    });
    if !(finite && capture.time_base_u.is_finite()) {
        return Err(ObservationFault::NotFinite);
    }
    capture.clone().checked()?;
    Ok(())
}
