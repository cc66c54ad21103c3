//! A bench file's text to a checked bench. How its parts must fit together is
//! checked in `sound`.

use super::parts::*;
use super::{Bench, Conductor, ModelBench, sound};
use crate::document::{Demand, Fault, Faults, Kind, Reader, Source, Table, Tree, nearest};
use crate::ident::Role;
use crate::model_board::{Branch, FIXTURE, FixtureParameters};
use crate::profile::SHIPPED;
use crate::units::{Dimension, Henries, Ohms, Quantity, Ratio, Seconds, Volts, parse_si};

/// Reads a bench file.
///
/// # Errors
/// Every fault in the text.
pub fn parse(source: &Source) -> Result<(Bench, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let bench = bench(&Table::of(&tree, &reader));
    reader.conclude(bench)
}

fn bench(root: &Table<'_>) -> Option<Bench> {
    root.format();
    let name = root.table("bench").and_then(|head| {
        let name = head.string("name");
        head.finish();
        name
    });
    let instruments = listed(root, "instrument", instrument);
    let wiring = root.table("wiring").and_then(|t| wiring(&t));
    let sensor = wiring.map(|wiring| wiring.sensor);
    let channels = listed(root, "channel", |t| channel(t, sensor));
    let lines = listed(root, "line", logic_line);
    let bus = wiring.map(|wiring| (wiring.bus_resistance, wiring.bus_inductance));
    let branches = listed(root, "branch", |t| branch(t, bus));
    let upstream_written = root.has("upstream");
    let upstream = root.optional_table("upstream").and_then(|t| upstream(&t));
    let envelope = root.table("envelope").and_then(|t| envelope(&t));
    let safety = safety(root);
    let model_table = root.optional_table("model");
    root.finish();
    if upstream_written && upstream.is_none() {
        return None;
    }
    let mut bench = Bench {
        name: name?,
        model: None,
        instruments: instruments?,
        wiring: wiring?,
        channels: channels?,
        lines: lines?,
        branches: branches?,
        upstream,
        envelope: envelope?,
        safety,
        places: root.reader().places(),
    };
    bench.instruments.sort_by_key(|instrument| instrument.role);
    if let Some(table) = model_table {
        bench.model = Some(model(&table, &bench));
    } else if bench.instruments.iter().any(|i| i.port == Port::Model) {
        bench.model = Some(ModelBench {
            fixture: stated_fixture(&bench),
            board: None,
        });
    }
    bench.places = root.reader().places();
    sound::check(&bench, root);
    Some(bench)
}

/// Every table of a list, or nothing when one of them is faulty; every one is
/// read to its end either way.
fn listed<T>(root: &Table<'_>, key: &str, one: impl Fn(&Table<'_>) -> Option<T>) -> Option<Vec<T>> {
    let read: Vec<Option<T>> = root
        .tables(key)
        .iter()
        .map(|table| {
            let value = one(table);
            table.finish();
            value
        })
        .collect();
    read.into_iter().collect()
}

fn instrument(table: &Table<'_>) -> Option<Instrument> {
    let roles = Role::ALL.map(|role| (role.word(), role));
    let role = table.word("role", &roles);
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
    let written = ["path", "usb", "model"]
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
                "one of `path = \"/dev/...\"`, `usb = { vendor = ..., product = ... }`, \
                 `model = true`",
            ),
        );
        return None;
    }
    path.or(usb).or(model)
}

fn table_u16(table: &Table<'_>, key: &str) -> Option<u16> {
    u16::try_from(table.integer(key, 0..=0xFFFF)?).ok()
}

