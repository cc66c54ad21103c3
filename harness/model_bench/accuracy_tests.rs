//! Model instruments on benches of random accuracy against the truth of their
//! circuit. The uncertainty that the readings are compared with is composed here
//! from the numbers that were written into the files (GUM 4.3.7, F.2.2.1,
//! 5.1.2), not by the evaluation.

use super::world;
use crate::bench_file::{self, Bench};
use crate::clock::BenchSpan;
use crate::document::Source;
use crate::ident::Role;
use crate::model_board::BoardParameters;
use crate::model_instruments::World;
use crate::physics::Probe;
use crate::plan::demo;
use crate::profile::{self, Profile};
use crate::protocol::{Reading, block_data, list, number};
use crate::seed::{Seed, Stream};
use crate::units::Quantity as _;
use std::collections::BTreeMap;

/// What a profile states of a meter or a setting, in SI units.
#[derive(Clone, Copy)]
struct Stated {
    reading: f64,
    fixed: f64,
    resolution: f64,
}

/// What profile and bench file state of the capture device.
#[derive(Clone, Copy)]
struct Channels {
    reading: f64,
    of_range: f64,
    bits: u32,
    scale_u: f64,
}

/// The accuracies of one bench.
#[derive(Clone, Copy)]
struct Made {
    supply: [Stated; 2],
    load: [Stated; 3],
    thermometer: Stated,
    channels: Channels,
}

/// Between `from` and `to`, each decade as likely as the next.
fn decade(stream: &mut Stream, from: f64, to: f64) -> f64 {
    from * (to / from).powf(stream.uniform())
}

impl Made {
    fn random(stream: &mut Stream) -> Self {
        let mut stated = |about: f64| {
            let fixed = about * decade(stream, 0.1, 10.0);
            // A display that is coarser than the meter is another matter: on
            // one quantity its rounding errs the same way each time.
            let step = (fixed * decade(stream, 0.01, 1.0)).log10().floor();
            Stated {
                reading: decade(stream, 2e-5, 1e-2),
                fixed,
                resolution: 10_f64.powf(step),
            }
        };
        let supply = [stated(5e-3), stated(5e-3)];
        let load = [stated(10e-3), stated(10e-3), stated(10e-3)];
        let thermometer = stated(0.3);
        // Nor a converter that is coarser than its offset: over many samples its
        // noise averages the steps out, which the resolution's u leaves aside.
        let channels = Channels {
            reading: decade(stream, 1e-4, 2e-2),
            of_range: decade(stream, 1e-3, 1e-2),
            bits: 12 + (stream.uniform() * 5.0) as u32,
            scale_u: decade(stream, 1e-4, 1e-2),
        };
        Self {
            supply,
            load,
            thermometer,
            channels,
        }
    }

    /// The same, better by a hundred.
    fn better(self) -> Self {
        let finer = |stated: Stated| Stated {
            reading: stated.reading / 100.0,
            fixed: stated.fixed / 100.0,
            resolution: stated.resolution / 100.0,
        };
        let channels = self.channels;
        Self {
            supply: self.supply.map(finer),
            load: self.load.map(finer),
            thermometer: finer(self.thermometer),
            channels: Channels {
                reading: channels.reading / 100.0,
                of_range: channels.of_range / 100.0,
                scale_u: channels.scale_u / 100.0,
                ..channels
            },
        }
    }

    /// The demo's bench and the shipped profiles with these numbers in them.
    fn files(&self) -> (Bench, BTreeMap<Role, Profile>) {
        let mut profiles = BTreeMap::new();
        for role in Role::ALL {
            let shipped = profile::shipped_source(role.word()).expect("shipped");
            let text = self.profile(role, &shipped.text);
            let (made, _) = profile::parse(&Source::new("p.toml", text)).expect("sound");
            profiles.insert(role, made);
        }
        let u = format!("uncertainty = \"{} %\"", 100.0 * self.channels.scale_u);
        let mut text = String::new();
        for line in demo::bench().text.lines() {
            let stated = line.starts_with("uncertainty = ");
            text.push_str(if stated { &u } else { line });
            text.push('\n');
        }
        let (bench, _) = bench_file::parse(&Source::new("bench.toml", text)).expect("sound");
        (bench, profiles)
    }

