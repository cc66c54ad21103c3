//! The capture device: set up, armed, asked whether it waits, and read out as
//! waveforms in SI units with the trust that profile and wiring put in them.

use super::confirmation::KEPT_WITHIN;
use super::fault::InstrumentError;
use super::session::{Session, has_bit};
use super::waveform::{Codes, Scales};
use crate::bench_file::{CaptureWiring, WiredChannel};
use crate::measurement::{combined, rectangular, resolution};
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::template::Argument;
use crate::units::Quantity;
use crate::waveform::{Capture, Channel, ChannelAccuracy, LogicTrack, Signal};

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
    /// An [`InstrumentError`]; [`InstrumentError::BeyondInstrument`] where the wiring or
    /// the device does not have what is asked for.
    pub async fn arm(&self, request: &CaptureRequest) -> Result<(), InstrumentError> {
        self.check(request)?;
        let session = self.session;
        let seconds = [("seconds", Argument::Number(request.period.si()))];
        session.act("set_period", &seconds).await?;
        let count = [("count", Argument::Integer(request.length.into()))];
        session.act("set_length", &count).await?;
        let count = [("count", Argument::Integer(request.before_trigger.into()))];
        session.act("set_before_trigger", &count).await?;
        for channel in &request.channels {
            self.set_up(channel).await?;
        }
        self.set_trigger(request.trigger).await?;
        // Its completion would be the end of the capture.
        session.start("arm", &[]).await?;
        if !session.confirms_a_start() {
            // Nobody knows yet that it has begun; lines are answered in order.
            self.status().await?;
        }
        Ok(())
    }

    /// Switches a channel on, with no factor and no offset of its own, and sets its
    /// range; what the profile has no command for, the instrument does not need.
    async fn set_up(&self, channel: &ChannelRequest) -> Result<(), InstrumentError> {
        let session = self.session;
        let wired = self.wired(channel.signal)?;
        let number = ("channel", Argument::Integer(wired.number.into()));
        let has = |name: &str| session.profile().command(name).is_some();
        if has("enable_channel") {
            session.act("enable_channel", &[number]).await?;
        }
        if has("probe_factor") {
            // The bench file's scale says what stands between signal and input.
            let factor = ("factor", Argument::Number(1.0));
            session.act("probe_factor", &[number, factor]).await?;
        }
        let volts = ("volts", Argument::Number(channel.range * wired.scale));
        session.act("set_range", &[number, volts]).await?;
        if has("set_offset") {
            let volts = ("volts", Argument::Number(0.0));
            session.act("set_offset", &[number, volts]).await?;
        }
        Ok(())
    }

    /// Whether it still says that it is set up for `request`, where its profile can
    /// ask.
    ///
    /// # Errors
    /// [`InstrumentError::ReadsBack`] when it is not, or any other of a question.
    pub(crate) async fn keeps(&self, request: &CaptureRequest) -> Result<(), InstrumentError> {
        let seconds = [("seconds", Argument::Number(request.period.si()))];
        self.session.keeps("set_period", &seconds).await?;
        let count = [("count", Argument::Integer(request.length.into()))];
        self.session.keeps("set_length", &count).await
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
        let session = self.session;
        let scales = Scales::read(session, wired.number, channel.range * wired.scale).await?;
        self.taken_as_asked(request, &scales).await?;
        if let Some(count) = scales.count
            && count != f64::from(request.length)
        {
            let wanted = request.length;
            return Err(session.data(format!("{wanted} samples asked for, it holds {count}")));
        }
        let number = Some(wired.number);
        let codes = Codes::read(session, "read_channel", number, request.length, &scales).await?;
        let meaning = codes.meaning(&scales);
        let range = scales.full_scale / wired.scale;
        let step = codes.step(&scales) / wired.scale;
        Ok(Channel {
            signal: channel.signal,
            clipped: scales.clipped.unwrap_or(codes.at_the_end),
            codes: codes.codes,
            scale: meaning.volts_per_code / wired.scale,
            offset: meaning.volts_at_zero / wired.scale,
            accuracy: self.accuracy(&wired, range, step),
        })
    }

    /// The samples have the period and the first instant that were asked for, as the
    /// device states them beside the samples: one that restarted while it was set up
    /// has a time base and a trigger of its own. A range of its own is in its scale.
    async fn taken_as_asked(
        &self,
        request: &CaptureRequest,
        scales: &Scales,
    ) -> Result<(), InstrumentError> {
        let period = request.period.si();
        match scales.period {
            Some(stated) => {
                let sent = ("seconds", period);
                self.session.same("set_period", sent, Some(stated))?;
            }
            None => {
                let seconds = [("seconds", Argument::Number(period))];
                self.session.keeps("set_period", &seconds).await?;
            }
        }
        let Some(first) = scales.first else {
            return Ok(());
        };
        // Where in a sample the trigger lies is the device's matter.
        let before = -first / scales.period.unwrap_or(period);
        let asked = f64::from(request.before_trigger);
        if (before - asked).abs() <= 1.0 + asked * KEPT_WITHIN {
            return Ok(());
        }
        self.session
            .same("set_before_trigger", ("count", asked), Some(before))
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
        if self.wiring.lines.is_empty() {
            return Ok(Vec::new());
        }
        let scales = Scales::none();
        let length = request.length;
        let read = Codes::read(self.session, "read_lines", None, length, &scales).await?;
        let words = read.words();
        let bit = |wired: &crate::bench_file::WiredLine| {
            let mask = 1_u16.checked_shl(wired.number).unwrap_or(0);
            (wired.line, mask)
        };
        let lines: Vec<_> = self.wiring.lines.iter().map(bit).collect();
        Ok(LogicTrack::from_words(&lines, &words))
    }
}
