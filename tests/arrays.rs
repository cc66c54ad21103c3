//! Analogue captures as `inspect` reads them: arrays of every type and layout,
//! tables in every dress, cutouts, and files that lie. The voltages are made
//! here; what was planted is what must be told.

use crate::inspect::{Told, file, inspect};
use bufferstop::track::{ChannelAnalyser, ChannelSettings, DecoderSettings, Scale, SignalReport};
use bufferstop::units::Seconds;
use std::path::{Path, PathBuf};

/// Samples a second.
pub(crate) const RATE: f64 = 2e6;
/// What the rails have, V, and how fast they turn, V/us.
pub(crate) const SWING: f64 = 15.0;
const SLEW: f64 = 10.0;
pub(crate) const PACKETS: u64 = 6;

/// The voltage of idle packets (S-9.2:2004: 14 ones and more, FF 00 FF, each byte
/// behind a 0, a 1 at the end; halves of 58 and 100 us). With `cutout` the rails
/// are joined from 29 to 471 us behind each packet, whose halves of 1 run on
/// underneath (S-9.3.2, RCN-217: 26 to 32 and 454 to 488 us).
pub(crate) fn idles(cutout: bool) -> Vec<f64> {
    let mut bits = vec![true; 24];
    for byte in [0xFF_u8, 0, 0xFF] {
        bits.push(false);
        bits.extend((0..8).rev().map(|bit| byte >> bit & 1 == 1));
    }
    bits.push(true);
    let halves: Vec<usize> = bits
        .iter()
        .flat_map(|&bit| if bit { [116, 116] } else { [200, 200] })
        .collect();
    let whole: usize = halves.iter().sum();
    let mut targets = Vec::new();
    for packet in 0..PACKETS {
        let mut sign = SWING;
        for &half in &halves {
            targets.extend(std::iter::repeat_n(sign, half));
            sign = -sign;
        }
        if cutout && packet > 0 {
            let end = targets.len() - whole;
            targets[end + 58..end + 942].fill(0.0);
        }
    }
    targets.extend([SWING; 300]);
    let mut value = -SWING;
    let reach = SLEW * 1e6 / RATE;
    let mut turned = vec![value; 100];
    turned.extend(targets.iter().map(|target| {
        value += (target - value).clamp(-reach, reach);
        value
    }));
    turned
}

/// An array by NumPy Enhancement Proposal 1, version 1.
pub(crate) fn array(descr: &str, shape: &str, data: &[u8]) -> Vec<u8> {
    let text = format!("{{'descr': '{descr}', 'fortran_order': False, 'shape': ({shape}), }}");
    let padded = format!("{text:<117}\n");
    let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
    bytes.extend(padded.as_bytes());
    bytes.extend(data);
    bytes
}

fn codes(volts: &[f64], step: f64) -> impl Iterator<Item = f64> + '_ {
    volts.iter().map(move |v| (v / step).round())
}

pub(crate) fn i16s(volts: &[f64]) -> Vec<u8> {
    let steps = codes(volts, 1e-3);
    steps.flat_map(|v| (v as i16).to_le_bytes()).collect()
}

pub(crate) fn number(told: &Told, path: &str) -> f64 {
    let value = told.json.pointer(path).and_then(|v| v.as_f64());
    value.unwrap_or_else(|| panic!("{path}: {} {}", told.said, told.json["signal"]))
}

/// What was planted, whatever the file looks like. `step` is that of the
/// levels.
pub(crate) fn told_as_planted(told: &Told, step: f64, what: &str) {
    assert_eq!(
        told.status, 0,
        "{what}: {} {}",
        told.said, told.json["rules"]
    );
    read_as_planted(told, step, what);
}

/// The same without the verdict.
fn read_as_planted(told: &Told, step: f64, what: &str) {
    assert_eq!(
        number(told, "/signal/packets/all") as u64,
        PACKETS,
        "{what}"
    );
    assert_eq!(told.json["packets"][0]["words"], "idle", "{what}");
    for (path, planted, within) in [
        ("/signal/levels/positive/value", SWING, step),
        ("/signal/levels/negative/value", SWING, step),
        ("/signal/levels/amplitude/value", SWING, step),
        ("/signal/ones/positive/mean/value", 58e-6, 0.02e-6),
        ("/signal/ones/negative/mean/value", 58e-6, 0.02e-6),
        ("/signal/zeros/all/mean/value", 100e-6, 0.02e-6),
    ] {
        let found = number(told, path);
        assert!((found - planted).abs() <= within, "{what} {path}: {found}");
    }
}

