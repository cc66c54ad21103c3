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
    /// The placeholders it offers; the template must use each of them.
    pub placeholders: &'static [&'static str],
    /// Placeholders that it may use beside them, and no other.
    pub may: &'static [&'static str],
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
    part(name, placeholders, &[])
}

const fn part(
    name: &'static str,
    placeholders: &'static [&'static str],
    may: &'static [&'static str],
) -> CommandNeed {
    CommandNeed {
        name,
        placeholders,
        may,
    }
}

/// A command that is there where another is.
pub(super) const TOGETHER: [(&str, &str); 11] = [
    // What was started must be seen to be over, and stopped.
    ("pulse", "operation"),
    ("ramp", "operation"),
    ("ramp", "stop"),
    ("short_pulse", "operation"),
    ("short_pulse", "stop"),
    ("short_pulse", "shorted"),
    ("constant_resistance", "set_resistance"),
    ("set_resistance", "constant_resistance"),
    ("constant_resistance", "constant_current"),
    ("signal_off", "signal_on"),
    ("signal_on", "signal_off"),
];

/// The question by which the setting that `command` made is read back, where the
/// instrument has no error queue.
pub fn read_back_by(command: &str) -> Option<&'static str> {
    Some(match command {
        "set_voltage" => "voltage_setting",
        "set_current_limit" => "limit_setting",
        "set_current" => "current_setting",
        "set_resistance" => "resistance_setting",
        "set_period" => "period_setting",
        "set_length" => "length_setting",
        _ => return None,
    })
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
        with("set_current", &["amperes"]),
        plain("input_on"),
        plain("input_off"),
        plain("measure_current"),
    ],
    optional: &[
        plain("operation"),
        plain("condition"),
        plain("constant_current"),
        plain("constant_resistance"),
        with("set_resistance", &["ohms"]),
        with("pulse", &["amperes", "seconds"]),
        with("ramp", &["from_amperes", "to_amperes", "seconds"]),
        with("short_pulse", &["seconds"]),
        plain("shorted"),
        plain("stop"),
        plain("measure_voltage"),
        plain("current_setting"),
        plain("resistance_setting"),
    ],
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
        plain("operation"),
        with("set_period", &["seconds"]),
        with("set_length", &["count"]),
        with("set_before_trigger", &["count"]),
        with("set_range", &["channel", "volts"]),
        plain("trigger_now"),
        plain("arm"),
        plain("stop"),
        part("read_channel", &[], &["channel", "start", "count", "last"]),
    ],
    optional: &[
        with("enable_channel", &["channel"]),
        part("probe_factor", &["channel"], &["factor"]),
        part("set_offset", &["channel"], &["volts"]),
        with("trigger_line", &["line", "slope"]),
        with("trigger_channel", &["channel", "volts", "slope"]),
        with("select_channel", &["channel"]),
        part("preamble", &[], &["channel"]),
        part("read_lines", &[], &["start", "count", "last"]),
        plain("period_setting"),
        plain("length_setting"),
    ],
    confirming: &CONFIRMING,
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
        plain("open_all"),
        part("closed", &[], &["channel"]),
    ],
    optional: &[
        plain("operation"),
        with("pulse", &["channel", "seconds"]),
        with("close", &["channel"]),
        with("open", &["channel"]),
        part("continuity", &[], &["channel"]),
    ],
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
        plain("signal_on"),
        plain("signal_off"),
        with("set_enable", &["state"]),
    ],
    optional: &[
        with("pattern", &["pattern"]),
        with("hold", &["polarity"]),
        with("set_brake", &["state"]),
        with("break_line", &["input"]),
        plain("enable_setting"),
        plain("signal_setting"),
    ],
    confirming: &CONFIRMING,
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[],
    can_energise: true,
    shipped: include_str!("../../fixtures/profiles/drive.toml"),
};

static CONSOLE: RoleNeeds = RoleNeeds {
    commands: &[plain("identify")],
    optional: &[plain("sense"), plain("state"), plain("error")],
    confirming: &[],
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[],
    can_energise: false,
    shipped: include_str!("../../fixtures/profiles/console.toml"),
};

static THERMOMETER: RoleNeeds = RoleNeeds {
    commands: &[plain("identify"), plain("measure_temperature")],
    optional: &[plain("clear"), plain("error"), plain("event_status")],
    confirming: &[],
    condition: &[],
    operation: &[],
    range: None,
    accuracy: &[("measure_temperature", Dimension::TemperatureDifference)],
    can_energise: false,
    shipped: include_str!("../../fixtures/profiles/thermometer.toml"),
};

/// The name of the profile of a source that always sends.
pub const EXTERNAL: &str = "external source";

/// The name of the profile by which a person does what `role` does, where one can.
pub const fn by_hand(role: Role) -> Option<&'static str> {
    match role {
        Role::Supply => Some("supply by hand"),
        Role::Drive => Some("drive by hand"),
        Role::Console => Some("console by hand"),
        Role::Thermometer => Some("thermometer by hand"),
        Role::Load | Role::Capture | Role::Switch => None,
    }
}

/// The text of a profile for what is no instrument.
pub(super) fn without_instrument(name: &str) -> Option<&'static str> {
    Some(match name {
        "supply by hand" => include_str!("../../fixtures/profiles/by-hand/supply.toml"),
        "drive by hand" => include_str!("../../fixtures/profiles/by-hand/drive.toml"),
        "console by hand" => include_str!("../../fixtures/profiles/by-hand/console.toml"),
        "thermometer by hand" => include_str!("../../fixtures/profiles/by-hand/thermometer.toml"),
        EXTERNAL => include_str!("../../fixtures/profiles/by-hand/external.toml"),
        _ => return None,
    })
}

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
