//! What `inspect` makes of voltages with one fault each: every rule in force is
//! listed, a rule that nothing was checked against leaves the whole inconclusive, and
//! what is wrong is located. The voltages have a closed form: ramps through zero at
//! the instants of an ideal signal, up to the level of each half.

use crate::inspect::{Told, file, inspect};
use assert_cmd::cargo::cargo_bin_cmd;
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

const PACKETS: usize = 6;

/// A voltage: levels of halves by their number, V, and slews up and down, V/us.
struct Wave {
    rate: f64,
    level: fn(usize, bool) -> f64,
    slew: (f64, f64),
}

const SOUND: Wave = Wave {
    rate: 4e6,
    level: |_, _| 15.0,
    slew: (10.0, 10.0),
};

/// Instants of the edges of idle packets (S-9.2:2004: 14 ones and more, FF 00 FF, each
/// byte behind a 0, a 1 at the end; halves of 58 and 100 us), s.
fn edges() -> Vec<f64> {
    let mut bits = vec![true; 24];
    for _ in 0..PACKETS {
        bits.extend([true; 16]);
        for byte in [0xFF_u8, 0, 0xFF] {
            bits.push(false);
            bits.extend((0..8).rev().map(|bit| byte >> bit & 1 == 1));
        }
        bits.push(true);
    }
    let mut at = 100e-6;
    let mut edges = vec![at];
    for bit in bits {
        for _ in 0..2 {
            at += if bit { 58e-6 } else { 100e-6 };
            edges.push(at);
        }
    }
    edges
}

impl Wave {
    /// Instants and volts of all samples; even edges go up.
    fn samples(&self) -> Vec<(f64, f64)> {
        let edges = edges();
        let end = edges[edges.len() - 1] + 30e-6;
        let count = (end * self.rate) as usize;
        let slew = |edge: usize| [self.slew.0, self.slew.1][edge % 2] * 1e6;
        let mut half = 0;
        (0..count)
            .map(|index| {
                let t = index as f64 / self.rate;
                while edges.get(half).is_some_and(|&edge| edge <= t) {
                    half += 1;
                }
                // The half numbered `half` lies between two edges.
                let since = half
                    .checked_sub(1)
                    .map_or(f64::INFINITY, |edge| (t - edges[edge]) * slew(edge));
                let until = edges
                    .get(half)
                    .map_or(f64::INFINITY, |&edge| (edge - t) * slew(half));
                let up = half % 2 == 1;
                let size = (self.level)(half, up).min(since).min(until);
                (t, if up { size } else { -size })
            })
            .collect()
    }

    fn volts(&self) -> Vec<f64> {
        self.samples().into_iter().map(|(_, volts)| volts).collect()
    }
}

/// An array of doubles by NumPy Enhancement Proposal 1, version 1.
fn array(volts: &[f64]) -> Vec<u8> {
    let count = volts.len();
    let text = format!("{{'descr': '<f8', 'fortran_order': False, 'shape': ({count},), }}");
    let mut bytes = b"\x93NUMPY\x01\x00\x76\x00".to_vec();
    bytes.extend(format!("{text:<117}\n").as_bytes());
    bytes.extend(volts.iter().flat_map(|volts| volts.to_le_bytes()));
    bytes
}

fn shown(path: &Path, words: &[&str]) -> String {
    let done = cargo_bin_cmd!("bufferstop")
        .arg("inspect")
        .arg(path)
        .args(words)
        .output()
        .expect("the command runs");
    let said = String::from_utf8(done.stdout).expect("UTF-8");
    for line in said.lines() {
        assert!(line.chars().count() <= 80, "too wide: {line}\n{said}");
    }
    assert!(said.lines().count() <= 40, "{said}");
    for word in said.split_whitespace() {
        let word = word.trim_matches(|c: char| "(),;".contains(c));
        let option = ["--json", "--rate"].contains(&word);
        assert!(option || !word.starts_with("--"), "{word}: {said}");
        assert!(!["inf", "-inf", "NaN"].contains(&word), "{word}: {said}");
    }
    assert!(!said.contains("+/- 0.00 "), "{said}");
    said
}

/// Both faces of an inspection of these volts.
fn told(wave: &Wave, volts: &[f64]) -> (Told, String) {
    let (_folder, path) = file("track.npy", &array(volts));
    let rate = format!("{} Hz", wave.rate);
    let words = ["--rate", rate.as_str(), "--scale", "1 V"];
    (inspect(&path, &words), shown(&path, &words))
}