/// Slew, and 10 to 90 % at that slew: 0.8 of 30 V.
fn shaped_as_planted(told: &Told, what: &str) {
    for way in ["rising", "falling"] {
        for (name, planted) in [
            ("slew", SLEW * 1e6),
            ("duration", 0.8 * 2.0 * SWING / SLEW / 1e6),
        ] {
            let found = number(told, &format!("/signal/shape/{way}/{name}/value"));
            assert!(
                (found / planted - 1.0).abs() < 0.03,
                "{what} {way} {name}: {found}"
            );
        }
        let over = number(told, &format!("/signal/shape/{way}/overshoot/1/value"));
        assert!(over < 0.02, "{what} {way}: {over}");
    }
}

#[test]
fn arrays_of_every_type_tell_the_same_signal() {
    let volts = idles(false);
    let shape = format!("{},", volts.len());
    let eights = codes(&volts, 0.2).map(|v| v as i8 as u8).collect();
    let big = codes(&volts, 1e-3)
        .flat_map(|v| (v as i16).to_be_bytes())
        .collect();
    let wide = codes(&volts, 1e-6)
        .flat_map(|v| (v as i32).to_le_bytes())
        .collect();
    let single = volts
        .iter()
        .flat_map(|&v| (v as f32).to_le_bytes())
        .collect();
    let double = volts.iter().flat_map(|&v| v.to_le_bytes()).collect();
    let files: [(&str, Vec<u8>, &str, f64); 6] = [
        ("|i1", eights, "200 mV", 0.2),
        ("<i2", i16s(&volts), "1 mV", 0.02),
        (">i2", big, "1 mV", 0.02),
        ("<i4", wide, "1 uV", 0.02),
        ("<f4", single, "1 V", 0.02),
        ("<f8", double, "1 V", 0.02),
    ];
    for (descr, data, scale, step) in files {
        let (_folder, path) = file("track.npy", &array(descr, &shape, &data));
        let told = inspect(&path, &["--rate", "2 MHz", "--scale", scale]);
        told_as_planted(&told, step, descr);
        shaped_as_planted(&told, descr);
        assert_eq!(told.json["samples"], volts.len(), "{descr}");
        let length = number(&told, "/length_s");
        assert!(
            (length - volts.len() as f64 / RATE).abs() < 1e-9,
            "{descr}: {length}"
        );
    }
}

/// A file of several pieces, read ahead by a thread, its edges decoded when all
/// is over, against the same samples in one thread, sample by sample: bit for
/// bit.
#[test]
fn reading_ahead_changes_no_bit() {
    let volts = idles(false);
    let wave: Vec<i16> = codes(&volts, 1e-3).map(|v| v as i16).collect();
    let long: Vec<i16> = std::iter::repeat_n(&wave, 35).flatten().copied().collect();
    let data: Vec<u8> = long.iter().flat_map(|v| v.to_le_bytes()).collect();
    assert!(data.len() > 5 << 20, "more than the pieces that may wait");
    let (_folder, path) = file(
        "track.npy",
        &array("<i2", &format!("{},", long.len()), &data),
    );
    let told = inspect(&path, &["--rate", "2 MHz", "--scale", "1 mV"]);
    let ahead: SignalReport =
        serde_json::from_value(told.json["signal"].clone()).expect("a report");
    let edge = ahead.edge;
    let scale = Scale {
        gain: 1e-3,
        offset: 0.0,
        step: 1.0,
    };
    let period = Seconds::new(1.0 / RATE);
    // As many places are kept as the command keeps.
    let decoder = DecoderSettings {
        keep: 256,
        ..DecoderSettings::new(edge)
    };
    let settings = ChannelSettings::new(period, scale, decoder);
    let mut analyser = ChannelAnalyser::new(settings);
    for sample in &long {
        analyser.push(std::slice::from_ref(sample), &mut |_| ());
    }
    let alone = analyser.finish(&mut |_| ());
    assert!(
        alone.packets.all >= 35 * (PACKETS - 1),
        "{}",
        alone.packets.all
    );
    assert_eq!(ahead, alone);
}

