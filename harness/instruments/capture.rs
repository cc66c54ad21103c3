//! The capture device: set up, armed, asked whether it waits, and read out as
//! waveforms in SI units with the trust that profile and wiring put in them.

use super::fault::InstrumentError;
use super::session::Session;
use super::switch::has_bit;
use crate::bench_file::{CaptureWiring, WiredChannel};
use crate::measurement::{combined, rectangular, resolution};
use crate::protocol;
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::template::Argument;
use crate::units::Quantity;
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicTrack, Signal};

/// Samples asked for in one answer: 1 MiB of data at two bytes each.
const SAMPLES_A_READ: u32 = 524_288;

/// How far a capture has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CaptureStatus {
    /// It samples and waits for its trigger.
    Waiting,
    /// It fills up: before it can be triggered, or after it was.
    Running,
    /// It is over, or was never started.
    Idle,
}

/// A sampling capture device.
#[derive(Clone, Copy, Debug)]
pub struct CaptureDevice<'a> {
    session: &'a Session,
    wiring: &'a CaptureWiring,
}

/// What a channel's codes mean, in volts at the input. The answer lists, in
/// this order: samples, period, time of the first one, volts a code, volts at
/// code zero, whether it was clipped, bits of the converter.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Preamble {
    count: f64,
    volts_per_code: f64,
    volts_at_zero: f64,
    clipped: bool,
    bits: u32,
}

impl Preamble {
    /// The range that the device chose, which may be wider than was asked.
    fn full_scale(self) -> f64 {
        self.volts_per_code * f64::from(1_u32 << (self.bits - 1))
    }
}

impl<'a> CaptureDevice<'a> {
    /// The device behind `session`, wired as the bench file states.
    pub const fn new(session: &'a Session, wiring: &'a CaptureWiring) -> Self {
        Self { session, wiring }
    }

    /// What it sees.
    pub fn wiring(&self) -> &CaptureWiring {
        self.wiring
    }

    /// Sets it up and arms it.
    ///
    /// # Errors
    /// An [`InstrumentError`]; [`InstrumentError::Reach`] where the wiring or
    /// the device does not have what is asked for.
    pub async fn arm(&self, request: &CaptureRequest) -> Result<(), InstrumentError> {
        self.check(request)?;
        let session = &self.session;
        let seconds = [("seconds", Argument::Number(request.period.si()))];
        session.act("set_period", &seconds).await?;
        let count = [("count", Argument::Integer(request.length.into()))];
        session.act("set_length", &count).await?;
        let count = [("count", Argument::Integer(request.before_trigger.into()))];
        session.act("set_before_trigger", &count).await?;
        for channel in &request.channels {
            let wired = self.wired(channel.signal)?;
            let arguments = [
                ("channel", Argument::Integer(wired.number.into())),
                ("volts", Argument::Number(channel.range * wired.scale)),
            ];
            session.act("set_range", &arguments).await?;
        }
        self.set_trigger(request.trigger).await?;
        // Its completion would be the end of the capture.
        session.start("arm", &[]).await
    }

    /// Gives up a capture.
    pub async fn stop(&self) -> Result<(), InstrumentError> {
        self.session.act("stop", &[]).await
    }

    /// How far it has come.
    pub async fn status(&self) -> Result<CaptureStatus, InstrumentError> {
        let bits = self.session.bits("operation").await?;
        let has = |name| has_bit(&self.session.profile().operation, name, bits);
        Ok(if has("waiting_for_trigger") {
            CaptureStatus::Waiting
        } else if has("running") {
            CaptureStatus::Running
        } else {
            CaptureStatus::Idle
        })
    }

    /// Reads out the capture that `request` asked for, which must be over.
    ///
    /// # Errors
    /// An [`InstrumentError`].
    pub async fn read_out(
        &self,
        request: &CaptureRequest,
        label: &str,
    ) -> Result<Capture, InstrumentError> {
        let mut channels = Vec::with_capacity(request.channels.len());
        for channel in &request.channels {
            channels.push(self.read_channel(request, channel).await?);
        }
        let lines = if request.lines {
            self.read_lines(request).await?
        } else {
            Vec::new()
        };
        let accuracy = self.session.profile().accuracy.get("channel");
        let time_base = accuracy.map_or(0.0, |accuracy| accuracy.time_base.si());
        let capture = Capture {
            label: label.to_owned(),
            period: request.period,
            first: -request.before(),
            time_base_u: rectangular(time_base),
            channels,
            lines,
        };
        capture
            .checked()
            .map_err(|fault| self.session.data(fault.to_string()))
    }

    fn check(&self, request: &CaptureRequest) -> Result<(), InstrumentError> {
        if request.length == 0 || request.before_trigger >= request.length {
            return Err(self.session.reach(format!(
                "{} samples with {} before the trigger is no capture",
                request.length, request.before_trigger
            )));
        }
        if let Some(range) = self.session.profile().capture_range() {
            if u64::from(request.length) > range.samples {
                let most = range.samples;
                return Err(self.session.reach(format!(
                    "{} samples asked for, it keeps {most}",
                    request.length
                )));
            }
            if request.period < range.period {
                let (wanted, shortest) = (request.period, range.period);
                return Err(self.session.reach(format!(
                    "a period of {wanted} asked for, its shortest is {shortest}"
                )));
            }
        }
        Ok(())
    }