fn rule<'a>(told: &'a Told, what: &str) -> &'a Value {
    let rules = told.json["rules"].as_array().expect("rules");
    let found = rules.iter().find(|row| row["what"] == what);
    found.unwrap_or_else(|| panic!("no rule '{what}': {} {}", told.said, told.json["rules"]))
}

fn number(value: &Value) -> f64 {
    value
        .as_f64()
        .unwrap_or_else(|| panic!("not a number: {value}"))
}

/// Every rule that is in force for a voltage at a station without cutouts.
const IN_FORCE: [&str; 14] = [
    "half of a 1 too short",
    "half of a 1 too long",
    "halves of a 1 differ",
    "half of a 0 too short",
    "half of a 0 too long",
    "stretched 0 too long",
    "preamble too short",
    "packet start bits too far apart",
    "rising slew low",
    "falling slew low",
    "crossing distortion",
    "amplitude too low, any scale",
    "amplitude too high",
    "wrong check bytes",
];

#[test]
fn a_sound_voltage_is_within_every_rule_in_force() {
    let (told, said) = told(&SOUND, &SOUND.volts());
    assert_eq!(told.status, 0, "{} {}", told.said, told.json["rules"]);
    for what in IN_FORCE {
        let row = rule(&told, what);
        assert_eq!(row["standing"], "within", "{row}");
        assert!(number(&row["checked"]) > 0.0, "{row}");
    }
    assert!(
        said.contains("overshoot") && said.contains("rise "),
        "{said}"
    );
    let list = told.json["packet_list"].as_array().expect("packets");
    assert_eq!(list.len(), PACKETS);
    assert!(list.iter().all(|packet| packet["bytes"] == "FF 00 FF"));
    // The start bit begins behind 40 ones at the first, 16 and an end bit later.
    let first = 100e-6 + 40.0 * 116e-6;
    assert!(
        (number(&list[0]["at_s"]) - first).abs() < 1e-7,
        "{}",
        list[0]
    );
}

#[test]
fn packets_are_handed_out_as_lines() {
    let (_folder, path) = file("track.npy", &array(&SOUND.volts()));
    let words = ["--rate", "4 MHz", "--scale", "1 V", "--json", "--packets"];
    let done = cargo_bin_cmd!("bufferstop")
        .arg("inspect")
        .arg(&path)
        .args(words)
        .output()
        .expect("the command runs");
    let said = String::from_utf8(done.stdout).expect("UTF-8");
    let lines = said
        .lines()
        .map(|line| serde_json::from_str::<Value>(line).expect("JSON"));
    let lines: Vec<Value> = lines.collect();
    assert_eq!(lines.len(), PACKETS + 1);
    assert_eq!(lines[0]["packet"]["words"], "idle");
    assert_eq!(lines[PACKETS]["inspection"]["standing"], "within");
}

/// Limit: 2.4 V/us between -4 V and +4 V (S-9.1:2020).
#[test]
fn every_slow_edge_is_a_violation_not_a_missing_row() {
    for (up, status) in [(0.5, 1), (1.0, 1), (2.2, 1), (2.6, 0)] {
        let wave = Wave {
            slew: (up, 10.0),
            ..SOUND
        };
        let (told, said) = told(&wave, &wave.volts());
        assert_eq!(told.status, status, "{up}: {}", told.json["rules"]);
        let row = rule(&told, "rising slew low");
        let seen = number(&row["value"]);
        assert!((seen / (up * 1e6) - 1.0).abs() < 0.03, "{up}: {row}");
        let broken = row["standing"] == "violation";
        assert_eq!(broken, status == 1, "{row}");
        assert!(said.contains("rising slew low"), "{said}");
        assert_eq!(rule(&told, "falling slew low")["standing"], "within");
        if broken {
            let at = number(&row["places"][0]["at_s"]);
            // The second edge upwards is the first between two whole halves.
            let near = edges().iter().any(|edge| (edge - at).abs() < 10e-6);
            assert!(near, "{row}");
        }
    }
}

