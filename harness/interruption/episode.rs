//! Episodes of current: onset to interruption, one after the other, and
//! contact bounce counted as one. It does not say who ended an episode.

use crate::measurement::Estimate;
use crate::waveform::{Trace, falls_for_good, first_beyond};

/// One stretch of a waveform beyond a level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Episode {
    /// First crossing of the onset level.
    pub onset: Estimate,
    /// Last instant before the magnitude stays under the off level for longer
    /// than the quiet span; `None` when it was not seen.
    pub interruption: Option<Estimate>,
}

/// The most episodes taken from one trace.
const MOST: usize = 10_000;

/// Every episode from sample `start` on: each begins where the magnitude
/// reaches `onset` and ends where it stays under `off` for longer than
/// `quiet`. An alternating current passes zero within an episode every
/// half-bit, so `quiet` must be longer than that.
pub fn episodes(trace: &Trace, onset: f64, off: f64, quiet: f64, start: usize) -> Vec<Episode> {
    let mut found = Vec::new();
    let mut from = start;
    while found.len() < MOST {
        let Some(begin) = first_beyond(trace, onset, from) else {
            break;
        };
        let end = falls_for_good(trace, off.min(onset), quiet, begin.index);
        found.push(Episode {
            onset: begin.at,
            interruption: end.map(|end| end.at),
        });
        match end {
            Some(end) => from = end.index,
            None => break,
        }
    }
    found
}

/// Joins to the first episode those that follow it while the contact still
/// bounces: `parted` is asked of each gap (its start and its end) and says
/// whether the contact was apart there. Also says how many were joined.
pub fn merge_bounce(
    episodes: &[Episode],
    parted: impl Fn(f64, f64) -> bool,
) -> (Vec<Episode>, usize) {
    let Some((&first, rest)) = episodes.split_first() else {
        return (Vec::new(), 0);
    };
    let mut whole = first;
    let mut joined = 0;
    for next in rest {
        let Some(gap) = whole.interruption else { break };
        if !parted(gap.value, next.onset.value) {
            break;
        }
        whole.interruption = next.interruption;
        joined += 1;
    }
    let mut merged = vec![whole];
    merged.extend_from_slice(&rest[joined..]);
    (merged, joined)
}