    fn wired(&self, signal: Signal) -> Result<&WiredChannel, InstrumentError> {
        let wired = self.wiring.channel(signal);
        wired.ok_or_else(|| {
            self.session
                .reach(format!("the bench has no channel for the {signal}"))
        })
    }

    async fn set_trigger(&self, trigger: Trigger) -> Result<(), InstrumentError> {
        let slope = |rising| Argument::Text(if rising { "POS" } else { "NEG" });
        match trigger {
            Trigger::Now => self.session.act("trigger_now", &[]).await,
            Trigger::Line { line, rising } => {
                let number = self.wiring.line(line).ok_or_else(|| {
                    self.session
                        .reach(format!("the bench has no line for the {line}"))
                })?;
                let arguments = [
                    ("line", Argument::Integer(number.into())),
                    ("slope", slope(rising)),
                ];
                self.session.act("trigger_line", &arguments).await
            }
            Trigger::Channel {
                signal,
                level,
                rising,
            } => {
                let wired = self.wired(signal)?;
                let arguments = [
                    ("channel", Argument::Integer(wired.number.into())),
                    ("volts", Argument::Number(level * wired.scale)),
                    ("slope", slope(rising)),
                ];
                self.session.act("trigger_channel", &arguments).await
            }
        }
    }

    async fn read_channel(
        &self,
        request: &CaptureRequest,
        channel: &ChannelRequest,
    ) -> Result<Channel, InstrumentError> {
        let wired = *self.wired(channel.signal)?;
        let number = ("channel", Argument::Integer(wired.number.into()));
        let answer = self.session.ask("preamble", &[number]).await?;
        let preamble = self.preamble(&answer)?;
        if preamble.count != f64::from(request.length) {
            let (wanted, found) = (request.length, preamble.count);
            return Err(self
                .session
                .data(format!("{wanted} samples asked for, it holds {found}")));
        }
        let words = self
            .read_words("read_channel", Some(number), request.length)
            .await?;
        let scale = preamble.volts_per_code / wired.scale;
        Ok(Channel {
            signal: channel.signal,
            codes: words.into_iter().map(u16::cast_signed).collect(),
            scale,
            offset: preamble.volts_at_zero / wired.scale,
            clipped: preamble.clipped,
            accuracy: self.accuracy(&wired, preamble.full_scale() / wired.scale, scale),
        })
    }

    /// The profile's accuracy is a rectangle either side (GUM 4.3.7); the
    /// sensor's uncertainty is stated as a standard one.
    fn accuracy(&self, wired: &WiredChannel, range: f64, step: f64) -> ChannelAccuracy {
        let Some(accuracy) = self.session.profile().accuracy.get("channel") else {
            return ChannelAccuracy {
                gain_u: wired.scale_u,
                offset_u: resolution(step),
            };
        };
        let fixed = accuracy.fixed_of_range.si() * range + accuracy.fixed / wired.scale;
        ChannelAccuracy {
            gain_u: combined([rectangular(accuracy.reading.si()), wired.scale_u]),
            offset_u: combined([rectangular(fixed), resolution(step)]),
        }
    }

    async fn read_lines(
        &self,
        request: &CaptureRequest,
    ) -> Result<Vec<LogicTrack>, InstrumentError> {
        let words = self.read_words("read_lines", None, request.length).await?;
        let bit = |wired: &crate::bench_file::WiredLine| {
            let mask = 1_u16.checked_shl(wired.number).unwrap_or(0);
            (wired.line, mask)
        };
        let lines: Vec<_> = self.wiring.lines.iter().map(bit).collect();
        Ok(LogicTrack::from_words(&lines, &words))
    }

    /// Reads `length` words of two bytes, the high one first, in parts.
    async fn read_words(
        &self,
        command: &'static str,
        number: Option<(&'static str, Argument<'static>)>,
        length: u32,
    ) -> Result<Vec<u16>, InstrumentError> {
        let mut words = Vec::with_capacity(length as usize);
        let mut start = 0;
        while start < length {
            let count = SAMPLES_A_READ.min(length - start);
            let mut arguments: Vec<_> = number.into_iter().collect();
            arguments.push(("start", Argument::Integer(start.into())));
            arguments.push(("count", Argument::Integer(count.into())));
            let bytes = 2 * count as usize;
            let block = self.session.block(command, &arguments, bytes).await?;
            if block.len() != bytes {
                let found = block.len();
                return Err(self
                    .session
                    .data(format!("{bytes} bytes asked for, {found} came")));
            }
            let pairs = block.chunks_exact(2);
            words.extend(pairs.map(|pair| u16::from_be_bytes([pair[0], pair[1]])));
            start += count;
        }
        Ok(words)
    }

    fn preamble(&self, answer: &str) -> Result<Preamble, InstrumentError> {
        let readings = protocol::list(answer.as_bytes())
            .map_err(|fault| self.session.answer_fault("preamble", fault))?;
        let values: Vec<f64> = readings.iter().filter_map(|r| r.value()).collect();
        match values[..] {
            [count, _, _, volts_per_code, volts_at_zero, clipped, bits]
                if volts_per_code > 0.0 && (2.0..=16.0).contains(&bits) =>
            {
                Ok(Preamble {
                    count,
                    volts_per_code,
                    volts_at_zero,
                    clipped: clipped != 0.0,
                    bits: bits as u32,
                })
            }
            _ => Err(self
                .session
                .data(format!("`{}` is no preamble", answer.escape_debug()))),
        }
    }
}
