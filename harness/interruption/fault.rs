//! The examination itself, and the numbers and marks read off a fault. Who
//! ended it is decided beside this.

use super::episode::{episodes, merge_bounce};
use super::size::{Largest, let_through};
use super::{Current, Ending, Episode, Provocation, Terms, Witnesses, ending};
use crate::measurement::{
    Blame, Estimate, Finding, Landmark, Mark, combined, rectangular, resolution,
};
use crate::units::{Dimension, show};
use crate::waveform::{departure, top_state};

/// Fewer samples than this are no measurement of a time.
pub const FEWEST_SAMPLES: f64 = 3.0;

/// A fault that reached the onset level.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// The current it was found in.
    pub current: Current,
    /// First departure beyond noise, in seconds.
    pub inception: Estimate,
    /// First crossing of the onset level, in seconds.
    pub onset: Estimate,
    /// When and by whom it was ended.
    pub ending: Ending,
    /// Every episode in the capture, contact bounce merged.
    pub episodes: Vec<Episode>,
    /// The onset level, in amperes.
    pub(super) level: f64,
    /// The capture begins within the fault: nothing before its first sample
    /// was seen.
    begun_before: bool,
    notes: Vec<String>,
}

/// What came of looking for a fault.
#[derive(Clone, Debug, PartialEq)]
pub enum Examined {
    /// A fault.
    Fault(Box<Fault>),
    /// Current flowed, but never up to the onset level.
    NotReached {
        /// The largest that flowed.
        peak: Largest,
        /// When it was largest, in seconds.
        at: Estimate,
        /// Who can mend it.
        blame: Blame,
        /// Why there is nothing more.
        reason: String,
    },
    /// Nothing to measure.
    Nothing {
        /// Who can mend it.
        blame: Blame,
        /// Why.
        reason: String,
    },
}

/// A finding with the marks it was read at.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// What was found.
    pub finding: Finding,
    /// Instants first, then levels.
    pub marks: Vec<Mark>,
}

/// What is read off one fault.
#[derive(Clone, Debug, PartialEq)]
pub struct Readings {
    /// Interruption less onset.
    pub trip_time: Reading,
    /// The largest magnitude.
    pub peak_current: Reading,
    /// Integral of the squared current.
    pub let_through: Reading,
    /// Remarks that belong beside each of them.
    pub notes: Vec<String>,
}

impl Reading {
    const fn unmarked(finding: Finding) -> Self {
        let marks = Vec::new();
        Self { finding, marks }
    }

    /// The reading with one more standard uncertainty.
    #[must_use]
    pub fn widened(self, by: f64) -> Self {
        Self {
            finding: self.finding.widened(by),
            ..self
        }
    }
}

/// Looks for the fault in `current`.
pub fn examine(current: Current, terms: &Terms, witnesses: &Witnesses<'_>) -> Examined {
    let trace = &current.trace;
    let Some(inception) = departure(trace, current.beyond, current.start) else {
        return nothing_flowed(witnesses);
    };
    let level = terms.onset;
    if level <= current.off {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: format!(
                "the noise is too large: the off level of {} reaches the onset level",
                show(current.off, Dimension::Current)
            ),
        };
    }
    let begun_before = current.begins_within(level);
    let levels = (level, current.off);
    let start = if begun_before { 0 } else { current.start };
    let mut all = episodes(trace, current.noise, levels, current.quiet, start);
    let mut inception = inception.at;
    if begun_before {
        inception = Estimate::new(trace.first(), resolution(trace.period()));
        if let Some(first) = all.first_mut() {
            first.onset = inception;
        }
    }
    // A bump too short to depart from noise may be the onset all the same.
    if let Some(first) = all
        .first()
        .filter(|first| first.onset.value < inception.value)
    {
        inception = first.onset;
    }
    let begun = inception.value;
    let (found, bounced) = merge_bounce(&all, |from, to| {
        let shown = match witnesses.provocation {
            Provocation::Short { closure, .. } => {
                !closure.proves || closure.apart(from - trace.period(), to)
            }
            Provocation::Load { .. } | Provocation::Unknown => false,
        };
        shown && from - begun <= terms.bounce && to - from <= terms.bounce
    });
    let Some(first) = found.first().copied() else {
        return not_reached(&current, begun, witnesses);
    };
    let mut notes = Vec::new();
    if bounced > 0 {
        notes.push("contact bounced, counted as one fault".into());
    }
    if begun_before {
        notes.push("the capture begins within the fault: what came before is not in it".into());
    }
    let ending = ending::ending(&current, witnesses, &found, begun);
    if let Some(note) = limiting(&current, &ending, &first) {
        notes.push(note);
    }
    Examined::Fault(Box::new(Fault {
        inception,
        onset: first.onset,
        begun_before,
        ending,
        episodes: found,
        level,
        notes,
        current,
    }))
}

