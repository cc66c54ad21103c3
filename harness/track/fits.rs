//! Lines and parabolas through the samples of edges about zero, and how each errs
//! by the shape of the edges and by their noise. It chooses none.

use super::profile::mean;
use super::windows::Window;
use crate::waveform::local_fit::LocalFit;

/// A fit that might time the edges.
pub(super) struct Candidate {
    pub(super) fit: LocalFit,
    pub(super) line: bool,
    /// At the crossing.
    pub(super) slope: f64,
    pub(super) bend: f64,
    /// By how much another fit places the crossing elsewhere: what the shape of
    /// the edge does to it.
    pub(super) missed: f64,
    /// Standard deviation of the difference of both fits over single edges: what
    /// the shape does at some phases of the sampling and not at others, and
    /// noise.
    pub(super) phased: f64,
    /// Standard deviation of the samples about the fits of single edges, but for
    /// what the fit misses of the shape.
    pub(super) rest: f64,
}

impl Candidate {
    /// The weights of the difference of both fits' values.
    pub(super) fn apart(&self) -> Vec<f64> {
        let reach = self.fit.reach();
        let mut weights = self.fit.weights().to_vec();
        let other = if self.line {
            LocalFit::parabola(reach)
        } else {
            LocalFit::parabola((reach / 2).max(1))
        };
        let from = reach - other.reach();
        for (weight, less) in weights[from..].iter_mut().zip(other.weights()) {
            *weight -= less;
        }
        weights
    }
}

/// Lines and parabolas of all widths up to `reach`.
pub(super) fn candidates(
    windows: &[&Window],
    profile: &[f64],
    level: f64,
    mut reach: usize,
    sign: f64,
) -> Vec<Candidate> {
    let mut found = Vec::new();
    while reach >= 2 {
        let narrow = LocalFit::parabola((reach / 2).max(1));
        let parabola = LocalFit::parabola(reach);
        let line = LocalFit::line(reach);
        for (fit, other, free) in [(&line, &parabola, 2), (&parabola, &narrow, 3)] {
            let Some(here) = root(fit, profile, level) else {
                continue;
            };
            let Some((there, ..)) = root(other, profile, level) else {
                continue;
            };
            let (at, slope, bend) = here;
            if sign * slope <= 0.0 {
                continue;
            }
            found.push(Candidate {
                slope,
                bend,
                missed: (at - there).abs(),
                phased: phased(fit, other, windows, slope),
                rest: rest(fit, windows, free),
                line: free == 2,
                fit: fit.clone(),
            });
        }
        reach = reach * 7 / 10;
    }
    found
}

/// Where the fit through the profile is at `level`, and slope and bend there.
fn root(fit: &LocalFit, profile: &[f64], level: f64) -> Option<(f64, f64, f64)> {
    let mut middle = profile.len() / 2;
    for _ in 0..8 {
        let fitted = fit.fit(|index| profile[index], middle);
        let root = fitted.reaches(level);
        let moved = libm::round(root);
        if moved == 0.0 {
            let slope = fitted.slope + 2.0 * fitted.bend * root;
            return Some((middle as f64 + root, slope, fitted.bend));
        }
        let (to, room) = (middle as f64 + moved, fit.reach() as f64);
        let inside = to >= room && to + room < profile.len() as f64;
        if !inside {
            return None;
        }
        middle = to as usize;
    }
    None
}

/// Standard deviation of the difference that two fits make of single edges, in
/// samples.
fn phased(fit: &LocalFit, other: &LocalFit, windows: &[&Window], slope: f64) -> f64 {
    let apart = windows.iter().filter_map(|window| {
        let middle = libm::round(window.crossing) as usize;
        let at = |index: usize| window.samples[index];
        let inside = middle >= fit.reach() && middle + fit.reach() < window.samples.len();
        inside.then(|| (fit.value(at, middle) - other.value(at, middle)) / slope)
    });
    let apart: Vec<f64> = apart.collect();
    let mean = mean(&apart);
    let squares: f64 = apart.iter().map(|x| (x - mean) * (x - mean)).sum();
    libm::sqrt(squares / (apart.len() as f64 - 1.0).max(1.0))
}

/// Standard deviation of samples about the fits of single edges, but for what the
/// fits miss of the shape: edges that follow each other in their phase of the sampling
/// have that in common and differ by noise (successive differences, von Neumann 1941,
/// from memory).
fn rest(fit: &LocalFit, windows: &[&Window], free: usize) -> f64 {
    let reach = fit.reach();
    let count = fit.weights().len();
    let free = count - free.min(count - 1);
    let mut by_phase: Vec<(f64, &[f64])> = windows
        .iter()
        .filter_map(|window| {
            let middle = libm::floor(window.crossing);
            let from = (middle as usize).checked_sub(reach)?;
            let part = window.samples.get(from..from + count)?;
            Some((window.crossing - middle, part))
        })
        .collect();
    by_phase.sort_by(|a, b| a.0.total_cmp(&b.0));
    let squares = by_phase.windows(2).map(|pair| {
        let apart = |index: usize| pair[1].1[index] - pair[0].1[index];
        let fitted = fit.fit(apart, reach);
        let left = |index: usize| {
            let x = index as f64 - reach as f64;
            apart(index) - (fitted.value + fitted.slope * x + fitted.bend * x * x)
        };
        (0..count)
            .map(|index| left(index) * left(index))
            .sum::<f64>()
    });
    let pairs = (by_phase.len() as f64 - 1.0).max(1.0);
    libm::sqrt(squares.sum::<f64>() / (2.0 * free as f64 * pairs))
}
