//! Instruments of a bench file: role, port, profile, what they share, and
//! calibration. No port is opened and no profile read.

use super::parts::*;
use crate::document::{Fault, Table, nearest};
use crate::ident::Role;
use crate::profile::shipped_names;

pub(super) fn instrument(table: &Table<'_>) -> Option<Instrument> {
    let role = table.word("role", Role::WORDS);
    let port = port(table);
    let profile = profile_ref(table);
    let net = table.word("net", Net::WORDS);
    let calibration = calibration(table);
    Some(Instrument {
        role: role?,
        port: port?,
        profile: profile?,
        net: net?,
        calibration,
    })
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
    let model = table
        .optional_boolean("model")
        .and_then(|yes| yes.then_some(Port::Model));
    let written = ["path", "tcp", "usbtmc", "usb", "model"]
        .iter()
        .filter(|key| table.has(key))
        .count();
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
                 `usbtmc = \"/dev/usbtmc0\"`, `usb = { vendor = ..., product = ... }`, `model = true`",
            ),
        );
        return None;
    }
    path.or(tcp).or(usbtmc).or(usb).or(model)
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
