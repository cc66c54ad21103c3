//! Episodes of current: onset to interruption, one after the other, and
//! contact bounce counted as one. It does not say who ended an episode.

use super::Noise;
use super::passing::Flow;
use crate::measurement::Estimate;
use crate::waveform::Trace;

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

/// Every episode of `trace` with `noise` from sample `start` on: each begins
/// where the magnitude reaches `onset` and ends where it stays under `off` for
/// longer than `quiet`. An alternating current passes zero within an episode
/// every half-bit, so `quiet` must be longer than that.
pub fn episodes(
    trace: &Trace,
    noise: Noise,
    (onset, off): (f64, f64),
    quiet: f64,
    start: usize,
) -> Vec<Episode> {
    let off = off.min(onset);
    let flow = Flow::new(trace, noise, off);
    let mut found = Vec::new();
    let mut from = start;
    while found.len() < MOST {
        let Some((begin, index)) = flow.reaches(onset, from) else {
            break;
        };
        let end = flow.ends(off, quiet, index);
        found.push(Episode {
            onset: begin,
            interruption: end.map(|end| end.0),
        });
        match end {
            Some((_, index)) => from = index,
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
