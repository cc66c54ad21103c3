//! Instruments of a bench file: role, port, profile, what they share, and
//! calibration. No port is opened and no profile read.

use super::parts::*;
use crate::document::{Fault, Table, nearest};
use crate::ident::Role;
use crate::profile::{EXTERNAL, by_hand, shipped_names};

/// The keys of which one says where an instrument is reached.
const PORTS: [&str; 7] = [
    "path", "tcp", "usbtmc", "usb", "model", "person", "external",
];

pub(super) fn instrument(table: &Table<'_>) -> Option<Instrument> {
    let role = table.word("role", Role::WORDS);
    let port = port(table);
    let alone = role.zip(port.as_ref());
    let by_itself = alone.and_then(|(role, port)| without_profile(role, port));
    let profile = match by_itself {
        Some(profile) if !table.has("profile") => Some(profile),
        Some(_) => profile_ref(table).filter(|profile| in_words(table, profile)),
        None => profile_ref(table),
    };
    if let Some((role, port)) = alone {
        workable(table, role, port);
    }
    let net = table.word("net", Net::WORDS);
    let at = probed(table, role);
    let calibration = calibration(table);
    Some(Instrument {
        role: role?,
        port: port?,
        profile: profile?,
        net: net?,
        at,
        calibration,
    })
}

/// Where the probe is; only a thermometer has one.
fn probed(table: &Table<'_>, role: Option<Role>) -> Probed {
    let at = table.optional_word("at", Probed::WORDS);
    if table.has("at")
        && let Some(role) = role.filter(|role| *role != Role::Thermometer)
    {
        let message = format!("a {role} has no probe that is anywhere");
        table.fault(
            Fault::error(&table.place_of("at"), message)
                .expected("no `at`, or role = \"thermometer\""),
        );
    }
    at.unwrap_or(Probed::HeatSink)
}

/// The profile that a role without an instrument has unless it states another.
fn without_profile(role: Role, port: &Port) -> Option<ProfileRef> {
    let name = match port {
        Port::Person => by_hand(role)?,
        Port::External(_) => EXTERNAL,
        _ => return None,
    };
    Some(ProfileRef::Shipped(name.to_owned()))
}

/// A profile of one's own may word what a person is asked; one that speaks to an
/// instrument does not.
fn in_words(table: &Table<'_>, profile: &ProfileRef) -> bool {
    let own = matches!(profile, ProfileRef::Path(_)) && !table.has("external");
    if !own {
        let message = "this profile speaks to an instrument, and there is none";
        table.fault(
            Fault::error(&table.place_of("profile"), message)
                .expected("no `profile`; a person's own words stand in a file"),
        );
    }
    own
}

/// What a person is quick enough for, and what may be left to itself.
fn workable(table: &Table<'_>, role: Role, port: &Port) {
    let (key, message, expected) = match port {
        Port::Person if by_hand(role).is_none() => (
            "person",
            format!("a {role} cannot be worked by a person: its times are too short"),
            "a supply, a drive, a console or a thermometer, or an instrument's port",
        ),
        Port::External(_) if role != Role::Drive => (
            "external",
            format!("a {role} cannot be left to itself, only a signal source can"),
            "role = \"drive\", or an instrument's port",
        ),
        _ => return,
    };
    table.fault(Fault::error(&table.place_of(key), message).expected(expected));
}

fn port(table: &Table<'_>) -> Option<Port> {
    let path = table.optional_string("path").map(Port::Path);
    let tcp = table
        .optional_string("tcp")
        .and_then(|text| address(table, text));
    let usbtmc = table.optional_string("usbtmc").map(Port::Usbtmc);
    let usb = table.optional_table("usb").and_then(|usb| {
        let vendor = table_u16(&usb, "vendor");
        let product = table_u16(&usb, "product");
        let serial = usb.optional_string("serial");
        usb.finish();
        Some(Port::Usb {
            vendor: vendor?,
            product: product?,
            serial,
        })
    });
    let person = table
        .optional_boolean("person")
        .and_then(|yes| yes.then_some(Port::Person));
    let external = table.optional_string("external").map(Port::External);
    let model = table
        .optional_boolean("model")
        .and_then(|yes| yes.then_some(Port::Model));
    let written = PORTS.iter().filter(|key| table.has(key)).count();
    if written != 1 {
        table.fault(
            Fault::error(
                table.place(),
                if written == 0 {
                    "this instrument has no port"
                } else {
                    "this instrument has more than one port"
                },
            )
            .expected(
                "one of `path = \"/dev/...\"`, `tcp = \"host:port\"`, \
                 `usbtmc = \"/dev/usbtmc0\"`, `usb = { vendor = ..., product = ... }`, `model = true`, \
                 `person = true`, `external = \"what it always sends\"`",
            ),
        );
        return None;
    }
    path.or(tcp)
        .or(usbtmc)
        .or(usb)
        .or(person)
        .or(external)
        .or(model)
}

fn address(table: &Table<'_>, text: String) -> Option<Port> {
    let parts = text.rsplit_once(':');
    let sound = parts.is_some_and(|(host, port)| {
        !host.is_empty() && port.parse::<u16>().is_ok_and(|port| port > 0)
    });
    if !sound {
        let message = "this is no address of a socket";
        table.fault(
            Fault::error(&table.place_of("tcp"), message)
                .expected("a host and a port, as in \"bench-load:5025\""),
        );
        return None;
    }
    Some(Port::Tcp(text))
}

fn table_u16(table: &Table<'_>, key: &str) -> Option<u16> {
    u16::try_from(table.integer(key, 0..=0xFFFF)?).ok()
}

fn profile_ref(table: &Table<'_>) -> Option<ProfileRef> {
    let text = table.string("profile")?;
    if shipped_names().contains(&text.as_str()) {
        return Some(ProfileRef::Shipped(text));
    }
    if text.ends_with(".toml") {
        return Some(ProfileRef::Path(text));
    }
    let near = nearest(&text, shipped_names());
    table.fault(
        Fault::error(
            &table.place_of("profile"),
            format!("no profile '{text}' comes with the program"),
        )
        .expected(format!(
            "one of {}, or a file that ends in .toml",
            shipped_names().join(", ")
        ))
        .maybe_hint(near.map(|near| format!("did you mean \"{near}\"?"))),
    );
    None
}

fn calibration(table: &Table<'_>) -> Option<Calibration> {
    const DATE: &str = "a date such as 2026-03-01";
    let on: Option<jiff::civil::Date> = table.optional_parsed("calibrated", DATE);
    let due: Option<jiff::civil::Date> = table.optional_parsed("due", DATE);
    let certificate = table.optional_string("certificate");
    if !table.has("calibrated") && !table.has("due") && !table.has("certificate") {
        return None;
    }
    if let (Some(on), Some(due)) = (on, due)
        && due < on
    {
        table.fault(
            Fault::error(&table.place_of("due"), "due before it was calibrated")
                .expected(format!("{on} or later")),
        );
    }
    for key in ["calibrated", "due", "certificate"] {
        if !table.has(key) {
            table.missing(
                key,
                "a calibration states its date, when it is due and its certificate",
            );
        }
    }
    Some(Calibration {
        on: on?,
        due: due?,
        certificate: certificate?,
    })
}
