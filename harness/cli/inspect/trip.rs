//! A current to inception, onset, interruption, peak and let-through, by the
//! definitions and functions that judge boards. A file proves not who ended the
//! current, and nothing here says so.

use crate::console::inspect::Trip;
use crate::measurement::{Estimate, Finding, combined, rectangular, resolution};
use crate::waveform::{Baseline, Trace, departure, episodes, peak, square_integral};

/// Samples held for a trip, at most.
pub(super) const MOST_SAMPLES: usize = 8_000_000;
/// A current must stay off for longer than a cutout lasts, NMRA S-9.3.2 and
/// RCN-217: 488 us. An ordinary half-bit is shorter.
const QUIET: f64 = 488e-6;
/// Fewer samples than this are no measurement of a time.
const FEWEST_SAMPLES: f64 = 3.0;
/// The part of the capture that may be taken for its pre-trigger.
const BEFORE: f64 = 0.05;

/// What the current did; `step` is the converter's, zero for numbers. `known`
/// says that the trace knows how far its scale can be trusted.
pub(super) fn trip(trace: Option<Trace>, step: f64, onset: f64, known: bool) -> Trip {
    let Some(trace) = trace else {
        return Trip::nothing(onset, "there is no usable sample");
    };
    let period = trace.period();
    let mut notes = vec!["who ended the current, this capture alone does not prove".to_owned()];
    if !known {
        notes[0].push_str("; gain errors of the probe are not in U");
    }
    let share = trace.first() + BEFORE * (trace.last() - trace.first());
    // Where time counts from the trigger, what came before it is quiet.
    let end = if trace.first() < 0.0 {
        share.min(-trace.period())
    } else {
        share
    };
    let calm = Baseline::of(&trace, trace.first(), end)
        .filter(|base| base.mean.abs() < 0.1 * onset && base.noise < 0.1 * onset);
    let (trace, noise, reach) = match calm {
        Some(base) => {
            let u = combined([base.mean_u(), rectangular(base.mean), resolution(step)]);
            (trace.less(base.mean, u), base.noise, base.reach)
        }
        None => {
            notes.push("its beginning is not quiet: zero is taken as the file has it".to_owned());
            let grain = trace.grain();
            (trace, grain, 0.0)
        }
    };
    let off = (0.05 * onset).max(4.0 * noise);
    let beyond = (5.0 * noise)
        .max(reach + 2.0 * combined([trace.sample_u(), resolution(step)]))
        .max(1e-6 * onset);
    let Some(inception) = departure(&trace, beyond, 0) else {
        return Trip::nothing(onset, "no current flows");
    };
    let found = episodes(&trace, onset, off, QUIET + period, inception.index);
    let Some(episode) = found.first() else {
        let mut trip = Trip::nothing(onset, "the current never reaches the onset level");
        trip.peak = peak(&trace, trace.first(), trace.last()).map(|top| Finding::Value(top.value));
        return trip;
    };
    let seen = episode.interruption;
    let until = seen.unwrap_or_else(|| Estimate::new(trace.last(), resolution(period)));
    let bound = |value: Estimate| match seen {
        Some(_) => Finding::Value(value),
        None => Finding::Above(value),
    };
    let span = until.minus(episode.onset);
    let time = if seen.is_some() && span.value < FEWEST_SAMPLES * period {
        Finding::Below(Estimate::new(FEWEST_SAMPLES * period, resolution(period)))
    } else {
        bound(span)
    };
    if seen.is_none() {
        notes.push("the capture ends while the current still flows".to_owned());
    }
    let top = peak(&trace, inception.at.value - period, until.value);
    let through = square_integral(&trace, inception.at, until);
    let missed = rectangular(beyond * beyond * period);
    let through = Estimate::new(through.value, combined([through.u, missed]));
    Trip {
        onset_level: onset,
        off_level: Some(off),
        inception: Some(inception.at),
        onset: Some(episode.onset),
        interruption: seen,
        trip_time: Some(time),
        peak: top.map(|top| bound(top.value)),
        let_through: Some(bound(through)),
        episodes: found.len(),
        notes,
    }
}
