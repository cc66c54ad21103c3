//! What a dry run finds, as faults of the files: at the key that the procedure
//! named with its request, once for each kind.

use crate::document::{Fault, Places};
use crate::envelope::{Refusal, RefusalKind};
use crate::scenario::Entry;
use crate::scenario::session::{Provokes, Serves};

/// A fault, and whether it is only that something is not there.
pub(super) struct Found {
    pub(super) fault: Fault,
    /// The bench lacks an instrument, a branch, a channel or a line.
    pub(super) misses: bool,
}

/// The faults of one scenario's dry run.
pub(super) struct Findings<'a> {
    places: &'a Places,
    path: String,
    entry: &'static Entry,
    said: Vec<(String, String)>,
    pub(super) list: Vec<Found>,
}

impl<'a> Findings<'a> {
    pub(super) fn new(places: &'a Places, index: usize, entry: &'static Entry) -> Self {
        Self {
            places,
            path: format!("scenario.{index}"),
            entry,
            said: Vec::new(),
            list: Vec::new(),
        }
    }

    /// Notes that `kind` of fault at `key`, once.
    pub(super) fn note(
        &mut self,
        (key, kind): (Serves, &str),
        (message, expected): (String, String),
        hint: Option<&str>,
        misses: bool,
    ) {
        let path = match key.strip_prefix("ratings.") {
            Some(_) => key.to_owned(),
            None => format!("{}.{key}", self.path),
        };
        let said = (path, kind.to_owned());
        if self.said.contains(&said) {
            return;
        }
        if let Some(place) = self.places.find(&said.0) {
            let fault = Fault::error(place, message).expected(expected);
            // A default that does not fit explains itself first.
            let unstated = self.entry.unstated(self.places, &said.0, key);
            let fault = fault.maybe_hint(unstated.or(hint.map(str::to_owned)));
            self.list.push(Found { fault, misses });
        }
        self.said.push(said);
    }

    /// Notes why something was refused that `provokes` decides.
    pub(super) fn refused(&mut self, provokes: Provokes, refusal: &Refusal) {
        let kind = refusal.kind();
        let key = match kind {
            RefusalKind::LetThrough
            | RefusalKind::Energy
            | RefusalKind::Time
            | RefusalKind::NotTimed => provokes.time,
            _ => provokes.amount,
        };
        let expected = refusal.expected().unwrap_or_default();
        let misses = kind == RefusalKind::Lacks;
        let hint = refusal.hint();
        // Time is one budget: where it is outlasted once, it is so from then on.
        let word = format!("{kind:?}");
        if kind == RefusalKind::Time && self.said.iter().any(|(_, said)| *said == word) {
            return;
        }
        self.note((key, &word), (message(refusal), expected), hint, misses);
    }
}

/// A refusal as what is wrong with a file.
fn message(refusal: &Refusal) -> String {
    let through = |closes: &Option<crate::bench_file::Closes>| {
        closes.map_or(String::new(), |closes| format!(" ({})", closes.word()))
    };
    match refusal {
        Refusal::Current {
            prospective,
            closes,
            ..
        } => format!(
            "the prospective current{} is {prospective}, above the bench's envelope",
            through(closes)
        ),
        Refusal::LetThrough { prospective, .. } => {
            format!("without a trip {prospective} would pass, above the bench's envelope")
        }
        Refusal::Energy { prospective, .. } => {
            format!("without a trip {prospective} would be freed, above the bench's envelope")
        }
        Refusal::Voltage { prospective, .. } => {
            format!("{prospective} can stand across the loop, above the bench's envelope")
        }
        Refusal::Time { would, .. } => {
            format!("{would} without a pause is above the bench's envelope")
        }
        Refusal::Range { intent, role, .. } => {
            format!("{intent}: that is more than the {role} is made for")
        }
        Refusal::NotTimed { role, .. } => {
            format!("the {role} does not end such a pulse by itself")
        }
        Refusal::LoadWiring { drive, .. } => format!(
            "without a rectifier the load withstands the positive polarity only, and the output \
             is {drive}"
        ),
        other => {
            let text = other.to_string();
            let text = text.strip_prefix("refused: ").unwrap_or(&text);
            text.to_owned()
        }
    }
}
