//! What the edges of one direction look like when they are laid over each other
//! sample by sample: the mean of their windows, and what is read off it. It
//! times no edge.

use super::windows::Window;

/// A profile has left its level where it is farther from it than this part of the
/// farthest; before that so much of the rest of the way, in tenths, and so many
/// samples are not counted either (our own allowances, no source).
const LEFT: f64 = 0.015;
const MARGIN: (usize, usize) = (3, 2);
/// Samples from level to level from which on the middle half of a profile tells
/// its rise (our own allowance, no source).
const TELLS: f64 = 8.0;

/// The mean of all windows about their crossings, `reach` samples either side
/// of the sample before it.
pub(super) fn averaged(windows: &[&Window], reach: usize) -> Vec<f64> {
    let mut sum = vec![0.0; 2 * reach + 1];
    for window in windows {
        let from = libm::floor(window.crossing) as usize - reach;
        for (total, value) in sum.iter_mut().zip(&window.samples[from..]) {
            *total += value;
        }
    }
    let share = (windows.len().max(1) as f64).recip();
    sum.iter().map(|total| total * share).collect()
}

pub(super) fn mean(values: &[f64]) -> f64 {
    // Sums that do not wait for each other.
    let (fours, rest) = values.as_chunks::<4>();
    let (mut a, mut b, mut c, mut d) = (0.0, 0.0, 0.0, 0.0);
    for four in fours {
        a += four[0];
        b += four[1];
        c += four[2];
        d += four[3];
    }
    let rest: f64 = rest.iter().sum();
    ((a + b) + (c + d) + rest) / values.len().max(1) as f64
}

pub(super) fn range((from, to): (i64, i64), middle: usize) -> std::ops::Range<usize> {
    (middle as i64 + from) as usize..(middle as i64 + to) as usize
}

/// Where before the middle the profile has not yet left its level: offsets from
/// and up to.
pub(super) fn settled(profile: &[f64], middle: usize) -> (i64, i64) {
    let early = (middle / 8).max(1);
    let level = mean(&profile[..early]);
    let far = profile
        .iter()
        .map(|x| (x - level).abs())
        .fold(0.0, f64::max);
    let rests = |index: &usize| (profile[*index] - level).abs() <= LEFT * far;
    let leaves = (0..middle).rev().find(rests).unwrap_or(early);
    let margin = MARGIN.1 + MARGIN.0 * (middle - leaves) / 10;
    let until = leaves.saturating_sub(margin).max(early);
    (-(middle as i64), until as i64 - middle as i64)
}

/// Rise over one sample about zero: from the middle half of the profile, which
/// noise does not make steeper, or where that is too short from the two samples
/// beside zero.
///
/// With it the rise over the middle half whatever its length: where an edge
/// pauses about zero that is the steeper.
pub(super) fn step(
    windows: &[&Window],
    profile: &[f64],
    (before, amplitude): (f64, f64),
    sign: f64,
) -> (f64, f64) {
    let middle = profile.len() / 2;
    let way = |index: usize| sign * (profile[index] - before) / amplitude;
    let quarters = || {
        let low = (0..=middle).rev().find(|&index| way(index) <= 0.25)?;
        let high = (middle..profile.len()).find(|&index| way(index) >= 0.75)?;
        let from = low as f64 + (0.25 - way(low)) / (way(low + 1) - way(low));
        let to = high as f64 - (way(high) - 0.75) / (way(high) - way(high - 1));
        Some(0.5 * amplitude / (to - from).max(0.5))
    };
    let over = quarters();
    if let Some(over) = over
        && TELLS * over < amplitude
    {
        return (over, over);
    }
    let steps = windows.iter().map(|window| {
        let at = libm::floor(window.crossing) as usize;
        sign * (window.samples[at + 1] - window.samples[at])
    });
    let beside = (steps.sum::<f64>() / windows.len() as f64).max(amplitude * 1e-6);
    (beside, over.unwrap_or(beside))
}

/// The largest part of a sample in which no crossing lies.
pub(super) fn gap(windows: &[&Window]) -> f64 {
    let mut phases: Vec<f64> = windows
        .iter()
        .map(|window| window.crossing - libm::floor(window.crossing))
        .collect();
    phases.sort_unstable_by(f64::total_cmp);
    let around = phases
        .first()
        .zip(phases.last())
        .map_or(1.0, |(first, last)| first + 1.0 - last);
    let between = phases.windows(2).map(|pair| pair[1] - pair[0]);
    between.fold(around, f64::max)
}
