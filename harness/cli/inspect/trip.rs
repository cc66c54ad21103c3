//! The current of a capture from anywhere, examined as a board's fault is. A
//! file proves not who ended the current, and nothing here says so.

use crate::console::inspect::Trip;
use crate::interruption::{Before, Current, Examined, Terms, Witnesses, examine};
use crate::measurement::{Evidence, Finding, Landmark};
use crate::waveform::Trace;

/// Samples held for a trip, at most.
pub(super) const MOST_SAMPLES: usize = 8_000_000;
/// A current must stay off for longer than a cutout lasts, NMRA S-9.3.2 and
/// RCN-217: 488 us. An ordinary half-bit is shorter.
const QUIET: f64 = 488e-6;

/// What the current did. `known` says that the trace knows how far its scale
/// can be trusted.
pub(super) fn trip(trace: Option<Trace>, onset: f64, known: bool) -> Trip {
    let Some(trace) = trace else {
        return Trip::nothing(onset, "there is no usable sample");
    };
    let terms = Terms {
        onset,
        off: 0.05 * onset,
        calm: 0.1 * onset,
        quiet: QUIET,
        bounce: 0.0,
    };
    let current = Current::of(trace, Before::Unknown, &terms);
    let mut notes = vec!["who ended the current, this capture alone does not prove".to_owned()];
    if !known {
        notes[0].push_str("; gain errors of the probe are not in U");
    }
    if current.calm_count == 0 {
        notes.push("its beginning is not quiet: zero is taken as the file has it".to_owned());
    }
    let off = current.off;
    let examined = examine(current, &terms, &Witnesses::NONE);
    let readings = examined.readings();
    let fault = match &examined {
        Examined::Fault(fault) => fault,
        Examined::NotReached { peak, reason, .. } => {
            let mut trip = Trip::nothing(onset, reason);
            trip.peak = Some(Finding::Value(peak.value));
            return trip;
        }
        Examined::Nothing { reason, .. } => return Trip::nothing(onset, reason),
    };
    notes.extend(readings.notes);
    let time = Evidence {
        take: 0,
        label: String::new(),
        marks: readings.trip_time.marks,
    };
    Trip {
        onset_level: onset,
        off_level: Some(off),
        inception: Some(fault.inception),
        onset: time.mark(Landmark::Onset),
        interruption: time.mark(Landmark::Interruption),
        trip_time: Some(readings.trip_time.finding),
        peak: Some(readings.peak_current.finding),
        let_through: Some(readings.let_through.finding),
        episodes: fault.episodes.len(),
        notes,
    }
}
