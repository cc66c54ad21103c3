//! A current with its zero taken from the pre-trigger, and the levels that its
//! noise allows. It finds no fault.

use super::Noise;
use super::passing::Flow;
use super::size::{Largest, peak};
use crate::measurement::{Estimate, combined, rectangular, resolution};
use crate::waveform::{Baseline, Trace};

/// The levels and times by which a fault is told from everything else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// The magnitude whose crossing starts a trip time, in amperes.
    pub onset: f64,
    /// The magnitude under which the current counts as off, in amperes; noise
    /// can raise it.
    pub off: f64,
    /// Mean and scatter of a quiet pre-trigger are under this, in amperes.
    pub calm: f64,
    /// How long the current must stay off, in seconds: the longest half-bit
    /// and any cutout.
    pub quiet: f64,
    /// How long a contact may bounce, in seconds.
    pub bounce: f64,
}

/// Where the pre-trigger of a capture ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Before {
    /// The provocation comes at this instant or later, in seconds.
    Provoked(f64),
    /// Nobody says: a twentieth of the capture is tried, and ends before the
    /// trigger where time counts from one.
    Unknown,
}

/// A current with its zero taken from the pre-trigger.
#[derive(Clone, Debug, PartialEq)]
pub struct Current {
    /// The samples.
    pub trace: Trace,
    /// Magnitude under which the current counts as off.
    pub off: f64,
    /// How long it must stay there.
    pub quiet: f64,
    /// Magnitude that is beyond noise.
    pub beyond: f64,
    /// First sample that is not pre-trigger.
    pub start: usize,
    /// How its samples scatter.
    pub noise: Noise,
    /// Samples of the quiet pre-trigger that zero and noise were taken from;
    /// none where it was not quiet.
    pub calm_count: usize,
}

impl Current {
    /// Reads `trace`, whose pre-trigger ends as `before` says.
    ///
    /// Zero is the mean of the pre-trigger where that is quiet (mean and
    /// scatter under a tenth of the rated current, or scatter that is noise),
    /// otherwise the channel's own. A standing current, as of a bleeder, looks like an offset; so the
    /// correction is stated with a rectangle of its own size (GUM 4.3.7).
    pub fn of(trace: Trace, before: Before, terms: &Terms) -> Self {
        /// The share of the onset level that noise may have.
        const LOUDEST: f64 = 0.25;
        /// Standard deviations of white noise that noise of some memory has.
        const ALIKE: f64 = 4.0;
        let offset_u = trace.zero_u();
        let pre_end = pre_trigger(&trace, before);
        let calm = Baseline::of(&trace, trace.first(), pre_end).filter(|base| {
            // Noise that neighbours do not share is no standing current.
            let noisy = base.noise < LOUDEST * terms.onset && base.noise < ALIKE * trace.grain();
            base.mean.abs() < terms.calm && (base.noise < terms.calm || noisy)
        });
        let mut start = trace.index_from(pre_end.max(trace.first()));
        if calm.is_none() && before == Before::Unknown {
            start = 0;
        }
        let (trace, noise, reach) = match calm {
            Some(base) => {
                let quiet = trace.window(trace.first(), pre_end);
                let noise = Noise::of(quiet, base.mean, base.noise, trace.step());
                // Noise of a step or more dithers the resolution away.
                let coarse = if base.noise < trace.step() {
                    resolution(trace.step())
                } else {
                    0.0
                };
                let u = combined([base.mean_u(), rectangular(base.mean), coarse]);
                (trace.less(base.mean, u), noise, base.reach)
            }
            None => {
                let noise = Noise::alternating(&trace, 0.0);
                (trace, noise, 0.0)
            }
        };
        let off = terms.off.max(4.0 * noise.sd + offset_u);
        let beyond = (5.0 * noise.sd).max(reach + 2.0 * trace.sample_u()) + offset_u.min(off);
        // Exact samples have no noise to depart from.
        let beyond = beyond.max(1e-6 * terms.onset);
        Self {
            off,
            quiet: terms.quiet + trace.period(),
            beyond,
            start,
            calm_count: calm.map_or(0, |base| base.count),
            noise,
            trace,
        }
    }
}

impl Current {
    /// The last instant before the current stays off, searched from sample
    /// `start`, at which it flows; `None` where that was not seen.
    pub fn interruption(&self, start: usize) -> Option<Estimate> {
        let flow = Flow::new(&self.trace, self.noise, self.off);
        flow.ends(self.off, self.quiet, start).map(|end| end.0)
    }

    /// The largest magnitude from `from` to `to` in seconds, freed of what noise
    /// adds and of what falls between samples; `None` without a sample there.
    pub fn largest(&self, from: f64, to: f64) -> Option<Largest> {
        peak(self, self.quiet, from, to)
    }

    /// Whether the samples begin with the current flowing already, at `onset`
    /// within the first span in which it would be off.
    pub(super) fn begins_within(&self, onset: f64) -> bool {
        /// Samples that show it.
        const FIRST: usize = 3;
        let values = self.trace.values();
        let flows = values.iter().take(FIRST).any(|x| x.abs() >= self.off);
        let early = self
            .trace
            .window(self.trace.first(), self.trace.first() + self.quiet);
        self.calm_count == 0 && flows && early.iter().any(|x| x.abs() >= onset)
    }
}

fn pre_trigger(trace: &Trace, before: Before) -> f64 {
    /// The part of the capture that may be taken for its pre-trigger.
    const SHARE: f64 = 0.05;
    let (first, last) = (trace.first(), trace.last());
    match before {
        // The last twentieth is left out: a trigger lags what it triggers on.
        Before::Provoked(at) => first + 0.95 * (at - first),
        Before::Unknown => {
            let share = first + SHARE * (last - first);
            if first < 0.0 {
                share.min(-trace.period())
            } else {
                share
            }
        }
    }
}
