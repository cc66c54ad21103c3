//! Which number of the capture device sees what, from the bench file. It
//! turns a file's words into the words of captures and back.

use super::{Bench, Carries, Closes, Measures};
use crate::units::Quantity;
use crate::waveform::{LogicLine, Signal};

/// One analogue channel and what it sees.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WiredChannel {
    /// What it measures.
    pub signal: Signal,
    /// Its number on the device.
    pub number: u32,
    /// Volts at the input for one SI unit of what is measured.
    pub scale: f64,
    /// Standard uncertainty of the scale, relative.
    pub scale_u: f64,
    /// Largest magnitude of what is measured, in SI units.
    pub range: f64,
}

/// One logic line and what it carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WiredLine {
    /// What it shows.
    pub line: LogicLine,
    /// Its number on the device, from zero.
    pub number: u32,
}

/// Everything the capture device sees.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CaptureWiring {
    /// Analogue channels.
    pub channels: Vec<WiredChannel>,
    /// Logic lines.
    pub lines: Vec<WiredLine>,
}

impl CaptureWiring {
    /// The wiring that a bench file states. Lines that no scenario reads are
    /// left out. Markers and pilots go by the branches that name them; a line
    /// that several branches share shows the marker of each.
    pub fn of(bench: &Bench) -> Self {
        let channels = bench
            .channels
            .iter()
            .map(|channel| WiredChannel {
                signal: signal(channel.measures),
                number: channel.number,
                scale: channel.scale,
                scale_u: channel.uncertainty.si(),
                range: channel.range,
            })
            .collect();
        let lines = bench
            .lines
            .iter()
            .flat_map(|line| {
                let number = line.number;
                let shown = shown(bench, line.carries, number);
                shown
                    .into_iter()
                    .map(move |line| WiredLine { line, number })
            })
            .collect();
        Self { channels, lines }
    }

    /// The channel that sees `signal`.
    pub fn channel(&self, signal: Signal) -> Option<&WiredChannel> {
        self.channels.iter().find(|c| c.signal == signal)
    }

    /// The number of the line that shows `line`.
    pub fn line(&self, line: LogicLine) -> Option<u32> {
        let found = self.lines.iter().find(|l| l.line == line);
        found.map(|l| l.number)
    }
}

fn signal(measures: Measures) -> Signal {
    match measures {
        Measures::NodeVoltage => Signal::NodeVoltage,
        Measures::OutputCurrent => Signal::OutputCurrent,
        Measures::BoardSupply => Signal::BoardSupply,
        Measures::GapCurrent => Signal::GapCurrent,
        Measures::UpstreamVoltage => Signal::UpstreamVoltage,
    }
}

fn shown(bench: &Bench, carries: Carries, number: u32) -> Vec<LogicLine> {
    let branches = bench.branches.iter();
    let mut lines: Vec<LogicLine> = match carries {
        Carries::InputA => vec![LogicLine::SignalA],
        Carries::InputB => vec![LogicLine::SignalB],
        Carries::Fault => vec![LogicLine::Fault],
        Carries::Marker => branches
            .filter(|branch| branch.marker_line == Some(number))
            .filter_map(|branch| marker(branch.closes))
            .collect(),
        Carries::Pilot => branches
            .filter(|branch| branch.pilot_line == Some(number))
            .filter_map(|branch| pilot(branch.closes))
            .collect(),
    };
    lines.dedup();
    lines
}

fn marker(closes: Closes) -> Option<LogicLine> {
    match closes {
        Closes::NearShort => Some(LogicLine::NearMarker),
        Closes::FarShort => Some(LogicLine::FarMarker),
        Closes::GapStraight | Closes::GapCrossed => Some(LogicLine::GapMarker),
        Closes::CapacitorBank | Closes::ResistorBank | Closes::SupplyLoad => None,
    }
}

fn pilot(closes: Closes) -> Option<LogicLine> {
    match closes {
        Closes::NearShort => Some(LogicLine::NearPilot),
        Closes::FarShort => Some(LogicLine::FarPilot),
        _ => None,
    }
}
