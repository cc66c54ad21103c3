//! What goes wrong on a port, whose fault it is and whether asking again is
//! safe. It decides nothing about the instrument behind the port.

use crate::measurement::Blame;
use std::time::Duration;

/// Trouble on one port. Comparable, so that a test can name what it expects.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// There is no such port.
    #[error("there is no port {port}; is the instrument plugged in?")]
    Absent {
        /// The port's name.
        port: String,
    },
    /// Another program holds the port.
    #[error("port {port} is in use by another program")]
    Busy {
        /// The port's name.
        port: String,
    },
    /// The port exists and cannot be opened.
    #[error("port {port} cannot be opened: {why}")]
    Unusable {
        /// The port's name.
        port: String,
        /// What the system said.
        why: String,
    },
    /// A question, or an action of which not one byte had left, failed.
    #[error("{port}: {cause} ({line})")]
    Failed {
        /// The port's name.
        port: String,
        /// The line that was being exchanged.
        line: String,
        /// What happened.
        cause: Cause,
    },
    /// An action was sent and its confirmation did not come: it may have
    /// happened.
    #[error("{port}: it is not known whether `{line}` was carried out: {cause}")]
    Uncertain {
        /// The port's name.
        port: String,
        /// The action.
        line: String,
        /// What happened.
        cause: Cause,
    },
}

/// What happened to an exchange.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Cause {
    /// The port or its far end went away.
    #[error("the port is gone")]
    Gone,
    /// No complete answer within the deadline.
    #[error("no answer within {0:?}")]
    Silent(Duration),
    /// The port did not take the bytes within the deadline.
    #[error("the port took no bytes for {0:?}")]
    Stalled(Duration),
    /// The answer was no text, or more came than was asked for.
    #[error("the answer is garbled")]
    Garbled,
    /// The answer was not in the form that was asked for.
    #[error("the answer has another form than was asked for: '{shown}'")]
    Unfit {
        /// Its first bytes, escaped.
        shown: String,
    },
    /// The answer is not what its checksum says.
    #[error("the checksum of the answer is missing or wrong: '{shown}'")]
    Checksum {
        /// The answer, escaped and cut.
        shown: String,
    },
    /// The instrument did not say the line back as it was sent.
    #[error("the line was not echoed as it was sent, but as '{shown}'")]
    Echo {
        /// What came, escaped and cut.
        shown: String,
    },
    /// The instrument's prompt did not come, but something else.
    #[error("the prompt did not come, but '{shown}'")]
    Prompt {
        /// What came, escaped and cut.
        shown: String,
    },
    /// The answer was longer than it may be.
    #[error("the answer is longer than {0} bytes")]
    Overlong(usize),
    /// Making the bench safe came in between.
    #[error("interrupted to make the bench safe")]
    Interrupted,
}

impl LinkError {
    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            // Another program, or a wrong port in the file: a person mends it.
            Self::Busy { .. } | Self::Absent { .. } | Self::Unusable { .. } => Blame::Operator,
            Self::Failed { .. } | Self::Uncertain { .. } => Blame::Bench,
        }
    }

    /// Whether the same request may be sent again without doing anything
    /// twice.
    pub fn retry_is_safe(&self) -> bool {
        match self {
            Self::Absent { .. } | Self::Busy { .. } | Self::Unusable { .. } => true,
            Self::Failed { cause, .. } => !matches!(cause, Cause::Gone),
            Self::Uncertain { .. } => false,
        }
    }

    /// Whether the port has to be opened anew before anything else.
    pub fn is_gone(&self) -> bool {
        matches!(
            self,
            Self::Failed {
                cause: Cause::Gone,
                ..
            } | Self::Uncertain {
                cause: Cause::Gone,
                ..
            } | Self::Absent { .. }
        )
    }
}
