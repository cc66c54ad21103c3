//! The instruments of a bench that is written for a start: what is asked for, as tables
//! of its file. It reads no answers and opens no port.

use crate::cli::exit::Exit;
use crate::ident::{Role, harmless};
use crate::profile::by_hand;
use std::fmt::Write as _;

/// Roles of a bench that runs a plan's first scenarios.
pub(super) const USUAL: [Role; 5] = [
    Role::Supply,
    Role::Load,
    Role::Capture,
    Role::Switch,
    Role::Drive,
];

/// Who or what does a role's work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Worked {
    Instrument,
    Person,
    External,
}

/// The role of this word.
pub(super) fn role(word: &str) -> Result<Role, Exit> {
    let known = Role::ALL
        .into_iter()
        .find(|role| role.word() == word.trim());
    known.ok_or_else(|| {
        let words = Role::ALL.map(Role::word).join(", ");
        warn_line!("`{}` is no role: one of {words}", harmless(word));
        Exit::Usage
    })
}

/// Roles parted by commas, each once: `supply=person, load, drive=external`.
pub(super) fn roles_of(text: &str) -> Result<Vec<(Role, Worked)>, Exit> {
    let mut roles: Vec<(Role, Worked)> = text.split(',').map(worked).collect::<Result<_, _>>()?;
    roles.sort();
    roles.dedup();
    if let Some(pair) = roles.windows(2).find(|pair| pair[0].0 == pair[1].0) {
        warn_line!("the {} is named twice, each otherwise", pair[0].0);
        return Err(Exit::Usage);
    }
    Ok(roles)
}

fn worked(text: &str) -> Result<(Role, Worked), Exit> {
    let (word, by) = match text.split_once('=') {
        Some((word, by)) => (word, by.trim()),
        None => (text, ""),
    };
    let role = role(word)?;
    let (fits, worked) = match by {
        "" => (true, Worked::Instrument),
        "person" => (by_hand(role).is_some(), Worked::Person),
        "external" => (role == Role::Drive, Worked::External),
        _ => {
            let by = harmless(by);
            warn_line!(
                "`{role}={by}`: a role is worked by `person`, by what is `external`, or by an instrument where nothing is said"
            );
            return Err(Exit::Usage);
        }
    };
    if fits {
        return Ok((role, worked));
    }
    match worked {
        Worked::External => warn_line!("only a signal source sends by itself: `drive=external`"),
        _ => warn_line!("a {role} cannot be worked by a person: its times are too short"),
    }
    Err(Exit::Usage)
}

/// A table for each of `roles`, at the ports that were found as far as they reach.
pub(super) fn instruments(roles: &[(Role, Worked)], ports: &[String]) -> String {
    let mut text = String::new();
    if !ports.is_empty() {
        let _ = write!(text, "\n# Ports found: {}.\n", ports.join(", "));
    }
    let mut next = 0;
    for &(role, worked) in roles {
        let _ = write!(text, "\n[[instrument]]\nrole = \"{role}\"\n");
        match worked {
            Worked::Instrument => {
                let usual = format!("/dev/ttyUSB{next}");
                let port = ports.get(next).unwrap_or(&usual);
                next += 1;
                let other = other_ports(role);
                let _ = write!(
                    text,
                    "{other}\npath = \"{port}\"\n\
                     # Or a file of your own: bufferstop new profile my-{role}.toml --role {role}\n\
                     profile = \"{role}\"\n"
                );
            }
            Worked::Person => {
                let _ = write!(
                    text,
                    "# You are asked to set or read it, step by step. An instrument instead: path and\n\
                     # profile.\nperson = true\n"
                );
            }
            Worked::External => {
                let _ = write!(
                    text,
                    "# What it always sends, in words for the record. An instrument instead: path and\n\
                     # profile.\nexternal = \"idle packets\"\n"
                );
            }
        }
        let net = match role {
            Role::Capture => "earth",
            Role::Drive => "negative",
            _ => "isolated",
        };
        let _ = write!(
            text,
            "# What its low side is connected to: isolated, earth or negative.\nnet = \"{net}\"\n"
        );
    }
    text
}

/// Where else an instrument may be, and what does without one.
fn other_ports(role: Role) -> String {
    let other = "# Or tcp = \"host:port\", or usbtmc = \"/dev/usbtmc0\".";
    let without = match role {
        Role::Drive => {
            "\n# Without an instrument, in the place of path and profile: person = true where you\n\
             # work it, or external = \"idle packets\" where it always sends."
        }
        _ if by_hand(role).is_some() => {
            "\n# Without an instrument, in the place of path and profile: person = true where you\n\
             # set and read it."
        }
        _ => "",
    };
    format!("{other}{without}")
}

pub(super) const LINES: &str = r#"
[[line]]
number = 0
carries = "input a"

[[line]]
number = 1
carries = "input b"

[[line]]
number = 2
carries = "fault"
"#;

pub(super) const BRANCHES: &str = r#"
[[line]]
number = 3
carries = "marker"

[[line]]
number = 6
carries = "pilot"

# MEASURE: contact, fuse and a length of resistance wire that bounds the current.
[[branch]]
number = 1
closes = "near short"
resistance = "300 mohm"
inductance = "0.5 uH"
proof = "pilot current"
marker_line = 3
pilot_line = 6
bounce = "200 us"
"#;
