//! Why something may not be done, with the numbers, as a sentence and as a kind
//! that a program can tell. It points at no file: who asked knows where.

use crate::bench_file::Closes;
use crate::ident::Role;
use crate::measurement::Blame;
use crate::units::{AmpereSquareSeconds, Amperes, Joules, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// Why an intent is not permitted, with the numbers.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// Too much current could flow.
    #[error("refused: {intent}: {prospective} could flow, the envelope allows {most}")]
    Current {
        /// What was asked for.
        intent: String,
        /// What could flow.
        prospective: Amperes,
        /// The envelope.
        most: Amperes,
        /// The branch it takes; `None` where the switch closes none.
        closes: Option<Closes>,
    },
    /// Too large a let-through.
    #[error(
        "refused: {intent}: without a trip {prospective} would pass, the envelope allows {most}"
    )]
    LetThrough {
        /// What was asked for.
        intent: String,
        /// What would pass.
        prospective: AmpereSquareSeconds,
        /// The envelope.
        most: AmpereSquareSeconds,
        /// The branch it takes; `None` where the switch closes none.
        closes: Option<Closes>,
    },
    /// Too much energy.
    #[error(
        "refused: {intent}: without a trip {prospective} would be freed, the envelope allows {most}"
    )]
    Energy {
        /// What was asked for.
        intent: String,
        /// What would be freed.
        prospective: Joules,
        /// The envelope.
        most: Joules,
        /// The branch it takes; `None` where the switch closes none.
        closes: Option<Closes>,
    },
    /// Too high a voltage.
    #[error(
        "refused: {intent}: {prospective} could stand between two rails, the envelope allows {most}"
    )]
    Voltage {
        /// What was asked for.
        intent: String,
        /// What could stand there.
        prospective: Volts,
        /// The envelope.
        most: Volts,
    },
    /// Too long without a pause.
    #[error(
        "refused: {intent}: {would} with energy in the board without a pause, the envelope allows {most}"
    )]
    Time {
        /// What was asked for.
        intent: String,
        /// How long it would be.
        would: Seconds,
        /// The envelope.
        most: Seconds,
    },
    /// More than the instrument is made for.
    #[error("refused: {intent}: that is more than the {role} is made for ({most})")]
    Range {
        /// What was asked for.
        intent: String,
        /// The instrument.
        role: Role,
        /// Its end, as text.
        most: String,
    },
    /// What closes a branch cannot end the closure by itself.
    #[error("refused: {intent}: the {role} does not end such a closure by itself ({why})")]
    NotTimed {
        /// What was asked for.
        intent: String,
        /// The switch, or the load.
        role: Role,
        /// Why not.
        why: String,
    },
    /// Without a rectifier a load conducts like a short when reversed.
    #[error(
        "refused: {intent}: without a rectifier the load withstands the positive polarity only, and the output is {drive}"
    )]
    LoadWiring {
        /// What was asked for.
        intent: String,
        /// How the output is driven.
        drive: String,
    },
    /// A load that draws a current must not be moved.
    #[error("refused: {intent}: the load is moved or shorts its input only while it is off")]
    LoadDraws {
        /// What was asked for.
        intent: String,
    },
    /// An instrument's state is unknown since something went wrong.
    #[error("refused: {intent}: it is not known what the {role} does; make the bench safe first")]
    Unknown {
        /// What was asked for.
        intent: String,
        /// The instrument.
        role: Role,
    },
    /// The bench has no such instrument or branch.
    #[error("refused: {intent}: the bench has no {what}")]
    Lacks {
        /// What was asked for.
        intent: String,
        /// What is missing.
        what: String,
    },
    /// A number that is negative, or a duration of zero.
    #[error("refused: {intent}: that is no sensible amount")]
    NotPositive {
        /// What was asked for.
        intent: String,
    },
    /// Something was found on the bench that a person must look at first.
    #[error("refused: {intent}: {why}")]
    Locked {
        /// What was asked for.
        intent: String,
        /// What was found.
        why: String,
    },
    /// The bench has changed since the permit was given.
    #[error("refused: {intent}: the bench has changed since this was permitted")]
    Stale {
        /// What was asked for.
        intent: String,
    },
}

