//! The model capture device against what the circuit must physically show.

use super::tests::{ask, next_error, powered, tell, value, world};
use super::*;
use crate::clock::BenchSpan;
use crate::ident::Role;
use crate::protocol::{Reading, block_data, list};

fn words(world: &mut World, line: &str) -> Vec<u16> {
    let reply = world.exchange(Role::Capture, line.as_bytes());
    let reply = reply.strip_suffix(b"\n").expect("an ending");
    let data = block_data(reply).expect("a block");
    data.chunks(2)
        .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
        .collect()
}

/// One channel in its own unit, by the preamble alone.
fn samples(world: &mut World, channel: u32, units_per_volt: f64) -> (Vec<f64>, Vec<f64>) {
    let preamble = ask(world, Role::Capture, &format!("TRAC:PRE? CHAN{channel}"));
    let preamble = list(preamble.as_bytes()).expect("numbers");
    let preamble: Vec<_> = preamble.into_iter().filter_map(Reading::value).collect();
    let codes = words(world, &format!("TRAC? CHAN{channel},0,{}", preamble[0]));
    let volts = |code: u16| f64::from(code.cast_signed()) * preamble[3] + preamble[4];
    let values = codes.into_iter().map(|code| volts(code) * units_per_volt);
    (values.collect(), preamble)
}

#[test]
fn the_capture_sees_a_short_at_its_marker() {
    let mut world = world();
    powered(&mut world);
    tell(
        &mut world,
        Role::Capture,
        &[
            "SWE:TINT 1E-6",
            "SWE:POIN 20000",
            "SWE:OFFS:POIN -2000",
            "VOLT1:RANG 1.5",
            "VOLT2:RANG 5",
            "TRIG:SOUR DIG3;SLOP POS",
            "INIT",
        ],
    );
    assert_eq!(ask(&mut world, Role::Capture, "VOLT1:RANG?"), "2.0E+00");
    assert_eq!(value(&mut world, Role::Capture, "STAT:OPER:COND?"), 32.0);
    assert_eq!(ask(&mut world, Role::Capture, "INIT"), "");
    assert_eq!(next_error(&mut world, Role::Capture), -213);
    assert_eq!(ask(&mut world, Role::Capture, "TRAC:PRE? CHAN1"), "");
    assert_eq!(next_error(&mut world, Role::Capture), -230);
    world.advance(BenchSpan::from_microseconds(100_000));
    assert_eq!(value(&mut world, Role::Capture, "STAT:OPER:COND?"), 32.0);
    tell(&mut world, Role::Switch, &["ROUT:CLOS:PULS (@1),0.1"]);
    world.advance(BenchSpan::from_microseconds(2_000));
    assert_eq!(value(&mut world, Role::Capture, "STAT:OPER:COND?"), 16.0);
    world.advance(BenchSpan::from_microseconds(30_000));
    assert_eq!(value(&mut world, Role::Capture, "STAT:OPER:COND?"), 0.0);

    let (node, preamble) = samples(&mut world, 1, 10.0);
    assert_eq!(&preamble[..3], [20_000.0, 1e-6, -2e-3]);
    // Twelve bits over +/-2 V. Spikes at the bouncing contact may clip.
    assert_eq!(
        (preamble[3], preamble[4], preamble[6]),
        (2.0 / 2048.0, 0.0, 12.0)
    );
    // Before the short the rails stand at +/-18 V; 0.5 % and 0.25 % of 20 V.
    let settled = node[..2000].iter().filter(|v| v.abs() > 10.0);
    let settled: Vec<f64> = settled.map(|v| v.abs()).collect();
    assert!(settled.len() > 1900);
    let mean = settled.iter().sum::<f64>() / settled.len() as f64;
    assert!((mean - 18.0).abs() < 0.2, "{mean}");
    // The marker rises with the trigger, and the current with the contact.
    let lines = words(&mut world, "TRAC? DIG,0,20000");
    let marker = lines.iter().position(|word| word & 8 != 0);
    assert_eq!(marker, Some(2000));
    let (current, _) = samples(&mut world, 2, 20.0);
    let rise = current.iter().position(|i| i.abs() > 4.0).expect("a short");
    assert!((2000..2100).contains(&rise), "{rise}");
    // The default board counts 8 ms above its trip current, then lets go; the
    // filter of its sensor adds some tens of microseconds.
    let last = current
        .iter()
        .rposition(|i| i.abs() > 4.0)
        .expect("a short");
    assert!((7_900..9_000).contains(&(last - rise)), "{last} {rise}");
    // All ones: halves of 58 us (NMRA S-9.1), so A rises every 116 samples.
    let rises: Vec<_> = (1..2000)
        .filter(|&n| lines[n] & 1 == 1 && lines[n - 1] & 1 == 0)
        .collect();
    assert!(
        rises
            .windows(2)
            .all(|w| (116..=117).contains(&(w[1] - w[0]))),
        "{rises:?}"
    );
    assert!(lines.iter().all(|word| (word & 1 == 1) != (word & 2 == 2)));
}

