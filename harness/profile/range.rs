//! What an instrument can do, by role, and how a profile's `[range]` says it. How
//! well it does so is stated beside it, and what a plan asks of it is not known here.

use crate::document::{Demand, Fault, Table};
use crate::units::{Amperes, Ohms, Seconds, Volts, Watts};

/// What an instrument can do, by role.
#[derive(Clone, Debug, PartialEq)]
pub enum Range {
    /// A supply's.
    Supply(SupplyRange),
    /// A load's.
    Load(LoadRange),
    /// A capture device's.
    Capture(CaptureRange),
    /// A switch's.
    Switch(SwitchRange),
    /// Roles that state no range.
    None,
}

/// What a supply can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyRange {
    /// Largest voltage.
    pub voltage: Volts,
    /// Largest current.
    pub current: Amperes,
}

/// What an electronic load can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadRange {
    /// Largest voltage.
    pub voltage: Volts,
    /// Largest current.
    pub current: Amperes,
    /// Largest power.
    pub power: Watts,
    /// Least voltage at which it still carries its current.
    pub minimum_voltage: Volts,
    /// Its resistance while it shorts its input, where it can.
    pub short_resistance: Option<Ohms>,
}

/// What a capture device can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaptureRange {
    /// Analogue channels.
    pub channels: u32,
    /// Logic lines.
    pub lines: u32,
    /// Largest input voltage.
    pub voltage: Volts,
    /// Shortest sampling period.
    pub period: Seconds,
    /// Most samples in one capture.
    pub samples: u64,
    /// Bits of its converter.
    pub bits: u32,
}

/// What a switch can do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchRange {
    /// Channels.
    pub channels: u32,
    /// Shortest closure it ends by itself.
    pub shortest_pulse: Seconds,
    /// Longest closure it ends by itself.
    pub longest_pulse: Seconds,
}

/// A supply's out of `[range]`.
pub(super) fn supply(table: &Table<'_>) -> Option<Range> {
    let voltage = table.quantity("voltage", Demand::Positive);
    let current = table.quantity("current", Demand::Positive);
    Some(Range::Supply(SupplyRange {
        voltage: voltage?,
        current: current?,
    }))
}

/// A load's out of `[range]`.
pub(super) fn load(table: &Table<'_>) -> Option<Range> {
    let voltage = table.quantity("voltage", Demand::Positive);
    let current = table.quantity("current", Demand::Positive);
    let power = table.quantity("power", Demand::Positive);
    let minimum_voltage = table.quantity("minimum_voltage", Demand::NotNegative);
    let short_resistance = table.optional_quantity("short_resistance", Demand::Positive);
    Some(Range::Load(LoadRange {
        voltage: voltage?,
        current: current?,
        power: power?,
        minimum_voltage: minimum_voltage?,
        short_resistance,
    }))
}

/// A capture's out of `[range]`.
pub(super) fn capture(table: &Table<'_>) -> Option<Range> {
    let channels = table.integer("channels", 1..=64);
    let lines = table.integer("lines", 0..=64);
    let voltage = table.quantity("voltage", Demand::Positive);
    let period = table.quantity("period", Demand::Positive);
    let samples = table.integer("samples", 100..=1_000_000_000);
    let bits = table.integer("bits", 6..=24);
    Some(Range::Capture(CaptureRange {
        channels: u32::try_from(channels?).ok()?,
        lines: u32::try_from(lines?).ok()?,
        voltage: voltage?,
        period: period?,
        samples: u64::try_from(samples?).ok()?,
        bits: u32::try_from(bits?).ok()?,
    }))
}

/// A switch's out of `[range]`.
pub(super) fn switch(table: &Table<'_>) -> Option<Range> {
    let channels = table.integer("channels", 1..=256);
    let shortest: Option<Seconds> = table.quantity("shortest_pulse", Demand::Positive);
    let longest: Option<Seconds> = table.quantity("longest_pulse", Demand::Positive);
    if let (Some(shortest), Some(longest)) = (shortest, longest)
        && shortest > longest
    {
        table.fault(
            Fault::error(
                &table.place_of("longest_pulse"),
                "the longest pulse is shorter than the shortest",
            )
            .expected(format!("{shortest} or more")),
        );
    }
    Some(Range::Switch(SwitchRange {
        channels: u32::try_from(channels?).ok()?,
        shortest_pulse: shortest?,
        longest_pulse: longest?,
    }))
}
