//! The model signal source: a repeating pattern of half-bits, a held polarity,
//! and the board's enable and brake lines. It answers no command.

use crate::physics::{DriveSignal, InputLine, Pattern, Polarity};

/// The source's settings.
#[derive(Clone, Debug)]
pub(super) struct Drive {
    pub(super) pattern: Pattern,
    pub(super) broken: Option<InputLine>,
    pub(super) held: Option<Polarity>,
    pub(super) signal: bool,
    /// On at first: nothing pulls the line down before it was set, and the
    /// board enables itself.
    pub(super) enabled: bool,
    pub(super) braked: bool,
}

impl Drive {
    pub(super) fn new() -> Self {
        Self {
            pattern: Pattern::ones(),
            broken: None,
            held: None,
            signal: false,
            enabled: true,
            braked: false,
        }
    }

    pub(super) fn output(&self) -> DriveSignal {
        match (self.signal, self.held) {
            (false, _) => DriveSignal::Stopped,
            (true, Some(polarity)) => DriveSignal::Held(polarity),
            (true, None) => DriveSignal::Alternating(self.pattern.clone()),
        }
    }
}