fn nothing_flowed(witnesses: &Witnesses<'_>) -> Examined {
    let before = witnesses.output.and_then(|(output, nominal)| {
        let top = top_state(output, output.first(), 0.0)?;
        Some(top.value < 0.25 * nominal)
    });
    let (blame, reason) = match (before, witnesses.provocation) {
        (Some(true), _) => (
            Blame::Board,
            "the output was dead before the fault was made",
        ),
        (_, Provocation::Short { .. }) if witnesses.fuse_intact == Some(false) => {
            (Blame::Bench, "the fuse of the shorting branch is blown")
        }
        (_, Provocation::Unknown) => (Blame::Bench, "no current flows"),
        _ => (Blame::Bench, "no current flowed when the fault was made"),
    };
    Examined::Nothing {
        blame,
        reason: reason.into(),
    }
}

fn not_reached(current: &Current, from: f64, witnesses: &Witnesses<'_>) -> Examined {
    let trace = &current.trace;
    let Some(found) = current.largest(from, trace.last()) else {
        return Examined::Nothing {
            blame: Blame::Bench,
            reason: "the capture ends with the fault".into(),
        };
    };
    let proven = match witnesses.provocation {
        Provocation::Short { closure, .. } => closure.proves,
        Provocation::Load { .. } | Provocation::Unknown => true,
    };
    let blame = if proven && witnesses.fuse_intact != Some(false) {
        Blame::Plan
    } else {
        Blame::Bench
    };
    Examined::NotReached {
        peak: found,
        at: sampled_at(current, &found),
        blame,
        reason: format!(
            "the current reached {} and never the onset level",
            show(found.value.value, Dimension::Current)
        ),
    }
}

fn sampled_at(current: &Current, extreme: &Largest) -> Estimate {
    let trace = &current.trace;
    Estimate::new(trace.time(extreme.index), resolution(trace.period()))
}

/// A remark where a fault that was not interrupted is held at a steady level
/// well below its peak: the board limits instead of tripping.
fn limiting(current: &Current, ending: &Ending, first: &Episode) -> Option<String> {
    let (Ending::Censored(until, _), None) = (ending, first.interruption) else {
        return None;
    };
    let span = until.value - first.onset.value;
    let window = |from: f64, to: f64| {
        top_state(
            &current.trace,
            first.onset.value + from * span,
            first.onset.value + to * span,
        )
    };
    let (middle, end) = (window(0.5, 0.75)?, window(0.75, 1.0)?);
    let most = current.largest(first.onset.value, until.value)?;
    let steady = (middle.value - end.value).abs() < 0.05 * end.value;
    (steady && end.value < 0.8 * most.value.value)
        .then(|| format!("limits at {}", show(end.value, Dimension::Current)))
}

impl Fault {
    /// Interruption less onset.
    ///
    /// Standard uncertainty (GUM 5.1.2): both instants and the time base. Too
    /// few samples are no measurement, only a bound.
    fn trip_time(&self) -> Finding {
        let until = self.ending.until();
        let span = (until.value - self.onset.value).max(0.0);
        let u = combined([
            until.u,
            self.onset.u,
            self.current.trace.time_base_u() * span,
        ]);
        let period = self.current.trace.period();
        match &self.ending {
            Ending::Own(_) if self.begun_before => Finding::Above(Estimate::new(span, u)),
            Ending::Own(_) if span < FEWEST_SAMPLES * period => {
                Finding::Below(Estimate::new(FEWEST_SAMPLES * period, resolution(period)))
            }
            Ending::Own(_) => Finding::Value(Estimate::new(span, u)),
            Ending::Censored(..) => Finding::Above(Estimate::new(span, u)),
            Ending::Inconclusive(_, blame, reason) => Finding::unknown(*blame, reason.as_str()),
        }
    }

