//! What each role needs its instrument to understand and to state: command names
//! with the placeholders they offer, status bits, ranges and accuracies. Adding a role
//! is a table here and its line in [`needs`]; no text is read here.

use super::range::{self, Range};
use crate::document::Table;
use crate::ident::Role;
use crate::units::Dimension;

/// A command of a role.
#[derive(Clone, Copy, Debug)]
pub struct CommandNeed {
    /// Its name in the profile.
    pub name: &'static str,
    /// The placeholders it offers; the template must use each of them and no
    /// other.
    pub placeholders: &'static [&'static str],
}

/// What a role needs.
#[derive(Debug)]
pub struct RoleNeeds {
    /// Commands that must be there.
    pub commands: &'static [CommandNeed],
    /// Commands that may be there.
    pub optional: &'static [CommandNeed],
    /// Commands that may be there too and by which an instrument confirms what it
    /// was told.
    pub confirming: &'static [CommandNeed],
    /// Bits that must be named in `[condition]`.
    pub condition: &'static [&'static str],
    /// Bits that must be named in `[operation]`.
    pub operation: &'static [&'static str],
    /// Reads `[range]`, where the role has one.
    pub range: Option<fn(&Table<'_>) -> Option<Range>>,
    /// Tables that must be in `[accuracy]`.
    pub accuracy: &'static [(&'static str, Dimension)],
    /// Whether it can put energy into a board, so that something must make it safe.
    pub can_energise: bool,
    /// The text of the profile that comes with the program.
    pub shipped: &'static str,
}

const fn plain(name: &'static str) -> CommandNeed {
    with(name, &[])
}

const fn with(name: &'static str, placeholders: &'static [&'static str]) -> CommandNeed {
    CommandNeed { name, placeholders }
}

const VOLTMETER: (&str, Dimension) = ("measure_voltage", Dimension::Voltage);
const AMMETER: (&str, Dimension) = ("measure_current", Dimension::Current);

/// By these an instrument confirms what it was told; what one that lacks them did
/// is known by what is measured.
const CONFIRMING: [CommandNeed; 4] = [
    plain("clear"),
    plain("error"),
    plain("complete"),
    plain("event_status"),
];

static SUPPLY: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        with("set_voltage", &["volts"]),
        with("set_current_limit", &["amperes"]),
        plain("output_on"),
        plain("output_off"),
        plain("measure_voltage"),
        plain("measure_current"),
    ],
    optional: &[
        plain("condition"),
        plain("voltage_setting"),
        plain("limit_setting"),
    ],
    confirming: &CONFIRMING,
    condition: &["current_limiting", "over_voltage", "over_temperature"],
    operation: &[],
    range: Some(range::supply),
    accuracy: &[VOLTMETER, AMMETER],
    can_energise: true,
    shipped: include_str!("../../fixtures/profiles/supply.toml"),
};

static LOAD: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        plain("operation"),
        plain("constant_current"),
        plain("constant_resistance"),
        with("set_current", &["amperes"]),
        with("set_resistance", &["ohms"]),
        plain("input_on"),
        plain("input_off"),
        with("pulse", &["amperes", "seconds"]),
        with("ramp", &["from_amperes", "to_amperes", "seconds"]),
        plain("stop"),
        plain("measure_voltage"),
        plain("measure_current"),
    ],
    optional: &[plain("condition")],
    confirming: &CONFIRMING,
    condition: &[
        "over_voltage",
        "over_current",
        "over_power",
        "over_temperature",
    ],
    operation: &["running"],
    range: Some(range::load),
    accuracy: &[VOLTMETER, AMMETER, ("set_current", Dimension::Current)],
    can_energise: true,
    shipped: include_str!("../../fixtures/profiles/load.toml"),
};

static CAPTURE: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        plain("clear"),
        plain("error"),
        plain("complete"),
        plain("operation"),
        with("set_period", &["seconds"]),
        with("set_length", &["count"]),
        with("set_before_trigger", &["count"]),
        with("set_range", &["channel", "volts"]),
        with("trigger_line", &["line", "slope"]),
        with("trigger_channel", &["channel", "volts", "slope"]),
        plain("trigger_now"),
        plain("arm"),
        plain("stop"),
        with("preamble", &["channel"]),
        with("read_channel", &["channel", "start", "count"]),
        with("read_lines", &["start", "count"]),
    ],
    optional: &[plain("event_status")],
    confirming: &[],
    condition: &[],
    operation: &["waiting_for_trigger", "running"],
    range: Some(range::capture),
    accuracy: &[("channel", Dimension::Voltage)],
    can_energise: false,
    shipped: include_str!("../../fixtures/profiles/capture.toml"),
};

static SWITCH: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        plain("operation"),
        with("pulse", &["channel", "seconds"]),
        with("close", &["channel"]),
        with("open", &["channel"]),
        plain("open_all"),
        with("closed", &["channel"]),
    ],
    optional: &[with("continuity", &["channel"])],
    confirming: &CONFIRMING,
    condition: &[],
    operation: &["running"],
    range: Some(range::switch),
    accuracy: &[],
    can_energise: true,
    shipped: include_str!("../../fixtures/profiles/switch.toml"),
};

static DRIVE: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        with("pattern", &["pattern"]),
        with("hold", &["polarity"]),
        plain("signal_on"),
        plain("signal_off"),
        with("set_enable", &["state"]),
        with("set_brake", &["state"]),
    ],
    optional: &[with("break_line", &["input"])],
    confirming: &CONFIRMING,
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[],
    can_energise: true,
    shipped: include_str!("../../fixtures/profiles/drive.toml"),
};

static CONSOLE: RoleNeeds = RoleNeeds {
    commands: &[plain("identify"), plain("sense"), plain("state")],
    optional: &[plain("error")],
    confirming: &[],
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[],
    can_energise: false,
    shipped: include_str!("../../fixtures/profiles/console.toml"),
};

static THERMOMETER: RoleNeeds = RoleNeeds {
    commands: &[
        plain("identify"),
        plain("error"),
        plain("measure_temperature"),
    ],
    optional: &[plain("clear"), plain("event_status")],
    confirming: &[],
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[("measure_temperature", Dimension::TemperatureDifference)],
    can_energise: false,
    shipped: include_str!("../../fixtures/profiles/thermometer.toml"),
};

/// What `role` needs.
pub const fn needs(role: Role) -> &'static RoleNeeds {
    match role {
        Role::Supply => &SUPPLY,
        Role::Load => &LOAD,
        Role::Capture => &CAPTURE,
        Role::Switch => &SWITCH,
        Role::Drive => &DRIVE,
        Role::Console => &CONSOLE,
        Role::Thermometer => &THERMOMETER,
    }
}
