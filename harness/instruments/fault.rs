//! What goes wrong between an action and its confirmation: the port, the
//! instrument's own refusal, or an answer of another kind. A bad board is no
//! error here.

use crate::ident::Role;
use crate::link::LinkError;
use crate::measurement::Blame;
use crate::protocol::{DeviceError, ReplyFault};
use crate::template::FillFault;

/// Trouble with one instrument.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum InstrumentError {
    /// The port.
    #[error("{role}: {error}")]
    Link {
        /// The instrument.
        role: Role,
        /// What happened.
        error: LinkError,
    },
    /// The instrument reported errors.
    #[error("{role} refused `{command}`: {}", listed(.entries))]
    Refused {
        /// The instrument.
        role: Role,
        /// What was asked of it.
        command: String,
        /// Its error queue, oldest first.
        entries: Vec<DeviceError>,
    },
    /// The answer is not of the kind that was asked for.
    #[error("{role} answered `{command}` with something else: {fault}{}", at(.line))]
    Answer {
        /// The instrument.
        role: Role,
        /// The question.
        command: String,
        /// Where its profile has it, from one, and how.
        line: Option<(usize, String)>,
        /// What was wrong.
        fault: ReplyFault,
    },
    /// A command was not answered as the profile says that it is when it is taken.
    #[error("{role} did not take `{command}`: it answered '{answer}' instead of '{expected}'")]
    NotTaken {
        /// The instrument.
        role: Role,
        /// What was asked of it.
        command: String,
        /// What it said, escaped.
        answer: String,
        /// What it should have said, escaped.
        expected: String,
    },
    /// A setting reads back as another one.
    #[error("{role} was set by `{command}` to {sent}, but says {read} when asked")]
    ReadsBack {
        /// The instrument.
        role: Role,
        /// What was asked of it.
        command: String,
        /// The value that was sent, in SI units.
        sent: String,
        /// The value that it says.
        read: String,
    },
    /// An action was not over in its time.
    #[error("{role} did not end `{command}` within {seconds} s: it answered '{answer}'")]
    NotOver {
        /// The instrument.
        role: Role,
        /// What was asked of it.
        command: String,
        /// The time that it had.
        seconds: String,
        /// What it said last, escaped.
        answer: String,
    },
    /// Another instrument than the profile is for.
    #[error("the {role}'s port answers \"{identity}\", which is not the profile's {expected}")]
    WrongIdentity {
        /// The role.
        role: Role,
        /// What it said.
        identity: String,
        /// The profile's pattern.
        expected: String,
    },
    /// The profile has no such command.
    #[error("the {role}'s profile has no command `{command}`")]
    Lacks {
        /// The instrument.
        role: Role,
        /// The command.
        command: &'static str,
    },
    /// A value that cannot be sent.
    #[error("{role}: {fault}")]
    Fill {
        /// The instrument.
        role: Role,
        /// What was wrong.
        fault: FillFault,
    },
    /// What was asked is beyond the instrument's reach or the bench's wiring.
    #[error("{role}: {what}")]
    BeyondInstrument {
        /// The instrument.
        role: Role,
        /// What cannot be had.
        what: String,
    },
    /// The data do not fit together.
    #[error("{role}: the data do not fit together: {what}")]
    Data {
        /// The instrument.
        role: Role,
        /// How.
        what: String,
    },
}

impl InstrumentError {
    /// The instrument.
    pub fn role(&self) -> Role {
        match self {
            Self::Link { role, .. }
            | Self::Refused { role, .. }
            | Self::Answer { role, .. }
            | Self::NotTaken { role, .. }
            | Self::ReadsBack { role, .. }
            | Self::NotOver { role, .. }
            | Self::WrongIdentity { role, .. }
            | Self::Lacks { role, .. }
            | Self::Fill { role, .. }
            | Self::BeyondInstrument { role, .. }
            | Self::Data { role, .. } => *role,
        }
    }

    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            Self::Link { error, .. } => error.blame(),
            Self::WrongIdentity { .. } => Blame::Operator,
            Self::BeyondInstrument { .. } => Blame::Plan,
            Self::Refused { .. }
            | Self::Answer { .. }
            | Self::NotTaken { .. }
            | Self::ReadsBack { .. }
            | Self::NotOver { .. }
            | Self::Lacks { .. }
            | Self::Fill { .. }
            | Self::Data { .. } => Blame::Bench,
        }
    }

    /// Whether the same thing may be asked again without doing anything twice.
    pub fn retry_is_safe(&self) -> bool {
        match self {
            Self::Link { error, .. } => error.retry_is_safe(),
            Self::Answer { .. } | Self::Data { .. } => true,
            _ => false,
        }
    }

    /// Whether it is unknown what the instrument did.
    pub fn is_uncertain(&self) -> bool {
        matches!(
            self,
            Self::Link {
                error: LinkError::Uncertain { .. },
                ..
            } | Self::Answer { .. }
                | Self::NotTaken { .. }
                | Self::ReadsBack { .. }
                | Self::NotOver { .. }
        )
    }
}

/// The profile's line behind a message.
fn at(line: &Option<(usize, String)>) -> String {
    match line {
        Some((number, text)) => format!(" (line {number} of its profile: {text})"),
        None => String::new(),
    }
}

fn listed(entries: &[DeviceError]) -> String {
    entries
        .iter()
        .map(|entry| format!("{} {}", entry.code, entry.text))
        .collect::<Vec<_>>()
        .join("; ")
}
