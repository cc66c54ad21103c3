//! Every command of a profile in turn, with values that hurt nothing, to find out
//! whether an instrument understands them and answers as the profile says. It knows
//! no plan and no board, and lets no energy in unless its caller agrees.

use super::fault::InstrumentError;
use super::session::Session;
use super::{CaptureDevice, CaptureStatus};
use crate::bench_file::{CaptureWiring, WiredChannel, WiredLine};
use crate::ident::Role;
use crate::profile::{Profile, measured};
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::template::Argument;
use crate::units::{Quantity as _, Seconds, show};
use crate::waveform::{LogicLine, Signal};
use std::collections::BTreeMap;
use std::time::Duration;

/// The voltage that a supply is set to.
const VOLTS: f64 = 1.0;
/// The current that a supply is limited to, and a load draws.
const AMPERES: f64 = 0.1;
/// The resistance that a load stands for.
const OHMS: f64 = 1000.0;
/// How long a load's pulse and ramp take.
const SHORT: f64 = 0.01;
/// Samples of the capture.
const SAMPLES: u32 = 64;
/// How often it is asked whether what was started is over, for a capture beyond the time
/// that its samples take, and how long apart.
const LOOKS: u32 = 50;
const BETWEEN_LOOKS: Duration = Duration::from_millis(20);

/// What a contact is called whose bench is not known.
pub const FIRST_CONTACT: &str = "the first contact";

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

type Values = &'static [(&'static str, Argument<'static>)];

/// One command with what is sent.
#[derive(Clone, Copy, Debug)]
pub struct Try {
    /// Its name in the profile.
    pub command: &'static str,
    values: Values,
    kind: Kind,
    /// What it lets in or closes, where it does: to be agreed to first. A contact is
    /// called [`FIRST_CONTACT`] there.
    pub energises: Option<&'static str>,
}

#[derive(Clone, Copy, Debug)]
enum Kind {
    /// It is confirmed as the profile says.
    Act,
    /// Its end is not awaited.
    Start,
    /// A text.
    Text,
    /// A number.
    Number,
    /// The setting that this command made, which must be what was sent.
    Setting(&'static str),
    /// Bits by name.
    Bits,
    /// A truth value of the first channel.
    Truth,
    /// A whole capture, with all that it takes.
    Capture,
}

impl Try {
    /// Whether nothing may be switched on any more after it ended with `fault`: the
    /// instrument did not do what it was told, its setting is another one, or its port
    /// failed. A measured value that cannot be read alone forbids nothing.
    pub const fn forbids(&self, fault: &InstrumentError) -> bool {
        let tells = matches!(self.kind, Kind::Act | Kind::Start | Kind::Setting(_));
        tells || matches!(fault, InstrumentError::Link { .. })
    }
}

const fn one(command: &'static str, kind: Kind) -> Try {
    with(command, kind, &[])
}

const fn with(command: &'static str, kind: Kind, values: Values) -> Try {
    Try {
        command,
        values,
        kind,
        energises: None,
    }
}

const fn energising(command: &'static str, kind: Kind, values: Values, what: &'static str) -> Try {
    Try {
        command,
        values,
        kind,
        energises: Some(what),
    }
}

/// The question `command` after the setting that `made` it with `values`.
const fn setting(command: &'static str, made: &'static str, values: Values) -> Try {
    with(command, Kind::Setting(made), values)
}

const fn number(value: f64) -> Argument<'static> {
    Argument::Number(value)
}

const SET_LIMIT: Values = &[("amperes", number(AMPERES))];
const SET_VOLTAGE: Values = &[("volts", number(VOLTS))];
const SET_CURRENT: Values = &[("amperes", number(AMPERES))];
const SET_RESISTANCE: Values = &[("ohms", number(OHMS))];