#[test]
fn a_channel_is_found_in_either_layout() {
    let volts = idles(false);
    let other = vec![0.25; volts.len()];
    let rows: Vec<f64> = volts
        .iter()
        .zip(&other)
        .flat_map(|(&a, &b)| [b, a])
        .collect();
    let lanes = [other, volts.clone()].concat();
    let n = volts.len();
    for (shape, data) in [(format!("{n}, 2"), rows), (format!("2, {n}"), lanes)] {
        let (_folder, path) = file("track.npy", &array("<i2", &shape, &i16s(&data)));
        let words = ["--rate", "2 MHz", "--scale", "1 mV", "--column"];
        let told = inspect(&path, &[&words[..], &["1"]].concat());
        told_as_planted(&told, 0.02, &shape);
        // The other one is a voltage that never passes zero.
        assert_eq!(
            inspect(&path, &[&words[..], &["0"]].concat()).json["edges"],
            0
        );
        let unnamed = inspect(&path, &words[..4]);
        assert_eq!(unnamed.status, 64, "{}", unnamed.said);
        let beyond = inspect(&path, &[&words[..], &["2"]].concat());
        assert!(beyond.said.contains("no channel 2"), "{}", beyond.said);
    }
}

#[test]
fn rate_and_scale_stand_beside_the_array_or_on_the_command_line() {
    let volts = idles(false);
    let bytes = array("<i2", &format!("{},", volts.len()), &i16s(&volts));
    let (folder, path) = file("track.npy", &bytes);
    let nothing = inspect(&path, &[]);
    assert_eq!(nothing.status, 64);
    assert!(nothing.said.contains("--rate"), "{}", nothing.said);
    let beside = folder.path().join("track.toml");
    let write = |text: &str| std::fs::write(&beside, text).expect("written");
    write("format = 1\nrate = \"2 MHz\"\nscale = \"1 mV\"\n");
    told_as_planted(&inspect(&path, &[]), 0.02, "beside");
    // What is typed goes before what stands in the file.
    write("format = 1\nrate = \"1 MHz\"\nscale = \"2 mV\"\n");
    let typed = inspect(&path, &["--rate", "2 MHz", "--scale", "1 mV"]);
    told_as_planted(&typed, 0.02, "typed");
    let half = inspect(&path, &["--rate", "2 MHz"]);
    let level = number(&half, "/signal/levels/positive/value");
    assert!((level - 2.0 * SWING).abs() < 0.04, "{level}");
    // Line and column of what is wrong in the file beside.
    write("format = 1\nrate = \"2 V\"\nscale = \"1 mV\"\n");
    let wrong = inspect(&path, &[]);
    assert_eq!(wrong.status, 65, "{}", wrong.said);
    assert!(wrong.said.contains("track.toml:2"), "{}", wrong.said);
}

/// A table of the voltage; `time` makes the instant of a sample.
fn table(header: &str, row: impl Fn(f64, f64) -> String, time: impl Fn(usize) -> f64) -> String {
    let rows = idles(false).into_iter().enumerate();
    let rows = rows.map(|(n, v)| row(time(n), v));
    std::iter::once(format!("{header}\n")).chain(rows).collect()
}

fn even(n: usize) -> f64 {
    n as f64 / RATE * 1e6
}

fn written(name: &str, text: &str) -> (tempfile::TempDir, PathBuf) {
    file(name, text.as_bytes())
}

#[test]
fn tables_in_every_dress_tell_the_same_signal() {
    let plain = table(
        "time (us),track (V)",
        |t, v| format!("{t:.1},{v:.3}\n"),
        even,
    );
    let comma = table(
        "zeit (us);gleis (V)",
        |t, v| format!("{t:.1};{v:.3}\n").replace('.', ","),
        even,
    );
    let last = table(
        "remark,track (V),at (ms)",
        |t, v| format!("\"a, b\",{v:.3},{:.4}\n", t / 1e3),
        even,
    );
    for (text, words) in [
        (plain, &[][..]),
        (comma, &["--decimal-comma"]),
        (last, &["--column", "track", "--time-column", "at"]),
    ] {
        let (_folder, path) = written("track.csv", &text);
        let told = inspect(&path, words);
        told_as_planted(&told, 0.02, &format!("{words:?}"));
        shaped_as_planted(&told, &format!("{words:?}"));
        let period = number(&told, "/period_s");
        assert!((period - 0.5e-6).abs() < 1e-12, "{words:?}: {period}");
    }
}