fn profile_ref(table: &Table<'_>) -> Option<ProfileRef> {
    let text = table.string("profile")?;
    if SHIPPED.contains(&text.as_str()) {
        return Some(ProfileRef::Shipped(text));
    }
    if text.ends_with(".toml") {
        return Some(ProfileRef::Path(text));
    }
    let near = nearest(&text, SHIPPED);
    table.fault(
        Fault::error(
            &table.place_of("profile"),
            format!("no profile '{text}' comes with the program"),
        )
        .expected(format!(
            "one of {}, or a file that ends in .toml",
            SHIPPED.join(", ")
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

fn wiring(table: &Table<'_>) -> Option<Wiring> {
    let supply_resistance = table.quantity("supply_resistance", Demand::NotNegative);
    let lead_resistance = table.quantity("lead_resistance", Demand::Positive);
    let lead_inductance = table.quantity("lead_inductance", Demand::Positive);
    let bus_resistance = bus_resistance(table);
    let bus_inductance = table.quantity_or("bus_inductance", Demand::NotNegative, Henries::ZERO);
    let rectifier_drop = table.quantity_or("rectifier_drop", Demand::NotNegative, Volts::ZERO);
    let bleeder = table.quantity("bleeder", Demand::Positive);
    let sensor = table.table("sensor").and_then(|t| sensor(&t));
    table.finish();
    let (lead, sensor) = (lead_resistance?, sensor?);
    if sensor.resistance > lead {
        table.fault(
            Fault::error(
                &table.place_of("lead_resistance"),
                "the leads with the sensor have less resistance than the sensor alone",
            )
            .expected(format!("{} or more", sensor.resistance)),
        );
    }
    Some(Wiring {
        supply_resistance: supply_resistance?,
        lead_resistance: lead,
        lead_inductance: lead_inductance?,
        bus_resistance: bus_resistance?,
        bus_inductance,
        sensor,
        rectifier_drop,
        bleeder: bleeder?,
    })
}

/// The bus's loop resistance: stated, or from its length and conductor, or
/// zero where there is no bus.
fn bus_resistance(table: &Table<'_>) -> Option<Ohms> {
    let stated: Option<Ohms> = table.optional_quantity("bus_resistance", Demand::NotNegative);
    let stated_written = table.has("bus_resistance");
    let Some(bus) = table.optional_table("bus") else {
        return match (stated_written, table.has("bus")) {
            (true, _) => stated,
            (false, false) => Some(Ohms::ZERO),
            (false, true) => None,
        };
    };
    let metres = bus
        .take("metres")
        .and_then(|node| bus.si_in(node, Dimension::Ratio, Demand::Within(0.01, 1000.0)));
    if !bus.has("metres") {
        bus.missing("metres", "the length of the bus in metres, a number");
    }
    let conductor: Option<Conductor> = bus.parsed(
        "conductor",
        "\"AWG 14\" or \"1.5 mm2\" (IEC 60228, class 5)",
    );
    bus.finish();
    if stated_written {
        bus.fault(
            Fault::error(
                bus.place(),
                "the bus resistance is stated and follows from the length as well",
            )
            .expected("either `bus_resistance` or `bus`"),
        );
        return None;
    }
    Some(conductor?.loop_resistance(metres?))
}

fn sensor(table: &Table<'_>) -> Option<CurrentSensor> {
    let scale: Option<Ohms> = table.quantity("scale", Demand::Positive);
    let uncertainty = table.quantity("uncertainty", Demand::Within(0.0, 0.2));
    let resistance: Option<Ohms> = table.optional_quantity("resistance", Demand::NotNegative);
    table.finish();
    let scale = scale?;
    Some(CurrentSensor {
        scale,
        uncertainty: uncertainty?,
        resistance: resistance.unwrap_or(scale),
    })
}

fn channel(table: &Table<'_>, sensor: Option<CurrentSensor>) -> Option<Channel> {
    let number = table.integer("number", 1..=64);
    let measures = table.word("measures", Measures::WORDS);
    let reference = table.word("reference", Reference::WORDS);
    let current = measures.is_some_and(Measures::is_current);
    let scale = scale(table, measures, sensor);
    let own = measures == Some(Measures::OutputCurrent);
    let uncertainty: Option<Ratio> =
        table.optional_quantity("uncertainty", Demand::Within(0.0, 0.2));
    if !table.has("uncertainty") && !own {
        table.missing(
            "uncertainty",
            "the scale's relative standard uncertainty, such as \"0.5 %\"",
        );
    }
    let dimension = if current {
        Dimension::Current
    } else {
        Dimension::Voltage
    };
    let range = table.optional_si("range", dimension, Demand::Positive);
    if !table.has("range") {
        table.missing(
            "range",
            &format!(
                "the largest {} it shows",
                if current { "current" } else { "voltage" }
            ),
        );
    }
    Some(Channel {
        number: u32::try_from(number?).ok()?,
        measures: measures?,
        reference: reference?,
        scale: scale?,
        uncertainty: match uncertainty {
            Some(uncertainty) => uncertainty,
            None if own => sensor?.uncertainty,
            None => return None,
        },
        range: range?,
    })
}

/// Volts at the input for one unit of what is measured: `"0.1 V/V"` for a
/// voltage, a resistance (volts per ampere) for a current.
fn scale(
    table: &Table<'_>,
    measures: Option<Measures>,
    sensor: Option<CurrentSensor>,
) -> Option<f64> {
    let measures = measures.or_else(|| {
        table.take("scale");
        None
    })?;
    let expected = if measures.is_current() {
        "volts per ampere such as \"0.05 ohm\""
    } else {
        "volts per volt such as \"0.1 V/V\""
    };
    let Some(node) = table.take("scale") else {
        if measures == Measures::OutputCurrent {
            return Some(sensor?.scale.si());
        }
        table.missing("scale", expected);
        return None;
    };
    let refuse = |message: String| {
        table.fault(Fault::error(&node.place, message).expected(expected));
        None
    };
    let Kind::String(text) = &node.kind else {
        return refuse(format!("this is {}", node.kind.noun()));
    };
    let parsed = if measures.is_current() {
        let plain = text
            .strip_suffix("V/A")
            .map(|number| format!("{number}ohm"));
        parse_si(plain.as_deref().unwrap_or(text), Dimension::Resistance)
    } else {
        match text.strip_suffix("V/V") {
            Some(number) => parse_si(number, Dimension::Ratio),
            None => return refuse("this is not a ratio of voltages".to_owned()),
        }
    };
    match parsed {
        Ok(scale) if scale > 0.0 => Some(scale),
        Ok(_) => refuse("a scale is more than zero".to_owned()),
        Err(unit) => refuse(unit.to_string()),
    }
}

fn logic_line(table: &Table<'_>) -> Option<LogicLine> {
    let number = table.integer("number", 0..=63);
    let carries = table.word("carries", Carries::WORDS);
    Some(LogicLine {
        number: u32::try_from(number?).ok()?,
        carries: carries?,
    })
}

fn branch(table: &Table<'_>, bus: Option<(Ohms, Henries)>) -> Option<BranchEntry> {
    let number = table.integer("number", 1..=256);
    let closes = table.word("closes", Closes::WORDS);
    let far = closes == Some(Closes::FarShort);
    let mut resistance: Option<Ohms> = table.optional_quantity("resistance", Demand::Positive);
    let mut inductance: Option<Henries> = table.optional_quantity("inductance", Demand::Positive);
    // The far short's loop is the stated bus, unless it is measured itself.
    match bus {
        Some((bus_resistance, bus_inductance)) if far && bus_resistance > Ohms::ZERO => {
            if !table.has("resistance") {
                resistance = Some(bus_resistance);
            }
            if !table.has("inductance") && bus_inductance > Henries::ZERO {
                inductance = Some(bus_inductance);
            }
        }
        _ => {}
    }
    if resistance.is_none() && !table.has("resistance") {
        table.missing(
            "resistance",
            "the loop's resistance with its contacts, such as \"40 mohm\"",
        );
    }
    if inductance.is_none() && !table.has("inductance") {
        table.missing("inductance", "the loop's inductance, such as \"0.5 uH\"");
    }
    let proof = table.word("proof", Proof::WORDS);
    let line = |key| {
        table
            .optional_integer(key, 0..=63)
            .and_then(|number| u32::try_from(number).ok())
    };
    let marker_line = line("marker_line");
    let pilot_line = line("pilot_line");
    let bounce = table.quantity_or("bounce", Demand::Within(0.0, 1.0), Seconds::ZERO);
    Some(BranchEntry {
        number: u32::try_from(number?).ok()?,
        closes: closes?,
        resistance: resistance?,
        inductance: inductance?,
        proof: proof?,
        marker_line,
        pilot_line,
        bounce,
    })
}

fn upstream(table: &Table<'_>) -> Option<UpstreamEntry> {
    let voltage = table.quantity("voltage", Demand::Positive);
    let resistance = table.quantity("resistance", Demand::Positive);
    let inductance = table.quantity("inductance", Demand::Positive);
    let isolation = table.word("isolation", Isolation::WORDS);
    let trip_current = table.quantity("trip_current", Demand::Positive);
    let trip_time = table.quantity("trip_time", Demand::Positive);
    table.finish();
    Some(UpstreamEntry {
        voltage: voltage?,
        resistance: resistance?,
        inductance: inductance?,
        isolation: isolation?,
        trip_current: trip_current?,
        trip_time: trip_time?,
    })
}

fn envelope(table: &Table<'_>) -> Option<Envelope> {
    let current = table.quantity("current", Demand::Positive);
    let let_through = table.quantity("let_through", Demand::Positive);
    let voltage = table.quantity("voltage", Demand::Positive);
    let energy = table.quantity("energy", Demand::Positive);
    let seconds = table.quantity("seconds", Demand::Positive);
    table.finish();
    Some(Envelope {
        current: current?,
        let_through: let_through?,
        voltage: voltage?,
        energy: energy?,
        seconds: seconds?,
    })
}

fn safety(root: &Table<'_>) -> Safety {
    let table = root.optional_table("safety");
    let safety = table.as_ref().map_or_else(Safety::default, |table| {
        let safety = Safety {
            emergency_stop: table.optional_string("emergency_stop"),
            supply_fuse: table.optional_string("supply_fuse"),
        };
        table.finish();
        safety
    });
    let place = table.as_ref().map_or(root.place(), Table::place);
    let warn = |key: &str, what: &str| {
        root.fault(
            Fault::warning(place, format!("no {what} is named"))
                .expected(format!(
                    "`{key}` in `[safety]`, saying what it is and what it cuts"
                ))
                .hint(
                    "software is not the safety device: follow local codes and licensed practice",
                ),
        );
    };
    if safety.emergency_stop.is_none() {
        warn("emergency_stop", "emergency stop");
    }
    if safety.supply_fuse.is_none() {
        warn("supply_fuse", "fuse in the board's supply");
    }
    safety
}

/// The model's fixture is what the file states; `[model.fixture]` says where
/// the truth departs from it.
fn model(table: &Table<'_>, bench: &Bench) -> ModelBench {
    let board = table.optional_string("board");
    let mut fixture = stated_fixture(bench);
    if let Some(overrides) = table.optional_table("fixture") {
        for parameter in FIXTURE {
            if let Some(si) =
                overrides.optional_si(parameter.name, parameter.dimension, parameter.demand)
            {
                (parameter.set)(&mut fixture, si);
            }
        }
        overrides.finish();
    }
    table.finish();
    ModelBench { fixture, board }
}

fn stated_fixture(bench: &Bench) -> FixtureParameters {
    let mut fixture = FixtureParameters {
        supply_resistance: bench.wiring.supply_resistance,
        lead_resistance: bench.wiring.lead_resistance,
        lead_inductance: bench.wiring.lead_inductance,
        bleeder: bench.wiring.bleeder,
        rectifier_drop: bench.wiring.rectifier_drop,
        ..FixtureParameters::default()
    };
    let loop_of = |closes| {
        bench.branch(closes).map(|entry| Branch {
            resistance: entry.resistance,
            inductance: entry.inductance,
        })
    };
    fixture.near = loop_of(Closes::NearShort).unwrap_or(fixture.near);
    fixture.far = loop_of(Closes::FarShort).unwrap_or(fixture.far);
    if let Some(upstream) = &bench.upstream {
        let gap = loop_of(Closes::GapCrossed).or(loop_of(Closes::GapStraight));
        let (resistance, inductance) = gap.map_or((Ohms::ZERO, Henries::ZERO), |gap| {
            (gap.resistance, gap.inductance)
        });
        fixture.upstream.voltage = upstream.voltage;
        fixture.upstream.branch.resistance = upstream.resistance + resistance;
        fixture.upstream.branch.inductance = upstream.inductance + inductance;
        fixture.upstream.trip_current = upstream.trip_current;
        fixture.upstream.trip_time = upstream.trip_time;
    }
    fixture
}
