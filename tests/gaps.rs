//! What a capture does not say of its signal: x and z, a dump switched off,
//! samples that are none, an end of the range that was reached; and numbers that
//! nobody can hold. Nothing of that may read as a sound signal, and none of it is
//! a bug. Each case was once answered wrongly.

use crate::arrays::{PACKETS, RATE, SWING, array, idles, number, told_as_planted};
use crate::inspect::{self, Told, file, inspect};
use std::fmt::Write as _;

fn double(volts: &[f64]) -> Vec<u8> {
    let data: Vec<u8> = volts.iter().flat_map(|v| v.to_le_bytes()).collect();
    array("<f8", &format!("{},", volts.len()), &data)
}

fn inspected(volts: &[f64]) -> Told {
    let (_folder, path) = file("track.npy", &double(volts));
    inspect(&path, &["--rate", "2 MHz", "--scale", "1 V"])
}

fn open_row(told: &Told) -> bool {
    let rules = told.json["rules"].as_array();
    let mut rules = rules.into_iter().flatten();
    rules.any(|row| row["what"] == "parts are not the signal" && row["standing"] == "inconclusive")
}

/// Idle packets in us, of which the values from 20 to 30 ms are replaced.
fn dump_with(hidden: &str) -> String {
    let sound = inspect::idles((58_000, 58_000), 100_000, 8);
    let mut text = String::new();
    let mut inside = false;
    for line in sound.lines() {
        let at = line
            .strip_prefix('#')
            .and_then(|ticks| ticks.parse::<u64>().ok());
        if let Some(at) = at {
            let now_inside = (20_000_000..30_000_000).contains(&at);
            if now_inside && !inside {
                let _ = writeln!(text, "#{at}\n{hidden}");
            }
            inside = now_inside;
        }
        if !inside {
            let _ = writeln!(text, "{line}");
        }
    }
    text
}

#[test]
fn unknown_values_and_a_dump_switched_off_are_not_the_old_level() {
    for hidden in ["x!", "z!", "$dumpoff\nx!\n$end"] {
        let (_folder, path) = file("track.vcd", dump_with(hidden).as_bytes());
        let told = inspect(&path, &[]);
        assert_eq!(
            told.status, 2,
            "{hidden}: {} {}",
            told.said, told.json["rules"]
        );
        assert!(open_row(&told), "{hidden}: {}", told.json["rules"]);
        let total = number(&told, "/unread/missing/total");
        assert!((total - 10e-3).abs() < 0.3e-3, "{hidden}: {total}");
        // What the gap cuts is no half-bit: nothing is too long or too short.
        let rules = told.json["rules"].as_array().expect("rules");
        let broken = rules
            .iter()
            .filter(|row| row["standing"] == "violation")
            .count();
        assert_eq!(broken, 0, "{hidden}: {}", told.json["rules"]);
        assert_eq!(told.json["signal"]["neither"], 0, "{hidden}");
    }
    // Nothing but x: no signal, and it says so.
    let head = "$timescale 1 us $end\n$var wire 1 ! rail $end\n$enddefinitions $end\n";
    let mut text = format!("{head}#0\n0!\n");
    for n in 1..4000 {
        let _ = writeln!(text, "#{}\nx!", n * 58);
    }
    let (_folder, path) = file("track.vcd", text.as_bytes());
    let told = inspect(&path, &[]);
    assert_eq!(told.status, 2, "{}", told.said);
    assert!(
        number(&told, "/unread/missing/total") > 0.23,
        "{}",
        told.json["unread"]
    );
}

#[test]
fn a_sample_that_is_none_is_no_bug() {
    let volts = idles(false);
    let rising = (1..volts.len()).filter(|&n| volts[n - 1] < 0.0 && volts[n] >= 0.0);
    let edge = rising.take(20).last().expect("edges");
    for beside in [0, 1, 3] {
        let mut one = volts.clone();
        one[edge + beside] = f64::NAN;
        let told = inspected(&one);
        // One sample hides no half-bit.
        told_as_planted(&told, 0.02, &format!("{beside} beside an edge"));
        assert_eq!(told.json["unread"]["missing"]["samples"], 1);
    }
}

