//! What is tried of an instrument in each role, with values that hurt nothing. It
//! sends nothing.

use super::fault::InstrumentError;
use crate::ident::Role;
use crate::template::Argument;

/// The voltage that a supply is set to, and a channel's range.
pub(super) const VOLTS: f64 = 1.0;
/// The current that a supply is limited to, and a load draws.
const AMPERES: f64 = 0.1;
/// The resistance that a load stands for.
const OHMS: f64 = 1000.0;
/// How long a load's pulse and ramp take.
const SHORT: f64 = 0.01;

/// What a contact is called whose bench is not known.
pub const FIRST_CONTACT: &str = "the first contact";

pub(super) type Values = &'static [(&'static str, Argument<'static>)];

/// One command with what is sent.
#[derive(Clone, Copy, Debug)]
pub struct Try {
    /// Its name in the profile.
    pub command: &'static str,
    pub(super) values: Values,
    pub(super) kind: Kind,
    /// What it lets in or closes, where it does: to be agreed to first. A contact is
    /// called [`FIRST_CONTACT`] there.
    pub energises: Option<&'static str>,
}

#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
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
    energising(
        "short_pulse",
        Kind::Start,
        &[("seconds", number(SHORT))],
        "shorts the load's input for 10 ms",
    ),
    one("shorted", Kind::Truth),
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
    one("enable_setting", Kind::Truth),
    one("signal_off", Kind::Act),
    one("signal_setting", Kind::Truth),
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
