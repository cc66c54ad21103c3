//! What an exchange with an instrument takes on its line: the bytes at its
//! speed and the instrument's own time, as its profile states them. Estimates,
//! rather too long than too short; nothing is sent.

use crate::ident::Role;
use crate::profile::Profile;
use crate::scenario::acquisition::CaptureRequest;
use crate::units::{Quantity, Seconds};
use std::collections::BTreeMap;

/// Bits on the line for a byte: a start bit, eight of data, a stop bit.
const BITS_A_BYTE: f64 = 10.0;
/// Bytes of an action with its confirmation, and of a question, both ways: house values,
/// as the shipped profiles word them.
const ACTION: f64 = 80.0;
const QUESTION: f64 = 40.0;
/// Bytes of a preamble and of the question for it.
const PREAMBLE: f64 = 120.0;

/// The lines of a bench.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lines<'a> {
    pub(super) profiles: &'a BTreeMap<Role, Profile>,
}

impl Lines<'_> {
    fn takes(self, role: Role, bytes: f64) -> f64 {
        let Some(profile) = self.profiles.get(&role) else {
            return 0.0;
        };
        let line = bytes * BITS_A_BYTE / f64::from(profile.line.speed.max(1));
        line + profile.line.processing.seconds().si()
    }

    /// An action that is confirmed: in its own line, or by two questions.
    pub(super) fn action(self, role: Role) -> Seconds {
        self.action_with(role, 0)
    }

    /// An action with so many bytes of text beside the ordinary.
    pub(super) fn action_with(self, role: Role, text: usize) -> Seconds {
        let joined = self.profiles.get(&role).is_none_or(|profile| {
            let complete = profile.command("complete");
            complete.is_none_or(|complete| complete.source().starts_with('*'))
        });
        let questions = if joined { 0.0 } else { 2.0 };
        seconds(self.takes(role, ACTION + text as f64) + questions * self.takes(role, QUESTION))
    }

    /// A question with its answer, and what the instrument integrates over.
    pub(super) fn question(self, role: Role, reads: &str) -> Seconds {
        let accuracy = self.profiles.get(&role).and_then(|p| p.accuracy.get(reads));
        let integration = accuracy.map_or(0.0, |accuracy| accuracy.integration.si());
        seconds(self.takes(role, QUESTION) + integration)
    }

    /// Setting up and arming a capture.
    pub(super) fn arm(self, request: &CaptureRequest) -> Seconds {
        // Period and length are read back.
        let asked = self.question(Role::Capture, "period_setting") * 2.0;
        self.action(Role::Capture) * (5 + request.channels.len()) as f64 + asked
    }

    /// Reading it out: two bytes a sample of each channel and of all lines.
    pub(super) fn read_out(self, request: &CaptureRequest) -> Seconds {
        let tracks = (request.channels.len() + usize::from(request.lines)) as f64;
        let samples = 2.0 * f64::from(request.length);
        let one =
            self.takes(Role::Capture, PREAMBLE) + self.takes(Role::Capture, samples + PREAMBLE);
        seconds(tracks * one)
    }
}

fn seconds(si: f64) -> Seconds {
    Seconds::from_si(si).unwrap_or(Seconds::ZERO)
}