/// What a refusal is about, for programs: the words stay as they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RefusalKind {
    /// Too much current could flow.
    Current,
    /// Too large a let-through.
    LetThrough,
    /// Too much energy.
    Energy,
    /// Too high a voltage.
    Voltage,
    /// Too long without a pause.
    Time,
    /// More than the instrument is made for.
    Range,
    /// What closes a branch cannot end the closure by itself.
    NotTimed,
    /// A load without a rectifier, reversed.
    LoadWiring,
    /// A load that draws a current would be moved.
    LoadDraws,
    /// An instrument's state is unknown.
    Unknown,
    /// The bench has no such instrument or branch.
    Lacks,
    /// A number that makes no sense.
    NotPositive,
    /// A person must look at the bench first.
    Locked,
    /// The bench has changed since the permit was given.
    Stale,
}

impl Refusal {
    /// What it is about.
    pub fn kind(&self) -> RefusalKind {
        match self {
            Self::Current { .. } => RefusalKind::Current,
            Self::LetThrough { .. } => RefusalKind::LetThrough,
            Self::Energy { .. } => RefusalKind::Energy,
            Self::Voltage { .. } => RefusalKind::Voltage,
            Self::Time { .. } => RefusalKind::Time,
            Self::Range { .. } => RefusalKind::Range,
            Self::NotTimed { .. } => RefusalKind::NotTimed,
            Self::LoadWiring { .. } => RefusalKind::LoadWiring,
            Self::LoadDraws { .. } => RefusalKind::LoadDraws,
            Self::Unknown { .. } => RefusalKind::Unknown,
            Self::Lacks { .. } => RefusalKind::Lacks,
            Self::NotPositive { .. } => RefusalKind::NotPositive,
            Self::Locked { .. } => RefusalKind::Locked,
            Self::Stale { .. } => RefusalKind::Stale,
        }
    }

    /// Who can mend it.
    pub fn blame(&self) -> Blame {
        match self {
            Self::Unknown { .. } | Self::Locked { .. } | Self::Stale { .. } => Blame::Bench,
            _ => Blame::Plan,
        }
    }

    /// What would be permitted, where that can be said in a few words.
    pub fn expected(&self) -> Option<String> {
        match self {
            Self::Current { most, .. } => Some(format!("{most} or less")),
            Self::LetThrough { most, .. } => Some(format!("{most} or less")),
            Self::Energy { most, .. } => Some(format!("{most} or less")),
            Self::Voltage { most, .. } => Some(format!("{most} or less")),
            Self::Time { most, .. } => Some(format!("{most} or less")),
            Self::Range { most, .. } => Some(format!("{most} or less")),
            Self::NotTimed { role, .. } => Some(format!(
                "a closure that the {role} ends by itself after its time"
            )),
            Self::LoadWiring { .. } => Some("the output held positive".to_owned()),
            Self::LoadDraws { .. } => Some("the load off".to_owned()),
            Self::Lacks { what, .. } => Some(format!("a bench with a {what}")),
            Self::NotPositive { .. } => Some("amounts and times above zero".to_owned()),
            Self::Unknown { .. } | Self::Locked { .. } | Self::Stale { .. } => None,
        }
    }

    /// What else can be done about it, where that is not plain.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            Self::Current {
                closes: Some(_), ..
            }
            | Self::LetThrough {
                closes: Some(_), ..
            } => Some("`source_resistance` in `[ratings]` of the plan may state the board's own"),
            Self::Time { .. } => Some(
                "shorten it, or raise `seconds` in `[envelope]` of the bench file if board and \
                 bench withstand that",
            ),
            Self::LoadWiring { .. } => Some(
                "a rectifier in front of the load takes both polarities: state its \
                 `rectifier_drop` in `[wiring]` of the bench file",
            ),
            _ => None,
        }
    }
}
