//! The current of a capture from anywhere, examined as a board's fault is. A
//! file proves not who ended the current, and nothing here says so.

use crate::interruption::{Before, Current, Examined, Terms, Witnesses, examine};
use crate::measurement::{Estimate, Evidence, Finding, Landmark};
use crate::waveform::Trace;
use serde::Serialize;

/// A current that was looked at for a trip.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Trip {
    /// The level at which the trip time begins, A.
    pub onset_level: f64,
    /// The level under which the current is off, A.
    pub off_level: Option<f64>,
    /// First departure beyond noise, s.
    pub inception: Option<Estimate>,
    /// First crossing of the onset level, s.
    pub onset: Option<Estimate>,
    /// Last instant before the current stays off, s.
    pub interruption: Option<Estimate>,
    /// Interruption less onset, s.
    pub trip_time: Option<Finding>,
    /// Largest magnitude, A.
    pub peak: Option<Finding>,
    /// From inception to interruption, A2s.
    pub let_through: Option<Finding>,
    /// How often the onset level was reached anew.
    pub episodes: usize,
    /// What else must be said.
    pub notes: Vec<String>,
}

impl Trip {
    /// No trip, and why.
    pub fn nothing(onset_level: f64, why: &str) -> Self {
        Self {
            onset_level,
            off_level: None,
            inception: None,
            onset: None,
            interruption: None,
            trip_time: None,
            peak: None,
            let_through: None,
            episodes: 0,
            notes: vec![why.to_owned()],
        }
    }
}

/// Samples held for a trip, at most.
pub const MOST_SAMPLES: usize = 8_000_000;
/// A current must stay off for longer than a cutout lasts, NMRA S-9.3.2 and
/// RCN-217: 488 us. An ordinary half-bit is shorter.
const QUIET: f64 = 488e-6;

/// What the current did. `known` says that the trace knows how far its scale
/// can be trusted.
pub fn trip(trace: Option<Trace>, onset: f64, known: bool) -> Trip {
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
    let beginning = current.trace.first() + current.trace.period();
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
    let inside = fault.onset.value <= beginning;
    if inside {
        let words = "the capture begins inside the short: it began before, and trip time and let-through are at least this";
        notes.push(words.to_owned());
    }
    let bounded = |finding: Finding| match finding {
        Finding::Value(seen) if inside => Finding::Above(seen),
        finding => finding,
    };
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
        trip_time: Some(bounded(readings.trip_time.finding)),
        peak: Some(readings.peak_current.finding),
        let_through: Some(bounded(readings.let_through.finding)),
        episodes: fault.episodes.len(),
        notes,
    }
}

/// Takes a current whose samples are even and looks for a trip in it.
#[derive(Clone, Debug)]
pub struct CurrentListener {
    first: f64,
    period: f64,
    step: f64,
    onset: f64,
    values: Vec<f64>,
    all: usize,
}

impl CurrentListener {
    /// Before the first sample: its instant and the period (s), the step of the
    /// converter and the onset level (A).
    pub const fn new(first: f64, period: f64, step: f64, onset: f64) -> Self {
        Self {
            first,
            period,
            step,
            onset,
            values: Vec::new(),
            all: 0,
        }
    }

    /// A sample, A.
    pub fn push(&mut self, amperes: f64) {
        self.all += 1;
        if self.all <= MOST_SAMPLES {
            self.values.push(amperes);
        }
    }

    /// The end: what the current did.
    pub fn finish(self) -> Trip {
        if self.all > MOST_SAMPLES {
            let words = "more than 8,000,000 samples: cut the capture to the trip";
            return Trip::nothing(self.onset, words);
        }
        let trace = Trace::from_values(self.first, self.period, self.values);
        let trace = trace.map(|trace| trace.in_steps(self.step));
        trip(trace, self.onset, false)
    }
}
