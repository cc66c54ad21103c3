//! The output's voltage around each loss of the signal, drawn. Nothing is judged
//! here.

use super::seen::Seen;
use crate::drawing::Picture;
use crate::scenario::figure::{Recorded, waveform};
use crate::waveform::Signal;

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let losses = seen.losses.iter();
    losses
        .filter_map(|lost| {
            let title = format!("{}: {}", recorded.scenario, lost.cause.word());
            waveform(&title, &lost.take, Signal::NodeVoltage, None)
        })
        .collect()
}