const FIRST: (&str, Argument<'static>) = ("channel", Argument::Integer(1));

const EVENTS: Try = one("event_status", Kind::Bits);

const SUPPLY: &[Try] = &[
    EVENTS,
    one("output_off", Kind::Act),
    with("set_current_limit", Kind::Act, SET_LIMIT),
    setting("limit_setting", "set_current_limit", SET_LIMIT),
    with("set_voltage", Kind::Act, SET_VOLTAGE),
    setting("voltage_setting", "set_voltage", SET_VOLTAGE),
    one("condition", Kind::Bits),
    one("measure_voltage", Kind::Number),
    one("measure_current", Kind::Number),
    energising(
        "output_on",
        Kind::Act,
        &[],
        "puts 1 V, limited to 100 mA, at the supply's output",
    ),
    one("measure_voltage", Kind::Number),
    one("measure_current", Kind::Number),
    one("output_off", Kind::Act),
];

const LOAD: &[Try] = &[
    EVENTS,
    one("input_off", Kind::Act),
    with("set_resistance", Kind::Act, SET_RESISTANCE),
    setting("resistance_setting", "set_resistance", SET_RESISTANCE),
    one("constant_resistance", Kind::Act),
    with("set_current", Kind::Act, SET_CURRENT),
    one("constant_current", Kind::Act),
    setting("current_setting", "set_current", SET_CURRENT),
    one("condition", Kind::Bits),
    one("operation", Kind::Bits),
    one("measure_voltage", Kind::Number),
    one("measure_current", Kind::Number),
    energising(
        "input_on",
        Kind::Act,
        &[],
        "switches the load's input on, at 100 mA",
    ),
    one("measure_current", Kind::Number),
    one("input_off", Kind::Act),
    energising(
        "pulse",
        Kind::Start,
        &[("amperes", number(AMPERES)), ("seconds", number(SHORT))],
        "draws a pulse of 100 mA for 10 ms by the load",
    ),
    energising(
        "ramp",
        Kind::Start,
        &[
            ("from_amperes", number(0.0)),
            ("to_amperes", number(AMPERES)),
            ("seconds", number(SHORT)),
        ],
        "draws a ramp up to 100 mA in 10 ms by the load",
    ),
    one("operation", Kind::Bits),
    one("stop", Kind::Act),
    one("input_off", Kind::Act),
];

const CAPTURE: &[Try] = &[
    EVENTS,
    one("operation", Kind::Bits),
    one("stop", Kind::Act),
    with(
        "trigger_line",
        Kind::Act,
        &[
            ("line", Argument::Integer(0)),
            ("slope", Argument::Text("POS")),
        ],
    ),
    with(
        "trigger_channel",
        Kind::Act,
        &[
            FIRST,
            ("volts", number(VOLTS)),
            ("slope", Argument::Text("NEG")),
        ],
    ),
    one("arm", Kind::Capture),
];

const SWITCH: &[Try] = &[
    EVENTS,
    one("open_all", Kind::Act),
    with("open", Kind::Act, &[FIRST]),
    with("closed", Kind::Truth, &[FIRST]),
    with("continuity", Kind::Truth, &[FIRST]),
    one("operation", Kind::Bits),
    energising(
        "pulse",
        Kind::Start,
        &[FIRST, ("seconds", number(SHORT))],
        "closes the first contact for 10 ms",
    ),
    one("operation", Kind::Bits),
    with("closed", Kind::Truth, &[FIRST]),
    energising(
        "close",
        Kind::Act,
        &[FIRST],
        "closes the first contact until the next lines open it",
    ),
    with("closed", Kind::Truth, &[FIRST]),
    with("open", Kind::Act, &[FIRST]),
    one("open_all", Kind::Act),
    with("closed", Kind::Truth, &[FIRST]),
];

const DRIVE: &[Try] = &[
    EVENTS,
    with("set_enable", Kind::Act, &[("state", Argument::Integer(0))]),
    one("signal_off", Kind::Act),
    with("set_brake", Kind::Act, &[("state", Argument::Integer(0))]),
    with("hold", Kind::Act, &[("polarity", Argument::Text("POS"))]),
    with("hold", Kind::Act, &[("polarity", Argument::Text("NEG"))]),
    with("pattern", Kind::Act, &[("pattern", Argument::Text("ONES"))]),
    with(
        "break_line",
        Kind::Act,
        &[("input", Argument::Text("NONE"))],
    ),
    energising(
        "signal_on",
        Kind::Act,
        &[],
        "puts the track signal on the board's inputs",
    ),
    one("signal_off", Kind::Act),
];

const CONSOLE: &[Try] = &[
    one("error", Kind::Text),
    one("sense", Kind::Number),
    one("state", Kind::Text),
];

const THERMOMETER: &[Try] = &[EVENTS, one("measure_temperature", Kind::Number)];

/// Commands without a try of their own, and what sends them all the same, where the
/// profile has them.
pub const SENT_ALONG: &[(&str, &str)] = &[
    ("identify", "before all others"),
    ("clear", "behind the identity"),
    ("complete", "with what is confirmed"),
    ("error", "with what is confirmed"),
    ("set_period", "by the capture"),
    ("period_setting", "by the capture"),
    ("set_length", "by the capture"),
    ("length_setting", "by the capture"),
    ("set_before_trigger", "by the capture"),
    ("enable_channel", "by the capture"),
    ("probe_factor", "by the capture"),
    ("set_offset", "by the capture"),
    ("set_range", "by the capture"),
    ("trigger_now", "by the capture"),
    ("select_channel", "by the capture"),
    ("preamble", "by the capture"),
    ("read_channel", "by the capture"),
    ("read_lines", "by the capture"),
];

/// What is tried of an instrument in `role`, in this order; it is identified
/// before. What makes it safe is left to the caller.
pub const fn tries(role: Role) -> &'static [Try] {
    match role {
        Role::Supply => SUPPLY,
        Role::Load => LOAD,
        Role::Capture => CAPTURE,
        Role::Switch => SWITCH,
        Role::Drive => DRIVE,
        Role::Console => CONSOLE,
        Role::Thermometer => THERMOMETER,
    }
}

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
