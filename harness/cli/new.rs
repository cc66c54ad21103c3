//! `bufferstop new`: a commented file to start from, of each kind, from a few numbers
//! that are given or asked for. It writes over nothing and opens no port.

mod instruments;

use self::instruments::{BRANCHES, LINES, USUAL, instruments, role, roles_of};
use super::arguments::{NewFile, NewKind};
use super::bench::found_ports;
use super::exit::Exit;
use super::output::Output;
use super::records::{Existing, whole};
use crate::bench_file;
use crate::document::{Fault, Source};
use crate::ident::{LotName, Role, harmless};
use crate::model_board;
use crate::plan;
use crate::profile::{self, needs};
use crate::units::{Amperes, Quantity, Volts};
use serde_json::json;
use std::io::{BufRead as _, IsTerminal as _, Write as _};

const PLAN: &str = include_str!("../../fixtures/new/plan.toml");
const BENCH: &str = include_str!("../../fixtures/new/bench.toml");
const BOARD: &str = include_str!("../../fixtures/new/board.toml");
const LOT: &str = include_str!("../../fixtures/new/lot.toml");

const STOP: &str = "the emergency stop and what it cuts (--emergency-stop)";
const FUSE: &str = "the fuse in the board's supply (--supply-fuse)";

/// Resistance that bounds the current of a short on the bench that is written: the
/// branch's own and the least that a board has, in ohms.
const SHORT_THROUGH: f64 = 0.4;

/// The least trip current for one ampere of rated current: an eighth above it.
const LEAST_MARGIN: f64 = 1.125;

/// The longest closure that the plan that is written asks for, and a tenth more.
const SHORT_FOR: f64 = 1.1;

pub(super) fn new(arguments: &NewFile, output: Output) -> Exit {
    match written(arguments, output) {
        Ok(()) => Exit::Pass,
        Err(exit) => exit,
    }
}

fn written(arguments: &NewFile, output: Output) -> Result<(), Exit> {
    let path = &arguments.file;
    // Nobody answers questions for a file that cannot be written.
    if path.symlink_metadata().is_ok() {
        return whole(path, b"", Existing::Stays);
    }
    let answers = Answers {
        arguments,
        asks: std::io::stdin().is_terminal() && std::io::stdout().is_terminal() && !output.json,
    };
    let text = match arguments.kind {
        NewKind::Plan => answers.plan()?,
        NewKind::Bench => answers.bench()?,
        NewKind::Profile => answers.profile()?,
        NewKind::Board => answers.board()?,
        NewKind::Lot => answers.lot()?,
    };
    let name = path.display().to_string();
    let source = Source::new(&name, text.as_str());
    let faults = faults(arguments.kind, &source);
    if !faults.is_empty() {
        // Numbers that do not fit together are the person's; the text is ours.
        warn_text!("{}", crate::document::render(&faults, &[source], true));
        warn_line!("nothing was written: these numbers make no sound file");
        return Err(Exit::Usage);
    }
    whole(path, text.as_bytes(), Existing::Stays)?;
    let kind = arguments.kind.word();
    let of_profile = profile::parse(&source).ok();
    let can_energise = of_profile.is_none_or(|(own, _)| needs(own.role).can_energise);
    if output.json {
        output.document(&json!({ "written": name, "kind": kind }));
    } else {
        say_line!(
            "{} is written: change what it says, then  bufferstop check {}",
            harmless(&name),
            harmless(&name)
        );
        if can_energise {
            say_line!("Its numbers are a start, no advice: they are for you to measure and state.");
        }
    }
    Ok(())
}

/// What is wrong with a text of this kind.
fn faults(kind: NewKind, source: &Source) -> Vec<Fault> {
    match kind {
        NewKind::Plan => plan::parse(std::slice::from_ref(source)).err(),
        NewKind::Bench => bench_file::parse(source).err(),
        NewKind::Profile => profile::parse(source).err(),
        NewKind::Board => model_board::parse(source).err(),
        NewKind::Lot => plan::parse_lot(source).err(),
    }
    .unwrap_or_default()
}