    fn profile(&self, role: Role, shipped: &str) -> String {
        let head = shipped.split("[accuracy").next().expect("a head");
        let table = |name: &str, stated: Stated, unit: &str| {
            format!(
                "[accuracy.{name}]\nreading = \"{} %\"\nfixed = \"{} {unit}\"\n\
                 resolution = \"{} {unit}\"\nintegration = \"20 ms\"\n",
                100.0 * stated.reading,
                stated.fixed,
                stated.resolution
            )
        };
        let tables = match role {
            Role::Supply => vec![
                table("measure_voltage", self.supply[0], "V"),
                table("measure_current", self.supply[1], "A"),
            ],
            Role::Load => vec![
                table("measure_voltage", self.load[0], "V"),
                table("measure_current", self.load[1], "A"),
                table("set_current", self.load[2], "A"),
            ],
            Role::Thermometer => vec![table("measure_temperature", self.thermometer, "K")],
            Role::Capture => vec![format!(
                "[accuracy.channel]\nreading = \"{} %\"\nfixed_of_range = \"{} %\"\n",
                100.0 * self.channels.reading,
                100.0 * self.channels.of_range
            )],
            Role::Switch | Role::Drive | Role::Console => Vec::new(),
        };
        let bits = format!("bits = {}", self.channels.bits);
        head.replace("bits = 12", &bits) + &tables.concat()
    }
}

/// One reading beside the truth: its error, its standard uncertainty and the
/// bounds that were stated, resolution included.
struct Compared {
    what: String,
    error: f64,
    u: f64,
    bound: f64,
}

fn by_meter(what: &str, shown: f64, truth: f64, stated: Stated) -> Compared {
    let half_width = stated.reading * truth.abs() + stated.fixed;
    let variance = half_width.powi(2) / 3.0 + stated.resolution.powi(2) / 12.0;
    Compared {
        what: what.to_owned(),
        error: shown - truth,
        u: variance.sqrt(),
        bound: half_width + stated.resolution,
    }
}

fn ask(world: &mut World, role: Role, line: &str) -> Vec<u8> {
    let mut reply = world.exchange(role, line.as_bytes());
    assert_eq!(reply.pop(), Some(b'\n'), "{line}");
    reply
}

fn value(world: &mut World, role: Role, line: &str) -> f64 {
    match number(&ask(world, role, line)) {
        Ok(Reading::Number(value)) => value,
        other => panic!("{line}: {other:?}"),
    }
}

/// The mean of a channel in volts at the input, and its full scale and step.
fn channel(world: &mut World, number: u32) -> (f64, f64, f64) {
    let preamble = list(&ask(
        world,
        Role::Capture,
        &format!("TRAC:PRE? CHAN{number}"),
    ));
    let preamble: Vec<f64> = preamble
        .expect("numbers")
        .into_iter()
        .filter_map(Reading::value)
        .collect();
    let block = ask(world, Role::Capture, &format!("TRAC? CHAN{number}"));
    let data = block_data(&block).expect("a block");
    let codes = data
        .chunks(2)
        .map(|pair| i16::from_be_bytes([pair[0], pair[1]]));
    let mean = codes.map(f64::from).sum::<f64>() / (data.len() / 2) as f64;
    let (step, bits) = (preamble[3], preamble[6]);
    (mean * step, step * (bits - 1.0).exp2(), step)
}