#[test]
fn uneven_steps_keep_every_edge_in_its_place() {
    // Steps of 0.3 and 0.7 us in turn, at which the voltage has what the wave
    // has there by linear interpolation.
    let volts = idles(false);
    let mut text = String::from("time (us),track (V)\n");
    let mut at = 0.0_f64;
    for n in 0.. {
        let place = at * RATE / 1e6;
        let Some(pair) = volts.get(place as usize..place as usize + 2) else {
            break;
        };
        let value = pair[0] + (pair[1] - pair[0]) * place.fract();
        text.push_str(&format!("{at:.1},{value:.4}\n"));
        at += if n % 2 == 0 { 0.3 } else { 0.7 };
    }
    let (_folder, path) = written("track.csv", &text);
    let told = inspect(&path, &[]);
    read_as_planted(&told, 0.02, "uneven");
    // Without even steps crossings have no shape: what S-9.1:2020 demands of it is
    // not judged, and so the whole is not.
    assert_eq!(told.status, 2, "{}", told.json["rules"]);
    let rules = told.json["rules"].as_array().expect("rules");
    let open = rules.iter().filter(|row| row["standing"] == "inconclusive");
    let open: Vec<&str> = open.filter_map(|row| row["what"].as_str()).collect();
    assert_eq!(
        open,
        ["rising slew low", "falling slew low", "crossing distortion"]
    );
    // The longest of the steps says how well an edge is known.
    assert!((number(&told, "/period_s") - 0.7e-6).abs() < 1e-12);
}

#[test]
fn cutouts_are_told_with_their_beginning_and_end() {
    let volts = idles(true);
    let bytes = array("<i2", &format!("{},", volts.len()), &i16s(&volts));
    let (_folder, path) = file("track.npy", &bytes);
    let told = inspect(&path, &["--rate", "2 MHz", "--scale", "1 mV"]);
    // Before the first packet nothing was cut.
    assert_eq!(number(&told, "/signal/cutouts/count") as u64, PACKETS - 1);
    for (path, planted) in [("start", 29e-6), ("end", 471e-6)] {
        let found = number(&told, &format!("/signal/cutouts/{path}/mean/value"));
        // Into the band and out of it takes the voltage up to 1.5 us.
        assert!((found - planted).abs() < 3e-6, "{path}: {found}");
    }
    assert_eq!(number(&told, "/signal/packets/all") as u64, PACKETS);
}

/// A file that ends early, goes on too long or promises what it has not is a
/// fault that names the byte or the line; never a report of half of it.
#[test]
fn truncated_and_lying_files_name_the_place() {
    let volts = idles(false);
    let n = volts.len();
    let words = &["--rate", "2 MHz", "--scale", "1 mV"][..];
    let data = i16s(&volts);
    let sound = array("<i2", &format!("{n},"), &data);
    let more = array("<i2", &format!("{},", n + 1), &data);
    let fewer = array("<i2", &format!("{},", n - 1), &data);
    let long = array("<i2", "4611686018427387904,", &data);
    let csv = table(
        "time (us),track (V)",
        |t, v| format!("{t:.1},{v:.3}\n"),
        even,
    );
    let line = csv.lines().count();
    let cut_row = format!("{csv}9e9,\n");
    let cut_field = format!("{csv}9e9\n");
    let end = sound.len();
    for (name, bytes, place) in [
        ("cut.npy", &sound[..end - 7], format!("byte {}", end - 7)),
        ("cut.npy", &sound[..130], "byte 130".to_owned()),
        ("cut.npy", &sound[..60], "byte 60".to_owned()),
        ("cut.npy", &sound[..3], "byte 3".to_owned()),
        ("lies.npy", &more, format!("byte {end}")),
        ("lies.npy", &fewer, format!("byte {}", end - 2)),
        ("lies.npy", &long, "byte 10".to_owned()),
        ("cut.csv", cut_row.as_bytes(), format!("line {}", line + 1)),
        (
            "cut.csv",
            cut_field.as_bytes(),
            format!("line {}", line + 1),
        ),
    ] {
        let (_folder, path) = file(name, bytes);
        let words = if name.ends_with("npy") { words } else { &[] };
        let told = inspect(&path, words);
        assert_eq!(told.status, 65, "{name} {place}: {}", told.said);
        assert!(told.said.contains(&place), "{name} {place}: {}", told.said);
        assert!(told.json.is_null(), "{name}: {}", told.json);
    }
    assert_eq!(inspect(Path::new("/nowhere/a.npy"), words).status, 65);
}