struct Answers<'a> {
    arguments: &'a NewFile,
    /// Whether a person can be asked.
    asks: bool,
}

impl Answers<'_> {
    /// The answer given as an option, or typed, or `usual`.
    fn answer(&self, given: Option<&String>, question: &str, usual: &str) -> Result<String, Exit> {
        if let Some(given) = given {
            return Ok(given.clone());
        }
        if !self.asks {
            return Ok(usual.to_owned());
        }
        say!("{question} [{usual}]: ");
        // A question that cannot be shown is one that nobody answers.
        let _ = std::io::stdout().flush();
        let mut line = String::new();
        let read = std::io::stdin().lock().read_line(&mut line);
        match read {
            Ok(count) if count > 0 => {}
            _ => return Err(Exit::Usage),
        }
        let typed = line.trim();
        Ok(if typed.is_empty() { usual } else { typed }.to_owned())
    }

    fn quantity<Q: Quantity>(
        &self,
        given: Option<&String>,
        question: &str,
        usual: &str,
    ) -> Result<f64, Exit> {
        let text = self.answer(given, question, usual)?;
        match crate::units::parse_si(&text, Q::DIMENSION) {
            Ok(si) if si > 0.0 => Ok(si),
            _ => {
                let noun = Q::DIMENSION.noun();
                warn_line!(
                    "{question}: `{}` is not {noun} such as {usual}",
                    harmless(&text)
                );
                Err(Exit::Usage)
            }
        }
    }

    fn text(&self, given: Option<&String>, question: &str, usual: &str) -> Result<String, Exit> {
        let text = self.answer(given, question, usual)?;
        let plain = !text.contains(['"', '\\']) && !text.chars().any(char::is_control);
        if plain && !text.trim().is_empty() {
            return Ok(text);
        }
        warn_line!("{question}: a plain text without quotes is wanted");
        Err(Exit::Usage)
    }

    /// What nobody may make up for a bench: given or typed.
    fn stated(&self, given: &Option<String>, question: &str) -> Result<String, Exit> {
        let text = self.answer(given.as_ref(), question, "")?;
        if text.trim().is_empty() {
            warn_line!("a bench needs one: state {question}");
            return Err(Exit::Usage);
        }
        self.text(Some(&text), question, "")
    }

    fn voltage(&self) -> Result<f64, Exit> {
        let given = self.arguments.voltage.as_ref();
        self.quantity::<Volts>(given, "supply voltage of the board", "18 V")
    }

    fn currents(&self) -> Result<(f64, f64), Exit> {
        let rated = self.arguments.rated_current.as_ref();
        let rated = self.quantity::<Amperes>(rated, "current that it carries", "3 A")?;
        let usual = format!("{} A", rounded(rated * 4.0 / 3.0));
        let trip = self.arguments.trip_current.as_ref();
        let trip = self.quantity::<Amperes>(trip, "current at which it trips", &usual)?;
        if trip < rated * LEAST_MARGIN {
            warn_line!("the trip current must be at least an eighth above the rated one");
            return Err(Exit::Usage);
        }
        Ok((rated, trip))
    }

    fn family(&self) -> Result<String, Exit> {
        let given = self.arguments.family.as_ref();
        self.text(given, "family of boards", "my booster")
    }

    fn signal_lines(&self) -> Result<String, Exit> {
        let given = self.arguments.signal_lines.map(|lines| lines.to_string());
        self.answer(given.as_ref(), "signal lines, 1 or 2", "2")
    }

    fn plan(&self) -> Result<String, Exit> {
        let family = self.family()?;
        let (rated, trip) = self.currents()?;
        let volts = self.voltage()?;
        let lines = self.signal_lines()?;
        Ok(filled(
            PLAN,
            &[
                ("family", family),
                // What was stated stands as it was stated.
                ("rated", rated.to_string()),
                ("trip", trip.to_string()),
                ("voltage", volts.to_string()),
                ("lines", lines),
                ("loss", "hold".to_owned()),
                // What bridge and wires drop (common practice, no source).
                ("lowest_output", rounded(volts - 2.0)),
                ("highest_output", rounded(volts + 0.6)),
                ("ramp_to", rounded(1.4 * trip)),
                ("hold", rounded(0.5 * (rated + 0.9 * trip))),
                ("least_trip", rounded(0.9 * trip)),
                ("most_trip", rounded(1.1 * trip)),
            ],
        ))
    }

    fn bench(&self) -> Result<String, Exit> {
        let name = self.arguments.name.as_ref();
        let name = self.text(name, "name of the bench", "my bench")?;
        let volts = self.voltage()?;
        let usual = USUAL.map(Role::word).join(",");
        let roles = self.arguments.roles.as_ref();
        let question = "roles, parted by commas, as `supply=person` where a person works it";
        let roles = self.answer(roles, question, &usual)?;
        let roles = roles_of(&roles)?;
        let peak = libm::ceil(volts / SHORT_THROUGH);
        let has = |role: Role, text: &str| {
            let text = if roles.iter().any(|(own, _)| *own == role) {
                text
            } else {
                ""
            };
            text.to_owned()
        };
        Ok(filled(
            BENCH,
            &[
                ("name", name),
                ("instruments", instruments(&roles, &found_ports())),
                ("lines", has(Role::Capture, LINES)),
                ("branches", has(Role::Switch, BRANCHES)),
                ("peak", rounded(peak)),
                ("let_through", rounded(libm::ceil(SHORT_FOR * peak * peak))),
                ("stop", self.stated(&self.arguments.emergency_stop, STOP)?),
                ("fuse", self.stated(&self.arguments.supply_fuse, FUSE)?),
                ("most_volts", rounded(libm::ceil(1.2 * volts))),
            ],
        ))
    }

    fn role(&self) -> Result<Role, Exit> {
        let given = self.arguments.role.as_ref();
        let word = self.answer(given, "role of the instrument", "load")?;
        role(&word)
    }

    fn profile(&self) -> Result<String, Exit> {
        let role = self.role()?;
        let head = format!(
            "# How to talk to a {role}: made by `bufferstop new profile`, from the profile that \
             comes\n# with the program. Replace each command by your instrument's own, as its \
             manual has it;\n# `bufferstop guide profile` lists every key. Then try it:\n# \
             bufferstop bench --try FILE --port /dev/ttyUSB0\n#\n"
        );
        let shipped = needs(role).shipped;
        let own = shipped.replace(
            "identifies_as = '^BUFFERSTOP MODEL,",
            "identifies_as = '^MAKER,",
        );
        Ok(head + &own)
    }

    fn board(&self) -> Result<String, Exit> {
        let name = self.family()?;
        let (_, trip) = self.currents()?;
        let lines = self.signal_lines()?;
        Ok(filled(
            BOARD,
            &[("name", name), ("trip", rounded(trip)), ("lines", lines)],
        ))
    }

    fn lot(&self) -> Result<String, Exit> {
        let family = self.family()?;
        let name = self.arguments.name.as_ref();
        let name = self.text(name, "name of the lot", "MB-2026-01")?;
        if let Err(fault) = name.parse::<LotName>() {
            warn_line!("name of the lot: {fault}");
            return Err(Exit::Usage);
        }
        Ok(filled(LOT, &[("name", name), ("family", family)]))
    }
}