/// Distortion is allowed from -2 V to +2 V (S-9.1:2020 table 2). At 5 V/us the
/// voltage passes `top` volts, runs back to `bottom` within 0.5 us, stays there for
/// two samples, so that one of them reads it whatever the phase, and goes on.
#[test]
fn an_edge_that_runs_backwards_is_judged_by_how_far_out_it_does() {
    for (top, bottom, status) in [(3.0, 0.0, 1), (1.5, 0.5, 0), (1.0, -2.3, 1)] {
        let wave = Wave {
            slew: (5.0, 5.0),
            rate: 20e6,
            ..SOUND
        };
        let edges = edges();
        let bent = wave.samples().into_iter().map(|(t, volts)| {
            let place = edges.partition_point(|&edge| edge <= t);
            let since = place.checked_sub(1).map_or(-1.0, |edge| t - edges[edge]);
            let from = top / 5e6;
            if place % 2 == 1 && place > 1 && (from..from + 0.6e-6).contains(&since) {
                top + (bottom - top) * ((since - from) / 0.5e-6).min(1.0)
            } else {
                volts
            }
        });
        let (told, _) = told(&wave, &bent.collect::<Vec<f64>>());
        assert_eq!(told.status, status, "{top}: {}", told.json["rules"]);
        let row = rule(&told, "crossing distortion");
        let size = f64::max(top, -bottom);
        assert!((number(&row["value"]) - size).abs() < 0.4, "{top}: {row}");
        let broken = row["standing"] == "violation";
        assert_eq!(broken, status == 1, "{row}");
        // Every rise between two whole halves.
        let rises = (edges.len() - 2) / 2;
        let beyond = if broken { rises - 1 } else { 0 };
        let found = number(&row["beyond"]) as usize;
        assert!(found.abs_diff(beyond) <= 1, "{beyond}: {row}");
    }
}

#[test]
fn one_sided_voltages_infinite_samples_and_unknown_values_are_never_within() {
    let volts = SOUND.volts();
    let lifted: Vec<f64> = volts.iter().map(|volts| volts + 15.0).collect();
    let (one_sided, said) = told(&SOUND, &lifted);
    assert_eq!(one_sided.status, 2, "{}", one_sided.json["rules"]);
    assert!(said.contains("one sign only"), "{said}");
    for what in IN_FORCE {
        assert_eq!(rule(&one_sided, what)["standing"], "inconclusive", "{what}");
    }
    let every_tenth = |(index, volts): (usize, &f64)| {
        if index % 10 == 3 {
            f64::INFINITY
        } else {
            *volts
        }
    };
    let infinite: Vec<f64> = volts.iter().enumerate().map(every_tenth).collect();
    let (infinite, said) = told(&SOUND, &infinite);
    assert_eq!(infinite.status, 2, "{}", infinite.json["rules"]);
    assert!(said.contains("readings are infinite"), "{said}");
    let lost = number(&infinite.json["unread"]["infinite"]["total"]);
    let whole = volts.len() as f64 / SOUND.rate;
    assert!((lost / whole - 0.1).abs() < 1e-3, "{lost} of {whole}");

    let mut dump = String::from(
        "$timescale 1 us $end\n$var wire 1 ! track $end\n$enddefinitions $end\n#0\nx!\n",
    );
    for at in 1..1_000 {
        let _ = write!(
            dump,
            "#{}\n{}!\n",
            at * 58,
            if at % 2 == 0 { 'x' } else { 'z' }
        );
    }
    let (_folder, path) = file("track.vcd", dump.as_bytes());
    let unknown = inspect(&path, &[]);
    assert_eq!(
        unknown.status, 2,
        "{} {}",
        unknown.said, unknown.json["rules"]
    );
    assert_eq!(
        rule(&unknown, "wrong check bytes")["standing"],
        "inconclusive"
    );
    assert_eq!(
        rule(&unknown, "half of a 1 too short")["standing"],
        "inconclusive"
    );
    shown(&path, &[]);
}

/// Amplitude of every half from 8.5 to 22 V (S-9.1:2020 table 3).
#[test]
fn one_collapsed_half_and_unequal_polarities_are_found() {
    let collapsed = Wave {
        level: |half, _| if half % 40 == 21 { 5.0 } else { 15.0 },
        ..SOUND
    };
    let unequal = Wave {
        level: |_, up| if up { 12.0 } else { 7.0 },
        ..SOUND
    };
    let high = Wave {
        level: |_, up| if up { 24.0 } else { 16.0 },
        ..SOUND
    };
    let halves = edges().len() - 1;
    let low = (1..=halves).filter(|half| half % 40 == 21).count();
    let odd = halves.div_ceil(2);
    for (wave, what, level, beyond) in [
        (collapsed, "amplitude too low, any scale", 5.0, low),
        (unequal, "amplitude too low, any scale", 7.0, halves - odd),
        (high, "amplitude too high", 24.0, odd),
    ] {
        let (told, said) = told(&wave, &wave.volts());
        assert_eq!(told.status, 1, "{level}: {}", told.json["rules"]);
        let row = rule(&told, what);
        assert!((number(&row["value"]) - level).abs() < 0.05, "{row}");
        let found = number(&row["beyond"]) as usize;
        assert!(found.abs_diff(beyond) <= 1, "{beyond} of {halves}: {row}");
        let at = number(&row["places"][0]["at_s"]);
        let edges = edges();
        let half = edges.iter().position(|edge| (edge - at).abs() < 1e-6);
        let half = half.unwrap_or_else(|| panic!("no edge at {at}")) + 1;
        assert!(
            ((wave.level)(half, half % 2 == 1) - level).abs() < 1e-9,
            "{half}"
        );
        assert!(said.contains(&format!("at {at:.6}")), "{said}");
    }
}

