//! The current of the short that decided the trip time at each place, drawn with
//! the instants that it was read at. Nothing is judged here.

use super::seen::Seen;
use crate::drawing::Picture;
use crate::scenario::figure::{Recorded, waveform};
use crate::scenario::terms::Place;
use crate::waveform::Signal;

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let places = [Place::Near, Place::Far].into_iter();
    places
        .filter_map(|place| short(place, seen, recorded))
        .collect()
}

fn short(place: Place, seen: &Seen, recorded: &Recorded<'_>) -> Option<Picture> {
    let pulses = seen.pulses.iter();
    let here: Vec<_> = pulses.filter(|pulse| pulse.place == place).collect();
    let first = here.first()?;
    let judged = recorded.metric("trip_time", place.word());
    let take = recorded.decided(judged).unwrap_or(&first.fast);
    // A scenario that is named like its kind says it once.
    let mut title = match recorded.scenario {
        "short" => format!("short, {}", place.word()),
        own => format!("{own}: short, {}", place.word()),
    };
    let which = here.iter().find(|pulse| std::ptr::eq(&pulse.fast, take));
    if let Some(worst) = which.filter(|_| here.len() > 1) {
        title.push_str(&format!(" ({} of {})", worst.repeat, here.len()));
    }
    waveform(&title, take, Signal::OutputCurrent, judged)
}