/// `template` with each `{gap}` filled.
fn filled(template: &str, gaps: &[(&str, String)]) -> String {
    let fill =
        |text: String, (gap, value): &(&str, String)| text.replace(&format!("{{{gap}}}"), value);
    gaps.iter().fold(template.to_owned(), fill)
}

/// A value that follows from what was stated, to three digits.
fn rounded(value: f64) -> String {
    let digits = (2 - libm::floor(libm::log10(value.abs().max(1e-9))) as i32).clamp(0, 9);
    let text = format!("{value:.*}", digits.unsigned_abs() as usize);
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::preflight::Preflight;
    use std::collections::BTreeMap;

    fn asked(kind: NewKind, voltage: &str, rated: &str, trip: &str) -> NewFile {
        NewFile {
            kind,
            file: "new.toml".into(),
            rated_current: Some(rated.to_owned()),
            trip_current: Some(trip.to_owned()),
            voltage: Some(voltage.to_owned()),
            signal_lines: None,
            family: None,
            name: None,
            role: None,
            roles: None,
            emergency_stop: Some("red button, cuts the mains".to_owned()),
            supply_fuse: Some("10 A".to_owned()),
        }
    }

    fn text(arguments: &NewFile) -> String {
        let asks = false;
        let answers = Answers { arguments, asks };
        let text = match arguments.kind {
            NewKind::Plan => answers.plan(),
            NewKind::Bench => answers.bench(),
            NewKind::Profile => answers.profile(),
            NewKind::Board => answers.board(),
            NewKind::Lot => answers.lot(),
        };
        text.expect("answers that make a file")
    }

    /// Whatever the currents and the voltage: sound alone, and the plan on the bench.
    #[test]
    fn what_is_written_is_sound() {
        for (rated, trip) in [
            ("1 A", "1.5 A"),
            ("3 A", "4 A"),
            ("5 A", "6 A"),
            ("8 A", "10 A"),
        ] {
            for voltage in ["12 V", "16 V", "18 V", "22 V"] {
                let of = |kind| Source::new("n.toml", text(&asked(kind, voltage, rated, trip)));
                for kind in NewKind::ALL {
                    let faults = faults(kind, &of(kind));
                    assert!(faults.is_empty(), "{voltage} {rated}: {faults:#?}");
                }
                let (plan, _) = plan::parse(&[of(NewKind::Plan)]).expect("sound");
                let (bench, _) = bench_file::parse(&of(NewKind::Bench)).expect("sound");
                let profiles: BTreeMap<_, _> = USUAL
                    .iter()
                    .map(|role| (*role, profile::shipped(role.word()).expect("shipped")))
                    .collect();
                let found = Preflight::of(&plan, &bench, &profiles);
                let errors = found.faults.iter();
                let errors: Vec<_> = errors
                    .filter(|fault| fault.severity == crate::document::Severity::Error)
                    .collect();
                assert!(errors.is_empty(), "{voltage} {rated}: {errors:#?}");
            }
        }
    }

    /// With each of the roles that a person or an external source can have, the plan
    /// that is written fits as far as the bench can work it.
    #[test]
    fn roles_without_an_instrument_make_a_sound_bench() {
        for roles in [
            "supply=person,load,capture,switch,drive",
            "supply, load, capture, drive=external",
            "supply=person,drive=person,capture,console=person,thermometer=person",
        ] {
            let mut arguments = asked(NewKind::Bench, "18 V", "3 A", "4 A");
            arguments.roles = Some(roles.to_owned());
            let source = Source::new("n.toml", text(&arguments));
            let (bench, _) = bench_file::parse(&source).expect("sound");
            let ports = bench.instruments.iter();
            let by_hand = ports.filter(|i| matches!(i.port, bench_file::Port::Person));
            assert_eq!(by_hand.count(), roles.matches("=person").count(), "{roles}");
        }
        for roles in [
            "load=person",
            "supply=external",
            "drive=cat",
            "drive,drive=person",
        ] {
            assert!(roles_of(roles).is_err(), "{roles}");
        }
    }

    #[test]
    fn every_role_has_a_profile_to_start_from() {
        for role in Role::ALL {
            let mut arguments = asked(NewKind::Profile, "18 V", "3 A", "4 A");
            arguments.role = Some(role.word().to_owned());
            let source = Source::new("n.toml", text(&arguments));
            let faults = faults(NewKind::Profile, &source);
            assert!(faults.is_empty(), "{role}: {faults:#?}");
        }
    }

    #[test]
    fn numbers_are_written_as_people_write_them() {
        for (value, text) in [
            (3.0, "3"),
            (4.4, "4.4"),
            (0.333_33, "0.333"),
            (1234.0, "1234"),
        ] {
            assert_eq!(rounded(value), text);
        }
    }
}
