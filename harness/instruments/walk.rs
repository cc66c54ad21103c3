//! Every command of a profile in turn, with values that hurt nothing, to find out
//! whether an instrument understands them and answers as the profile says. It knows
//! no plan and no board, and lets no energy in unless its caller agrees.

use super::fault::InstrumentError;
use super::session::Session;
use super::tries::{Kind, Try, VOLTS};
use super::{CaptureDevice, CaptureStatus};
use crate::bench_file::{CaptureWiring, WiredChannel, WiredLine};
use crate::profile::{Profile, measured};
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::units::{Quantity as _, Seconds, show};
use crate::waveform::{LogicLine, Signal};
use std::collections::BTreeMap;
use std::time::Duration;

/// Samples of the capture.
const SAMPLES: u32 = 64;
/// How often it is asked whether what was started is over, for a capture beyond the time
/// that its samples take, and how long apart.
const LOOKS: u32 = 50;
const BETWEEN_LOOKS: Duration = Duration::from_millis(20);

/// Bits of the standard event status register (IEEE 488.2, clause 11.5.1; from memory).
const STANDARD_EVENTS: [(&str, u32); 8] = [
    ("operation complete", 1),
    ("request control", 2),
    ("query error", 4),
    ("device error", 8),
    ("execution error", 16),
    ("command error", 32),
    ("user request", 64),
    ("power on", 128),
];

/// Tries one command and says what it found.
///
/// # Errors
/// An [`InstrumentError`] that says what did not fit.
pub async fn attempt(session: &Session, one: &Try) -> Result<String, InstrumentError> {
    match one.kind {
        Kind::Act => {
            session.act(one.command, one.values).await?;
            Ok("taken".to_owned())
        }
        Kind::Start => {
            session.start(one.command, one.values).await?;
            over(session).await?;
            Ok("taken".to_owned())
        }
        Kind::Text => {
            let text = session.ask(one.command, one.values).await?;
            Ok(format!("\"{}\"", text.escape_debug()))
        }
        Kind::Number => {
            let reading = session.number(one.command, one.values).await?;
            Ok(number_shown(one.command, reading.value()))
        }
        Kind::Setting(made) => {
            let reading = session.kept_setting(made, one.values).await?;
            Ok(number_shown(one.command, reading.value()))
        }
        Kind::Truth => {
            let is = session.truth(one.command, 1).await?;
            Ok(if is { "yes" } else { "no" }.to_owned())
        }
        Kind::Bits => {
            let bits = session.bits(one.command).await?;
            let profile = session.profile();
            let own = |named: &'_ BTreeMap<String, u32>| -> Vec<(String, u32)> {
                let own = named.iter().map(|(name, weight)| (name.clone(), *weight));
                own.collect()
            };
            let named = match one.command {
                "condition" => own(&profile.condition),
                "operation" => own(&profile.operation),
                _ => STANDARD_EVENTS
                    .map(|(name, weight)| (name.to_owned(), weight))
                    .into(),
            };
            let set = named.iter().filter(|(_, weight)| bits & weight != 0);
            let set: Vec<&str> = set.map(|(name, _)| name.as_str()).collect();
            Ok(match set.as_slice() {
                [] => format!("{bits}: nothing"),
                set => format!("{bits}: {}", set.join(", ")),
            })
        }
        Kind::Capture => capture(session).await,
    }
}

/// Waits until what was started is over, so that what follows finds nothing running;
/// an instrument that cannot be asked has the time of one look.
async fn over(session: &Session) -> Result<(), InstrumentError> {
    for _ in 0..LOOKS {
        tokio::time::sleep(BETWEEN_LOOKS).await;
        if !session.running().await? {
            return Ok(());
        }
    }
    Err(session.data("what takes a moment did not end"))
}

fn number_shown(command: &str, value: Option<f64>) -> String {
    match (value, measured(command)) {
        (Some(value), Some(dimension)) => show(value, dimension),
        (Some(value), None) => value.to_string(),
        (None, _) => "no number at this moment".to_owned(),
    }
}

/// A short capture of the first channel.
async fn capture(session: &Session) -> Result<String, InstrumentError> {
    let wiring = wiring(session.profile());
    let device = CaptureDevice::new(session, &wiring);
    let range = session.profile().capture_range();
    let fastest = range.map_or(Seconds::ZERO, |range| range.period);
    let request = CaptureRequest {
        period: Seconds::new(1e-6).max(fastest),
        length: SAMPLES,
        before_trigger: 0,
        trigger: Trigger::Now,
        channels: vec![ChannelRequest {
            signal: Signal::NodeVoltage,
            range: VOLTS.min(range.map_or(VOLTS, |range| range.voltage.si())),
        }],
        lines: session.profile().command("read_lines").is_some(),
    };
    device.arm(&request).await?;
    let most = most_looks(request.period, request.length);
    let mut looks = 0;
    while device.status().await? != CaptureStatus::Idle {
        looks += 1;
        if looks > most {
            device.stop().await?;
            return Err(session.data("a capture that starts at once did not end"));
        }
        tokio::time::sleep(BETWEEN_LOOKS).await;
    }
    let taken = device.read_out(&request, "trial").await?;
    let Some(channel) = taken.channels.first() else {
        return Err(session.data("no channel was read out"));
    };
    let volts = |code: &i16| channel.offset + channel.scale * f64::from(*code);
    let (least, largest) = channel.codes.iter().map(volts).fold(
        (f64::INFINITY, f64::NEG_INFINITY),
        |(least, largest), volts| (least.min(volts), largest.max(volts)),
    );
    let dimension = Signal::NodeVoltage.dimension();
    Ok(format!(
        "{} samples from {} to {}",
        channel.codes.len(),
        show(least, dimension),
        show(largest, dimension)
    ))
}

/// How often it is asked at the most whether `samples`, `period` apart, are taken: for
/// their own time, and for a second more.
fn most_looks(period: Seconds, samples: u32) -> u32 {
    let takes = period.si() * f64::from(samples);
    let of_samples = libm::ceil(takes / BETWEEN_LOOKS.as_secs_f64());
    // Past the largest count it is the largest.
    LOOKS.saturating_add(of_samples as u32)
}

/// The first channel as it is, and the first line where there are lines.
fn wiring(profile: &Profile) -> CaptureWiring {
    let range = profile.capture_range();
    let lines = range.is_some_and(|range| range.lines > 0);
    CaptureWiring {
        channels: vec![WiredChannel {
            signal: Signal::NodeVoltage,
            number: 1,
            scale: 1.0,
            scale_u: 0.0,
            range: range.map_or(VOLTS, |range| range.voltage.si()),
        }],
        lines: lines
            .then_some(WiredLine {
                line: LogicLine::SignalA,
                number: 0,
            })
            .into_iter()
            .collect(),
    }
}
