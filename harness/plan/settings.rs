//! The settings of each kind of scenario, typed. Their words and defaults are
//! the catalogue's.

use super::idle::Idle;
use super::inrush::Inrush;
use super::loss::Loss;
use super::sense::Sense;
use super::signal::Signal;
use super::soak::Soak;
use super::supply::Supply;
use crate::catalogue::ScenarioKind;
use crate::units::{Amperes, Seconds};
use serde::{Deserialize, Serialize};

/// The settings of one scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Settings {
    /// Of an idle scenario.
    Idle(Idle),
    /// Of a load scenario.
    Load(Load),
    /// Of a sense scenario.
    Sense(Sense),
    /// Of an overload scenario.
    Overload(Overload),
    /// Of a short scenario.
    Short(Short),
    /// Of a reversal scenario.
    Reversal(Reversal),
    /// Of a signal scenario.
    Signal(Signal),
    /// Of a loss scenario.
    Loss(Loss),
    /// Of an inrush scenario.
    Inrush(Inrush),
    /// Of a soak scenario.
    Soak(Soak),
    /// Of a supply scenario.
    Supply(Supply),
}

impl Settings {
    /// The kind they are for.
    pub const fn kind(&self) -> ScenarioKind {
        match self {
            Self::Idle(_) => ScenarioKind::Idle,
            Self::Load(_) => ScenarioKind::Load,
            Self::Sense(_) => ScenarioKind::Sense,
            Self::Overload(_) => ScenarioKind::Overload,
            Self::Short(_) => ScenarioKind::Short,
            Self::Reversal(_) => ScenarioKind::Reversal,
            Self::Signal(_) => ScenarioKind::Signal,
            Self::Loss(_) => ScenarioKind::Loss,
            Self::Inrush(_) => ScenarioKind::Inrush,
            Self::Soak(_) => ScenarioKind::Soak,
            Self::Supply(_) => ScenarioKind::Supply,
        }
    }
}

/// In which state of the output a step is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Polarity {
    /// Held positive.
    Positive,
    /// Held negative.
    Negative,
    /// Following the signal.
    Alternating,
}

impl Polarity {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("positive", Self::Positive),
        ("negative", Self::Negative),
        ("alternating", Self::Alternating),
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Positive => "positive",
            Self::Negative => "negative",
            Self::Alternating => "alternating",
        }
    }
}

/// Where a short is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ShortPlace {
    /// At the board.
    Near,
    /// Behind the stated bus resistance.
    Far,
}

impl ShortPlace {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[("near", Self::Near), ("far", Self::Far)];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Near => "near",
            Self::Far => "far",
        }
    }
}

/// Which way a reversal is asked for, and so which gap is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// The crossed gap: from the phase after power-up to the other.
    Forward,
    /// The straight gap: back again.
    Back,
}

impl Direction {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] =
        &[("forward", Self::Forward), ("back", Self::Back)];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Forward => "forward",
            Self::Back => "back",
        }
    }
}

/// Settings of a load scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Load {
    /// The currents, rising.
    pub steps: Vec<Amperes>,
    /// Wait after each step before anything is read.
    pub settle: Seconds,
    /// How long each step is held and read.
    pub hold: Seconds,
    /// The states of the output in which they are taken.
    pub polarities: Vec<Polarity>,
}

/// Settings of an overload scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Overload {
    /// Where the slow ramp starts.
    pub ramp_from: Amperes,
    /// Where it ends at the latest.
    pub ramp_to: Amperes,
    /// How long it takes.
    pub ramp_time: Seconds,
    /// Multiples of the nominal trip current applied as steps, rising.
    pub multiples: Vec<f64>,
    /// How long each is applied.
    pub pulse: Seconds,
    /// The current just below that must not trip.
    pub hold_current: Amperes,
    /// How long it is held.
    pub hold_time: Seconds,
    /// The magnitude whose crossing starts the trip time.
    pub onset_level: Amperes,
    /// The magnitude below which the current counts as interrupted.
    pub off_level: Amperes,
    /// Time between samples of the steps.
    pub sampling_period: Seconds,
}

/// Settings of a short scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Short {
    /// Where the short is made.
    pub places: Vec<ShortPlace>,
    /// How long it is closed.
    pub pulse: Seconds,
    /// Time between samples of that.
    pub sampling_period: Seconds,
    /// Time between samples of the recovery pulse.
    pub coarse_period: Seconds,
    /// How long the short is held to see retries.
    pub recovery_pulse: Seconds,
    /// The magnitude whose crossing starts the trip time.
    pub onset_level: Amperes,
    /// Closings at each place.
    pub repeats: u32,
}

/// Settings of a reversal scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Reversal {
    /// Which ways a reversal is asked for.
    pub directions: Vec<Direction>,
    /// How long one closing is captured.
    pub pulse: Seconds,
    /// How long the gap stays closed.
    pub gap_pulse: Seconds,
    /// How long the true short is closed.
    pub short_pulse: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
    /// The magnitude whose crossing starts the trip time of the true short.
    pub onset_level: Amperes,
}