/// 18 V on a board that holds its positive polarity, 2 A through it, and
/// everything that the bench can read of that.
fn readings(made: &Made, seed: u64) -> Vec<Compared> {
    let (bench, profiles) = made.files();
    let board = BoardParameters::default();
    let mut world = world(&bench, &profiles, &board, None, Seed(seed)).expect("a circuit");
    for (role, line) in [
        (Role::Supply, "VOLT 18;CURR 5;OUTP ON"),
        (Role::Drive, "SIGN:HOLD POS;:SIGN ON;:CONT:ENAB 1"),
        (Role::Load, "CURR 2;:INP ON"),
        (Role::Capture, "SWE:TINT 1E-5;POIN 2000"),
        (Role::Capture, "VOLT1:RANG 3;:VOLT2:RANG 3;:VOLT3:RANG 3"),
    ] {
        assert_eq!(world.exchange(role, line.as_bytes()), b"", "{line}");
    }
    world.advance(BenchSpan::from_microseconds(300_000));
    world.exchange(Role::Capture, b"INIT");
    world.advance(BenchSpan::from_microseconds(50_000));
    let mut compared = Vec::new();
    for (what, role, line, probe, stated) in [
        (
            "supply volts",
            Role::Supply,
            "MEAS:VOLT?",
            Probe::SupplyVoltage,
            made.supply[0],
        ),
        (
            "supply amperes",
            Role::Supply,
            "MEAS:CURR?",
            Probe::SupplyCurrent,
            made.supply[1],
        ),
        (
            "load volts",
            Role::Load,
            "MEAS:VOLT?",
            Probe::LoadVoltage,
            made.load[0],
        ),
        (
            "load amperes",
            Role::Load,
            "MEAS:CURR?",
            Probe::LoadCurrent,
            made.load[1],
        ),
    ] {
        let shown = value(&mut world, role, line);
        let truth = world.circuit().probe(probe);
        compared.push(by_meter(what, shown, truth, stated));
    }
    let drawn = world.circuit().probe(Probe::LoadCurrent);
    // 2 A is a whole number of steps.
    let stated = Stated {
        resolution: 0.0,
        ..made.load[2]
    };
    compared.push(by_meter("load setting", drawn, 2.0, stated));
    let shown = value(&mut world, Role::Thermometer, "MEAS:TEMP?");
    let truth = world.circuit().case_temperature().si();
    compared.push(by_meter("thermometer", shown, truth, made.thermometer));
    let stated = made.channels;
    for (number, probe, scale) in [
        (1, Probe::NodeVoltage, 0.1),
        (2, Probe::OutputCurrent, 0.05),
        (3, Probe::BoardRail, 0.1),
    ] {
        let (volts, full_scale, step) = channel(&mut world, number);
        let truth = world.circuit().probe(probe);
        let (of_range, step) = (stated.of_range * full_scale / scale, step / scale);
        let gain = (stated.reading.powi(2) / 3.0 + stated.scale_u.powi(2)).sqrt();
        let variance = (gain * truth).powi(2) + of_range.powi(2) / 3.0 + step.powi(2) / 12.0;
        compared.push(Compared {
            what: format!("channel {number}"),
            error: volts / scale - truth,
            u: variance.sqrt(),
            // The scale's error is normal: two standard uncertainties.
            bound: (stated.reading + 2.0 * stated.scale_u) * truth.abs() + of_range + step,
        });
    }
    compared
}

/// Readings by what they read, over instruments of many seeds.
fn over_seeds(made: &Made, seeds: u64) -> BTreeMap<String, Vec<Compared>> {
    let mut all: BTreeMap<String, Vec<Compared>> = BTreeMap::new();
    for seed in 0..seeds {
        for compared in readings(made, seed) {
            all.entry(compared.what.clone()).or_default().push(compared);
        }
    }
    assert_eq!(all.len(), 9);
    all
}

fn rms(values: impl Iterator<Item = f64>) -> f64 {
    let squares: Vec<f64> = values.map(|value| value * value).collect();
    (squares.iter().sum::<f64>() / squares.len() as f64).sqrt()
}

