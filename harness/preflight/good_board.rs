//! A good board as a dry run shows it: captures that are only as long as a
//! procedure needs in order to go on. Nothing is measured off them.

use crate::bench_file::CaptureWiring;
use crate::scenario::acquisition::CaptureRequest;
use crate::units::{Quantity, Seconds, Volts};
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};

/// Samples of the captures shown: two of each input level.
const SHOWN: u32 = 4;
/// The volts and amperes of one code.
const CODE: f64 = 1e-3;

/// What the board does at the moment.
#[derive(Clone, Copy, Debug)]
pub(super) struct GoodBoard {
    /// Its output is on.
    pub(super) alive: bool,
    /// Its output is the inverse of its input.
    pub(super) inverted: bool,
    /// Its supply rail.
    pub(super) supply: Volts,
    /// The upstream source's voltage.
    pub(super) upstream: Volts,
}

impl GoodBoard {
    /// A capture in which its output follows its input, with the lines that
    /// `wiring` has.
    pub(super) fn shown(
        self,
        request: &CaptureRequest,
        wiring: &CaptureWiring,
        label: &str,
    ) -> Capture {
        let channels = request.channels.iter().map(|channel| {
            let value = match channel.signal {
                Signal::NodeVoltage if self.alive => self.supply.si(),
                Signal::BoardSupply => self.supply.si(),
                Signal::UpstreamVoltage => self.upstream.si(),
                _ => 0.0,
            };
            let code = libm::round(value / CODE).clamp(-32_768.0, 32_767.0) as i16;
            let follows = channel.signal != Signal::BoardSupply;
            let sign = |high: bool| {
                if follows && high == self.inverted {
                    -1
                } else {
                    1
                }
            };
            Channel {
                signal: channel.signal,
                codes: (0..SHOWN).map(|at| code * sign(at < SHOWN / 2)).collect(),
                scale: CODE,
                offset: 0.0,
                clipped: false,
                accuracy: ChannelAccuracy {
                    gain_u: 0.0,
                    offset_u: 0.0,
                },
            }
        });
        let lines = wiring.lines.iter().map(|wired| {
            let input = matches!(wired.line, LogicLine::SignalA);
            LogicTrack {
                line: wired.line,
                initial: input,
                changes: if input { vec![SHOWN / 2] } else { Vec::new() },
            }
        });
        Capture {
            label: label.to_owned(),
            period: request.period,
            first: Seconds::ZERO,
            time_base_u: 0.0,
            channels: channels.collect(),
            lines: lines.collect(),
        }
    }
}