#[test]
fn long_gaps_and_infinite_samples_decide_nothing() {
    let volts = idles(false);
    let mut gap = volts.clone();
    gap[20_000..40_000].fill(f64::NAN);
    let told = inspected(&gap);
    assert!(
        told.status != 0 && open_row(&told),
        "{}",
        told.json["rules"]
    );
    let from = number(&told, "/unread/missing/first/0/from");
    assert!((from - 20_000.0 / RATE).abs() < 1e-9, "{from}");
    let mut infinite = volts.clone();
    for n in (0..infinite.len()).filter(|n| n * 7919 % 10 == 3) {
        infinite[n] = f64::INFINITY;
    }
    let told = inspected(&infinite);
    assert!(
        told.status != 0 && open_row(&told),
        "{}",
        told.json["rules"]
    );
    let share = number(&told, "/unread/infinite/samples") / volts.len() as f64;
    assert!((share - 0.1).abs() < 0.01, "{share}");
}

#[test]
fn the_last_code_of_the_type_is_told() {
    // 15 V at 100 mV a code would need 150: cut off at 127 and -128.
    let codes: Vec<u8> = idles(false)
        .iter()
        .map(|v| (v / 0.1).round().clamp(-128.0, 127.0) as i8 as u8)
        .collect();
    let (_folder, path) = file(
        "track.npy",
        &array("|i1", &format!("{},", codes.len()), &codes),
    );
    let told = inspect(&path, &["--rate", "2 MHz", "--scale", "0.1 V"]);
    for (place, level) in [("0", 12.7), ("1", -12.8)] {
        let found = number(&told, &format!("/unread/clipped/{place}/level"));
        assert!((found - level).abs() < 1e-9, "{found}");
        assert_eq!(
            told.json
                .pointer(&format!("/unread/clipped/{place}/last_code")),
            Some(&true.into())
        );
    }
    let odd = told.json["odd"].to_string();
    assert!(
        odd.contains("positive halves are cut off flat at 12.7"),
        "{odd}"
    );
}

/// Codes around 128 with `--offset`, and the same in the file beside.
#[test]
fn an_offset_stands_beside_the_scale() {
    let codes: Vec<u8> = idles(false)
        .iter()
        .map(|v| (v / 0.125 + 128.0).round() as u8)
        .collect();
    let (folder, path) = file(
        "track.npy",
        &array("|u1", &format!("{},", codes.len()), &codes),
    );
    let words = ["--rate", "2 MHz", "--scale", "0.125 V", "--offset", "-16 V"];
    told_as_planted(&inspect(&path, &words), 0.125, "given");
    let beside = "format = 1\nrate = \"2 MHz\"\nscale = \"0.125 V\"\noffset = \"-16 V\"\n";
    std::fs::write(folder.path().join("track.toml"), beside).expect("written");
    told_as_planted(&inspect(&path, &[]), 0.125, "beside");
}

/// The same wave in a sound file, its rate in the header.
#[test]
fn a_sound_file_tells_the_same_signal() {
    let volts = idles(false);
    let data: Vec<u8> = volts
        .iter()
        .flat_map(|v| ((v / 1e-3) as i16).to_le_bytes())
        .collect();
    let mut bytes = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0".to_vec();
    bytes.extend(2_000_000_u32.to_le_bytes());
    bytes.extend(4_000_000_u32.to_le_bytes());
    bytes.extend([2, 0, 16, 0]);
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(&data);
    let (_folder, path) = file("track.wav", &bytes);
    told_as_planted(&inspect(&path, &["--scale", "1 mV"]), 0.02, "sound");
    assert_eq!(inspect(&path, &[]).status, 64);
    let (_folder, cut) = file("track.wav", &bytes[..bytes.len() - 100]);
    let told = inspect(&cut, &["--scale", "1 mV"]);
    assert_eq!(told.status, 65, "{}", told.said);
    assert!(told.said.contains("byte"), "{}", told.said);
}