    /// Largest magnitude from inception to interruption; a clipped one, one of
    /// a fault not seen to its end, or one between too few samples is a bound.
    fn peak_current(&self) -> Reading {
        let trace = &self.current.trace;
        if let Ending::Inconclusive(_, blame, reason) = &self.ending {
            return Reading::unmarked(Finding::unknown(*blame, reason.as_str()));
        }
        let from = self.inception.value - trace.period();
        let Some(found) = self.current.largest(from, self.ending.until().value) else {
            let finding = Finding::unknown(Blame::Bench, "no sample lies within the fault");
            return Reading::unmarked(finding);
        };
        let at = Mark::instant(Landmark::Peak, sampled_at(&self.current, &found));
        let finding = if self.is_bound() {
            Finding::Above(found.value)
        } else {
            Finding::Value(found.value)
        };
        Reading {
            finding,
            marks: vec![self.begun(), at, self.ended()],
        }
    }

    /// Integral of the squared current from inception to interruption. What
    /// flowed before the departure from noise is less than that level squared
    /// times a sample, a rectangle.
    fn let_through(&self) -> Finding {
        let trace = &self.current.trace;
        if let Ending::Inconclusive(_, blame, reason) = &self.ending {
            return Finding::unknown(*blame, reason.as_str());
        }
        let found = let_through(&self.current, self.inception, self.ending.until());
        let missed = rectangular(self.current.beyond * self.current.beyond * trace.period());
        let found = Estimate::new(found.value, combined([found.u, missed]));
        if self.is_bound() {
            Finding::Above(found)
        } else {
            Finding::Value(found)
        }
    }

    fn is_bound(&self) -> bool {
        let span = self.ending.until().value - self.inception.value;
        self.begun_before
            || self.current.trace.clipped()
            || matches!(self.ending, Ending::Censored(..))
            || span < FEWEST_SAMPLES * self.current.trace.period()
    }

    fn begun(&self) -> Mark {
        self.from(Landmark::Inception, self.inception)
    }

    /// Where the fault began, or the first sample where it began before that.
    const fn from(&self, what: Landmark, at: Estimate) -> Mark {
        if self.begun_before {
            Mark::instant(Landmark::WatchedFrom, at)
        } else {
            Mark::instant(what, at)
        }
    }

    fn ended(&self) -> Mark {
        let what = match &self.ending {
            Ending::Own(_) | Ending::Inconclusive(..) => Landmark::Interruption,
            Ending::Censored(..) => Landmark::WatchedUntil,
        };
        Mark::instant(what, self.ending.until())
    }

    fn levels(&self) -> [Mark; 2] {
        let off = self.current.off;
        [
            (Landmark::OnsetLevel, self.level),
            (Landmark::OffLevel, off),
        ]
        .map(|(what, level)| Mark::current(what, Estimate::new(level, 0.0)))
    }

    /// Remarks that belong beside the fault's metrics.
    fn remarks(&self) -> Vec<String> {
        let mut notes = self.notes.clone();
        if let Ending::Censored(_, why) = &self.ending {
            notes.push(why.clone());
        }
        if self.current.trace.clipped() {
            notes.push("the current left the channel's range".into());
        }
        notes
    }

    /// Trip time, peak and let-through, each with its marks.
    pub fn readings(&self) -> Readings {
        let onset = self.from(Landmark::Onset, self.onset);
        let [onset_level, off_level] = self.levels();
        Readings {
            trip_time: Reading {
                finding: self.trip_time(),
                marks: vec![onset, self.ended(), onset_level, off_level],
            },
            peak_current: self.peak_current(),
            let_through: Reading {
                finding: self.let_through(),
                marks: vec![self.begun(), self.ended(), off_level],
            },
            notes: self.remarks(),
        }
    }
}

impl Examined {
    /// Trip time, peak and let-through with their marks and remarks.
    pub fn readings(&self) -> Readings {
        let (none, peak) = match self {
            Self::Fault(fault) => return fault.readings(),
            Self::NotReached {
                peak,
                at,
                blame,
                reason,
            } => {
                let none = Finding::unknown(*blame, reason.as_str());
                let peak = match blame {
                    Blame::Plan => Reading {
                        finding: Finding::Value(peak.value),
                        marks: vec![Mark::instant(Landmark::Peak, *at)],
                    },
                    _ => Reading::unmarked(none.clone()),
                };
                (none, peak)
            }
            Self::Nothing { blame, reason } => {
                let none = Finding::unknown(*blame, reason.as_str());
                (none.clone(), Reading::unmarked(none))
            }
        };
        Readings {
            trip_time: Reading::unmarked(none.clone()),
            peak_current: peak,
            let_through: Reading::unmarked(none),
            notes: Vec::new(),
        }
    }
}
