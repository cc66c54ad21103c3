//! A current with its zero taken from the pre-trigger, and the levels that its
//! noise allows. It finds no fault.

use super::Context;
use crate::measurement::{combined, rectangular, resolution};
use crate::scenario::take::Take;
use crate::units::Quantity;
use crate::waveform::{Baseline, Signal, Trace};

/// The output current of a take with its zero taken from the pre-trigger.
pub(super) struct Current {
    pub(super) trace: Trace,
    /// Magnitude under which the current counts as off.
    pub(super) off: f64,
    /// How long it must stay there.
    pub(super) quiet: f64,
    /// Magnitude that is beyond noise.
    pub(super) beyond: f64,
    /// First sample that is not pre-trigger.
    pub(super) start: usize,
}

impl Current {
    /// Reads `signal` of `take`, whose provocation comes at `provoked` or
    /// later.
    ///
    /// Zero is the mean of the pre-trigger where that is quiet (mean and
    /// scatter under a tenth of the rated current), otherwise the channel's
    /// own. A standing current, as of a bleeder, looks like an offset; so the
    /// correction is stated with a rectangle of its own size (GUM 4.3.7).
    pub(super) fn of(
        take: &Take,
        signal: Signal,
        provoked: f64,
        context: &Context,
    ) -> Option<Self> {
        let trace = Trace::of(&take.capture, signal)?;
        let offset_u = trace.zero_u();
        // The last twentieth is left out: a trigger lags what it triggers on.
        let pre_end = trace.first() + 0.95 * (provoked - trace.first());
        let rated = context.rated_current.si();
        let calm = Baseline::of(&trace, trace.first(), pre_end)
            .filter(|base| base.mean.abs() < 0.1 * rated && base.noise < 0.1 * rated);
        let start = trace.index_from(pre_end.max(trace.first()));
        let (trace, noise, reach) = match calm {
            Some(base) => {
                // Noise of a step or more dithers the resolution away.
                let coarse = if base.noise < trace.step() {
                    resolution(trace.step())
                } else {
                    0.0
                };
                let u = combined([base.mean_u(), rectangular(base.mean), coarse]);
                (trace.less(base.mean, u), base.noise, base.reach)
            }
            None => {
                let grain = trace.grain();
                (trace, grain, 0.0)
            }
        };
        let floor = context
            .off_level
            .map_or(0.05 * rated, |level| level.si().abs());
        let off = floor.max(4.0 * noise + offset_u);
        let beyond = (5.0 * noise).max(reach + 2.0 * trace.sample_u()) + offset_u.min(off);
        let quiet = context.quiet(trace.period());
        Some(Self {
            trace,
            off,
            quiet,
            beyond,
            start,
        })
    }
}
