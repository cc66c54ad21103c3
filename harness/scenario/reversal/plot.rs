//! The current across the gap, and that of the true short, drawn with the
//! instants that their times were read at. Nothing is judged here.

use super::seen::Seen;
use crate::drawing::Picture;
use crate::scenario::figure::{Recorded, waveform};
use crate::waveform::Signal;

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let gap = seen.closings.first().and_then(|closing| {
        let word = closing.direction.word();
        let title = format!("{}: gap closed, {word}", recorded.scenario);
        let judged = recorded.metric("reversal_time", word);
        waveform(&title, &closing.take, Signal::GapCurrent, judged)
    });
    let short = seen.short.as_ref().and_then(|take| {
        let title = format!("{}: true short", recorded.scenario);
        let judged = recorded.metric("trip_time", "short");
        waveform(&title, take, Signal::OutputCurrent, judged)
    });
    gap.into_iter().chain(short).collect()
}