#[test]
fn what_was_not_there_or_not_read_is_told_and_decides_nothing() {
    let volts = SOUND.volts();
    let third = volts.len() / 3;
    for (fill, words) in [
        (0.0, "there is no signal"),
        (f64::NAN, "there are no readings"),
    ] {
        for from in [0, third, 2 * third] {
            let mut cut = volts.clone();
            cut[from..from + third].fill(fill);
            let (told, said) = told(&SOUND, &cut);
            let rules = &told.json["rules"];
            assert_ne!(told.status, 0, "{words} from {from}: {rules}");
            let row = rule(&told, "parts are not the signal");
            let lost = number(&row["value"]);
            let planted = third as f64 / SOUND.rate;
            assert!((lost / planted - 1.0).abs() < 0.02, "{from}: {row}");
            assert!(said.contains("parts are not the signal"), "{said}");
        }
    }
}

/// Bits beside a stretch without readings are no packet together, and no half-bit
/// reaches across it: nothing is broken by what was not read. The stretch is longer
/// than a half-bit, or hides one edge, and begins anywhere in a bit.
#[test]
fn what_was_not_read_breaks_no_rule() {
    let volts = SOUND.volts();
    for (place, samples) in (0..24).map(|n| (7_000 + 61 * n, [40, 333, 900, 8_001][n % 4])) {
        let mut cut = volts.clone();
        cut[place..place + samples].fill(f64::NAN);
        let (told, said) = told(&SOUND, &cut);
        let rules = told.json["rules"].as_array().expect("rules");
        let broken = rules.iter().find(|row| row["standing"] == "violation");
        assert!(broken.is_none(), "{samples} from {place}: {broken:?}");
        assert_eq!(told.json["signal"]["packets"]["wrong_check"], 0, "{place}");
        let known = number(&told.json["signal"]["packets"]["all"]);
        assert!(known >= PACKETS as f64 - 2.0, "{place}: {known}");
        assert!(said.contains("in 1 stretch of"), "{said}");
    }
}

/// Positive halves cut off at 14 V by the range, while negative ones ripple.
#[test]
fn flat_tops_are_bounds() {
    let wave = Wave {
        level: |_, _| 16.0,
        rate: 4e6,
        ..SOUND
    };
    let cut = wave.samples().into_iter().map(|(t, volts)| {
        let ripple = 0.4 * (t * 2.0 * std::f64::consts::PI * 110e3).sin();
        let volts = if volts.abs() > 10.0 {
            volts + ripple
        } else {
            volts
        };
        volts.min(14.0)
    });
    let (told, said) = told(&wave, &cut.collect::<Vec<f64>>());
    let row = rule(&told, "amplitude too high");
    assert_eq!(row["standing"], "inconclusive", "{row}");
    assert!(number(&row["value"]) >= 13.99, "{row}");
    assert_eq!(told.status, 2, "{}", told.json["rules"]);
    let odd = told.json["odd"].to_string();
    assert!(odd.contains("cut off flat at 14.00 V"), "{odd} {said}");
}

/// 20 A from the first sample on, off after 2 ms.
#[test]
fn a_capture_that_begins_inside_a_short_bounds_its_trip_time() {
    let mut text = String::from("time (us),coil (A)\n");
    for index in 0..6_000 {
        let _ = writeln!(text, "{index},{}", if index < 2_000 { 20.0 } else { 0.0 });
    }
    let (_folder, path) = file("short.csv", text.as_bytes());
    let words = ["--current", "coil", "--onset", "10 A"];
    let told = inspect(&path, &words);
    assert_eq!(told.status, 2, "{}", told.said);
    let said = shown(&path, &words);
    assert!(said.contains("begins inside the short"), "{said}");
    assert!(said.contains("onset of 10.00 A not seen"), "{said}");
    let time = told.json["trip"]["trip_time"].to_string();
    assert!(time.contains("above"), "{time}");
    assert!(said.contains("trip time >"), "{said}");
}