#[test]
fn numbers_beyond_all_bounds_are_faults_not_bugs() {
    let (_folder, path) = file("track.npy", &double(&idles(false)));
    for words in [
        ["--rate", "1e300 Hz", "--scale", "1 V"],
        ["--rate", "1e-300 Hz", "--scale", "1 V"],
        ["--rate", "1e-3 Hz", "--scale", "1 V"],
        ["--rate", "2 MHz", "--scale", "1e300 V"],
        ["--rate", "2 MHz", "--scale", "1e-300 V"],
    ] {
        let told = inspect(&path, &words);
        assert_eq!(told.status, 64, "{words:?}: {}", told.said);
        assert!(
            told.said.contains(words[0]) || told.said.contains(words[2]),
            "{}",
            told.said
        );
    }
    let (_folder, path) = file(
        "track.vcd",
        inspect::idles((58_000, 58_000), 100_000, 2).as_bytes(),
    );
    assert_eq!(inspect(&path, &["--rate", "1e300 Hz"]).status, 64);
    let late = "time (s),rail (V)\n1e300,1\n2e300,2\n";
    let (_folder, path) = file("late.csv", late.as_bytes());
    assert_eq!(inspect(&path, &[]).status, 65);
}

/// Steps of 0.3 and 0.7 us in turn: the end is the last instant, not the rows
/// times the longest step.
#[test]
fn uneven_rows_end_where_the_last_one_is() {
    let volts = idles(false);
    let mut text = String::from("time (us),track (V)\n");
    for (n, volts) in volts.iter().enumerate() {
        let at = n as f64 / 2.0 + if n % 2 == 0 { 0.0 } else { 0.2 };
        let _ = writeln!(text, "{at:.1},{volts:.3}");
    }
    let (_folder, path) = file("track.csv", text.as_bytes());
    let told = inspect(&path, &[]);
    let end = number(&told, "/signal/to") * 1e-12;
    let last = (volts.len() - 1) as f64 / 2.0 * 1e-6;
    assert!((end - last).abs() < 1e-6, "{end} s, not {last}");
    assert_eq!(number(&told, "/signal/packets/all") as u64, PACKETS);
    let level = number(&told, "/signal/levels/positive/value");
    assert!((level - SWING).abs() < 0.02, "{level}");
}

/// Sampled at 1 MHz and dumped in nanoseconds: an edge is known to a
/// microsecond, whatever the file's unit.
#[test]
fn a_coarse_capture_in_a_fine_dump_is_not_finer_for_it() {
    // Halves that are no whole microseconds, seen at the next sample.
    let exact = inspect::idles((58_300, 58_300), 100_400, 8);
    let mut text = String::new();
    for line in exact.lines() {
        match line
            .strip_prefix('#')
            .and_then(|ticks| ticks.parse::<u64>().ok())
        {
            Some(at) => {
                let _ = writeln!(text, "#{}", at.div_ceil(1000) * 1000);
            }
            None => {
                let _ = writeln!(text, "{line}");
            }
        }
    }
    let (_folder, path) = file("track.vcd", text.as_bytes());
    let told = inspect(&path, &[]);
    let period = number(&told, "/period_s");
    assert!((period - 1e-6).abs() < 1e-12, "{period}");
}

/// A sound card takes two or three samples a half-bit: edges lie anywhere between
/// two of them, and nothing that follows from that is the signal's fault.
#[test]
fn a_rate_that_resolves_no_half_bit_calls_nothing_broken() {
    let volts = idles(false);
    for rate in [48e3, 96e3, 192e3] {
        let places = (0..).map(|n| (f64::from(n) * RATE / rate) as usize);
        let places = places.take_while(|&place| place < volts.len());
        let slow: Vec<f64> = places.map(|place| volts[place]).collect();
        let (_folder, path) = file("track.npy", &double(&slow));
        let told = inspect(&path, &["--rate", &format!("{rate} Hz"), "--scale", "1 V"]);
        assert_eq!(told.status, 2, "{rate}: {}", told.json["rules"]);
    }
}