#[test]
fn parts_of_a_record_agree_and_clipping_is_said() {
    let mut world = world();
    powered(&mut world);
    let setup = "SWE:TINT 2E-6;POIN 500;:VOLT1:RANG 1;:TRIG:SOUR INT1;LEV 0.5;SLOP NEG;:INIT";
    tell(&mut world, Role::Capture, &[setup]);
    world.advance(BenchSpan::from_microseconds(20_000));
    let whole = words(&mut world, "TRAC? CHAN1");
    assert_eq!(words(&mut world, "TRAC? CHAN1,100,50"), whole[100..150]);
    assert_eq!(words(&mut world, "TRAC? CHAN1,0,500"), whole);
    let (node, preamble) = samples(&mut world, 1, 10.0);
    assert_eq!(preamble[5], 1.0, "18 V behind 1:10 do not fit 1 V");
    assert!(node.iter().all(|v| v.abs() <= 10.0));
    // Falling through 5 V at the first sample, negative soon after.
    assert!((node[0] - 5.0).abs() < 1.0, "{}", node[0]);
    assert!(node[5] < 0.0, "{}", node[5]);
    for (line, code) in [
        ("TRAC? CHAN1,0,501", -222),
        ("TRAC? CHAN6", -222),
        ("TRAC? DIG2", -141),
        ("VOLT6:RANG 1", -114),
        ("VOLT1:RANG 61", -222),
        ("TRIG:SOUR DIG8", -222),
        ("SWE:TINT 1NS", -222),
    ] {
        assert_eq!(ask(&mut world, Role::Capture, line), "");
        assert_eq!(next_error(&mut world, Role::Capture), code, "{line}");
    }
    tell(&mut world, Role::Capture, &["INIT", "ABOR"]);
    assert_eq!(ask(&mut world, Role::Capture, "TRAC? CHAN1"), "");
    assert_eq!(next_error(&mut world, Role::Capture), -230);
}

#[test]
fn the_noise_is_as_stated() {
    let mut world = world();
    tell(
        &mut world,
        Role::Capture,
        &["SWE:TINT 1E-6;POIN 20000;:INIT"],
    );
    world.advance(BenchSpan::from_microseconds(60_000));
    let (_, preamble) = samples(&mut world, 1, 10.0);
    assert_eq!(preamble[5], 0.0, "a dead input does not clip");
    let codes = words(&mut world, "TRAC? CHAN1");
    let codes: Vec<f64> = codes
        .into_iter()
        .map(|c| f64::from(c.cast_signed()))
        .collect();
    let mean = codes.iter().sum::<f64>() / 20_000.0;
    let variance = codes.iter().map(|c| (c - mean).powi(2)).sum::<f64>() / 20_000.0;
    // 0.7 codes and a uniform rounding error of 1/12 (Sheppard's correction).
    let expected = 0.49 + 1.0 / 12.0;
    assert!((variance - expected).abs() < 0.05, "{variance}");
    // A dead input shows the offset alone: 0.25 % of 2048 codes at most.
    assert!(mean.abs() < 5.12, "{mean}");
}

#[test]
fn reading_the_meters_does_not_disturb_a_capture() {
    // The meter's own history must neither cut nor outlive the capture's.
    let mut world = world();
    powered(&mut world);
    let setup = "SWE:TINT 1E-5;POIN 10000;:TRIG:SOUR DIG3;:INIT";
    tell(&mut world, Role::Capture, &[setup]);
    tell(&mut world, Role::Switch, &["ROUT:CLOS:PULS (@1),0.05"]);
    for _ in 0..10 {
        let _ = value(&mut world, Role::Supply, "MEAS:VOLT?");
    }
    assert_eq!(value(&mut world, Role::Capture, "STAT:OPER:COND?"), 0.0);
    let lines = words(&mut world, "TRAC? DIG");
    assert_eq!(lines.len(), 10_000);
    // 50 ms of 10 us samples, the time base within 50 ppm.
    let closed = lines.iter().filter(|word| **word & 8 != 0).count();
    assert!((4998..=5002).contains(&closed), "{closed}");
}
