//! What lets energy into a board, with the numbers that decide what it may do.
//! Whether it may be done is not decided here.

use super::terms::Place;
use crate::bench_file::Closes;
use crate::units::{Amperes, Ohms, Quantity, Seconds, Volts};

/// Something that lets energy into the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Intent {
    /// The supply on, or set anew.
    SupplyOn {
        /// Its voltage.
        voltage: Volts,
        /// Its current limit.
        current_limit: Amperes,
    },
    /// The load on, or set anew.
    LoadOn(LoadSetting),
    /// The load on at a current that is meant to be held for so long: it does
    /// not end by itself.
    LoadHold {
        /// Its current.
        current: Amperes,
        /// How long it is to be held.
        duration: Seconds,
    },
    /// A pulse that the load ends by itself.
    LoadPulse {
        /// Its current.
        current: Amperes,
        /// Its length.
        duration: Seconds,
    },
    /// A ramp that the load ends by itself.
    LoadRamp {
        /// Where it starts.
        from: Amperes,
        /// Where it ends.
        to: Amperes,
        /// How long it takes.
        duration: Seconds,
    },
    /// A short that the switch ends by itself.
    ShortPulse {
        /// Where.
        place: Place,
        /// Its length.
        duration: Seconds,
    },
    /// A short of the load's own input, which the load ends by itself.
    LoadShort {
        /// Its length.
        duration: Seconds,
    },
    /// A section gap that the switch closes and opens by itself.
    GapPulse {
        /// Rail to other rail, instead of rail to like rail.
        crossed: bool,
        /// Its length.
        duration: Seconds,
    },
    /// A bank on the node, or the load on the supply rail, which the switch
    /// takes away by itself.
    Connect {
        /// What.
        closes: Closes,
        /// For how long.
        duration: Seconds,
    },
}

impl Intent {
    /// What is done, in words.
    pub fn words(&self) -> String {
        match self {
            Self::SupplyOn {
                voltage,
                current_limit,
            } => format!("supply on, {voltage}, at most {current_limit}"),
            Self::LoadOn(LoadSetting::Current(current)) => format!("load on, {current}"),
            Self::LoadOn(LoadSetting::Resistance(ohms)) => format!("load on, {ohms}"),
            Self::LoadHold { current, duration } => {
                format!("load on, {current}, held for {duration}")
            }
            Self::LoadPulse { current, duration } => format!("load {current} for {duration}"),
            Self::LoadRamp { from, to, duration } => {
                format!("load from {from} to {to} in {duration}")
            }
            Self::ShortPulse { place, duration } => {
                format!("short, {}, for {duration}", place.word())
            }
            Self::LoadShort { duration } => format!("short by the load for {duration}"),
            Self::GapPulse { crossed, duration } => {
                let way = if *crossed { "crossed" } else { "straight" };
                format!("gap closed {way} for {duration}")
            }
            Self::Connect { closes, duration } => {
                format!("{} connected for {duration}", closes.word())
            }
        }
    }

    /// How long it lasts, by itself or as meant; `None` when until it is ended.
    pub fn duration(&self) -> Option<Seconds> {
        match self {
            Self::SupplyOn { .. } | Self::LoadOn(_) => None,
            Self::LoadHold { duration, .. }
            | Self::LoadPulse { duration, .. }
            | Self::LoadRamp { duration, .. }
            | Self::ShortPulse { duration, .. }
            | Self::LoadShort { duration }
            | Self::GapPulse { duration, .. }
            | Self::Connect { duration, .. } => Some(*duration),
        }
    }

    /// Whether every amount makes sense: none is negative, and what lasts lasts
    /// longer than nothing.
    pub fn is_sensible(&self) -> bool {
        let amounts = match *self {
            Self::SupplyOn {
                voltage,
                current_limit,
            } => voltage.si() >= 0.0 && current_limit.si() >= 0.0,
            Self::LoadOn(LoadSetting::Current(current)) => current.si() >= 0.0,
            Self::LoadOn(LoadSetting::Resistance(ohms)) => ohms.si() > 0.0,
            Self::LoadHold { current, .. } | Self::LoadPulse { current, .. } => current.si() >= 0.0,
            Self::LoadRamp { from, to, .. } => from.si() >= 0.0 && to.si() >= 0.0,
            Self::ShortPulse { .. }
            | Self::LoadShort { .. }
            | Self::GapPulse { .. }
            | Self::Connect { .. } => true,
        };
        amounts && self.duration().is_none_or(|time| time.si() > 0.0)
    }

    /// The branch that it closes; `None` where it closes none.
    pub fn branch(&self) -> Option<Closes> {
        match *self {
            Self::SupplyOn { .. }
            | Self::LoadOn(_)
            | Self::LoadHold { .. }
            | Self::LoadPulse { .. }
            | Self::LoadRamp { .. } => None,
            Self::ShortPulse { place, .. } => Some(short_branch(place)),
            Self::LoadShort { .. } => Some(Closes::NearShort),
            Self::GapPulse { crossed, .. } => Some(gap_branch(crossed)),
            Self::Connect { closes, .. } => Some(closes),
        }
    }
}

/// How a load draws.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LoadSetting {
    /// So many amperes, whatever the voltage.
    Current(Amperes),
    /// Like a resistor.
    Resistance(Ohms),
}

impl LoadSetting {
    /// What it draws at `voltage`; without a resistance more than any load.
    pub fn current_at(self, voltage: Volts) -> Amperes {
        match self {
            Self::Current(current) => current,
            Self::Resistance(resistance) => {
                let current = Amperes::from_si(voltage.si() / resistance.si());
                current.unwrap_or(Amperes::new(f64::MAX))
            }
        }
    }
}

/// The switch's branch of a short at `place`.
pub fn short_branch(place: Place) -> Closes {
    match place {
        Place::Near => Closes::NearShort,
        Place::Far => Closes::FarShort,
    }
}

/// The switch's branch of a gap.
pub fn gap_branch(crossed: bool) -> Closes {
    if crossed {
        Closes::GapCrossed
    } else {
        Closes::GapStraight
    }
}