#[test]
fn every_instrument_errs_as_its_profile_says() {
    let mut stream = Seed(36).stream(&[1]);
    for bench in 0..6 {
        let made = Made::random(&mut stream);
        for (what, all) in over_seeds(&made, 80) {
            let inside = all
                .iter()
                .filter(|one| one.error.abs() <= one.bound)
                .count();
            // Uniform errors within the bounds, rounding and noise within the
            // resolution, and two standard deviations of a scale: at least the
            // 95 % of the latter.
            assert!(
                inside as f64 >= 0.95 * all.len() as f64,
                "bench {bench}, {what}: {inside} of {} within",
                all.len()
            );
            let ratio = rms(all.iter().map(|one| one.error / one.u));
            // Two uniform errors against one rectangle as wide as both bounds
            // together: 0.71 to 1, and a thirteenth of sampling.
            assert!(
                (0.5..1.2).contains(&ratio),
                "bench {bench}, {what}: the errors are {ratio} of u"
            );
        }
    }
}

#[test]
fn a_hundred_times_better_errs_a_hundred_times_less() {
    let mut made = Made::random(&mut Seed(36).stream(&[2]));
    made.channels.bits = 16;
    // The rounding of the displays is another matter.
    for stated in made.supply.iter_mut().chain(&mut made.load) {
        stated.resolution = 1e-5;
    }
    made.thermometer.resolution = 1e-4;
    let before = over_seeds(&made, 40);
    let after = over_seeds(&made.better(), 40);
    for (what, all) in &before {
        let errors = |all: &[Compared]| rms(all.iter().map(|one| one.error));
        let ratio = errors(all) / errors(&after[what]);
        assert!((80.0..125.0).contains(&ratio), "{what}: {ratio}");
    }
}

/// Ranges and converter, too, are the profile's.
#[test]
fn an_instrument_reaches_as_far_as_its_profile_says() {
    let (bench, mut profiles) = Made::random(&mut Seed(36).stream(&[3])).files();
    let text = profile::shipped_source("supply").expect("shipped").text;
    let text = text
        .replace("\"32 V\"", "\"60 V\"")
        .replace("\"40 A\"", "\"8 A\"");
    let wide = profile::parse(&Source::new("p.toml", text))
        .expect("sound")
        .0;
    profiles.insert(Role::Supply, wide);
    let text = profile::shipped_source("capture").expect("shipped").text;
    let text = text
        .replace("\"60 V\"", "\"8 V\"")
        .replace("\"50 ns\"", "\"1 us\"")
        .replace("2000000", "5000");
    let small = profile::parse(&Source::new("p.toml", text))
        .expect("sound")
        .0;
    profiles.insert(Role::Capture, small);
    let board = BoardParameters::default();
    let mut world = world(&bench, &profiles, &board, None, Seed(1)).expect("a circuit");
    for (role, line, wanted) in [
        (Role::Supply, "VOLT? MAX", 60.0),
        (Role::Supply, "CURR? MAX", 8.0),
        (Role::Load, "CURR? MAX", 30.0),
        (Role::Capture, "VOLT1:RANG? MAX", 8.0),
        (Role::Capture, "SWE:TINT? MIN", 1e-6),
        (Role::Capture, "SWE:POIN? MAX", 5000.0),
        (Role::Capture, "TRIG:LEV? MAX", 8.0),
    ] {
        assert_eq!(value(&mut world, role, line), wanted, "{line}");
    }
    for (role, line) in [
        (Role::Supply, "VOLT 61"),
        (Role::Supply, "CURR 9"),
        (Role::Capture, "VOLT1:RANG 9"),
        (Role::Capture, "SWE:POIN 5001"),
    ] {
        assert_eq!(world.exchange(role, line.as_bytes()), b"");
        let entry = ask(&mut world, role, "SYST:ERR?");
        assert!(entry.starts_with(b"-222"), "{line}");
    }
    assert_eq!(world.exchange(Role::Supply, b"VOLT 36"), b"");
    assert!(ask(&mut world, Role::Supply, "SYST:ERR?").starts_with(b"0"));
    // Full scales: steps to half of the largest, then the largest.
    world.exchange(Role::Capture, b"VOLT1:RANG 3");
    assert_eq!(value(&mut world, Role::Capture, "VOLT1:RANG?"), 8.0);
}
