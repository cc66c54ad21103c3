//! Sampled track voltages made from patterns with known slope, levels and
//! cutouts, read back. What was planted is what must be found.

use super::*;
use crate::seed::Seed;
use crate::units::Seconds;
use crate::waveform::crossing::Sample;

/// 10 MHz.
const PERIOD: f64 = 1e-7;
const HIGH: f64 = 15.3;
const LOW: f64 = -14.9;
/// 3 V/us.
const SLEW: f64 = 3e6;

/// The voltage of `pattern` played `times` times: towards each step's level at
/// the slew rate, with noise of `noise` volts. The rails joined are 5 mV.
fn volts(pattern: &Pattern, times: usize, noise: f64) -> Vec<f64> {
    let mut chance = Seed(9).stream(&[1]);
    let mut value = LOW;
    let mut samples = vec![LOW; 200];
    for step in (0..times).flat_map(|_| &pattern.steps) {
        let target = match step.polarity {
            Polarity::Positive => HIGH,
            Polarity::Negative => LOW,
            Polarity::Zero => 0.005,
        };
        for _ in 0..step.duration.picoseconds() / 100_000 {
            let reach = SLEW * PERIOD;
            value += (target - value).clamp(-reach, reach);
            samples.push(value + noise * chance.normal());
        }
    }
    // The edge that ends the last half-bit.
    samples.extend((0..400).map(|n| (LOW + SLEW * PERIOD * f64::from(n)).min(HIGH)));
    samples
}

fn settings(scale: Scale) -> ChannelSettings {
    let edge = EdgeUncertainty::sampled(PERIOD, 0.0);
    ChannelSettings::new(Seconds::new(PERIOD), scale, DecoderSettings::new(edge))
}

fn read<S: Sample>(samples: &[S], scale: Scale, piece: usize) -> (u64, SignalReport) {
    let mut analyser = ChannelAnalyser::new(settings(scale));
    let mut told = 0;
    for samples in samples.chunks(piece) {
        analyser.push(samples, &mut |_| told += 1);
    }
    let report = analyser.finish(&mut |_| told += 1);
    (told, report)
}

fn near(found: f64, planted: f64, within: f64) {
    assert!((found - planted).abs() <= within, "{found} for {planted}");
}

#[test]
fn planted_levels_slopes_and_packets_are_found() {
    let pattern = Pattern::idle(&PacketShape::WITH_CUTOUT).expect("a packet");
    let samples = volts(&pattern, 12, 0.02);
    let (told, report) = read(&samples, Scale::VOLTS, 10_000);
    assert_eq!((told, report.packets.all), (12, 12));
    assert_eq!(report.packets.wrong_check + report.packets.broken, 0);
    // The first cutout has no packet before it.
    assert_eq!(report.cutouts.count, 11);
    let levels = report.levels.as_ref().expect("two levels");
    near(levels.positive.value, HIGH, 0.02);
    near(levels.negative.value, -LOW, 0.02);
    near(levels.amplitude.value, 15.1, 0.02);
    near(levels.symmetry.value, 0.4, 0.03);
    let shape = report.shape.as_ref().expect("transitions");
    for figures in [&shape.rising, &shape.falling] {
        assert!(figures.measured > 20, "{figures:?}");
        near(figures.slew.expect("slew").value, SLEW, 0.01 * SLEW);
        // 80 % of the swing at the slope.
        let duration = 0.8 * (HIGH - LOW) / SLEW;
        near(
            figures.duration.expect("10 to 90 %").value,
            duration,
            0.03 * duration,
        );
        assert_eq!(figures.slew_bounded, 0);
        assert_eq!(figures.distorted, 0, "{figures:?}");
        assert!(figures.overshoot.expect("measured").1.value < 0.01);
    }
    // Zero is passed 15.3 V and 14.9 V after the turn: the positive half
    // seems longer or shorter by 0.4 V twice over the slope.
    let signed = report.asymmetry.as_ref().expect("ones");
    near(signed.mean.value, 2.0 * (HIGH + LOW) / SLEW, 3e-8);
    near(
        report.ones.all.as_ref().expect("ones").mean.value,
        58e-6,
        3e-8,
    );
    near(
        report.cutouts.start.as_ref().expect("starts").mean.value,
        29e-6,
        2e-6,
    );
}

/// Levels anywhere between two codes, without noise: each is known to a bin, so
/// their sum errs by sqrt 2 of what one does and half their difference by half of
/// that (GUM 5.1.2, F.2.2.1). u is what the errors of many pairs scatter by.
#[test]
fn symmetry_and_amplitude_count_a_bin_of_either_level() {
    let mut chance = Seed(10).stream(&[1]);
    let scale = Scale {
        gain: 0.05,
        offset: 0.0,
        step: 1.0,
    };
    let (mut symmetry, mut amplitude) = (0.0, 0.0);
    let mut stated = (0.0, 0.0);
    let pairs = 400;
    for _ in 0..pairs {
        let (high, low) = (15.0 + chance.uniform(), -15.0 - chance.uniform());
        let code = |volts: f64| libm::round(volts / scale.gain) as i16;
        let samples: Vec<i16> = (0..8000)
            .map(|n| code(if n / 580 % 2 == 0 { low } else { high }))
            .collect();
        let levels = read(&samples, scale, samples.len()).1.levels;
        let levels = levels.expect("two levels");
        symmetry += (levels.symmetry.value - (high + low)).powi(2);
        amplitude += (levels.amplitude.value - (high - low) / 2.0).powi(2);
        stated = (levels.symmetry.u, levels.amplitude.u);
    }
    for (squares, u) in [(symmetry, stated.0), (amplitude, stated.1)] {
        let scatter = libm::sqrt(squares / f64::from(pairs));
        // A standard deviation from 400 is good to 4 %, three of which are 12 %.
        near(u / scatter, 1.0, 0.12);
    }
}

#[test]
fn pieces_types_and_probe_direction_change_nothing() {
    let pattern = Pattern::address_55_step_6(&PacketShape::PLAIN).expect("a packet");
    let samples = volts(&pattern, 8, 0.0);
    let codes: Vec<i16> = samples
        .iter()
        .map(|v| (v * 1000.0).round() as i16)
        .collect();
    let scale = Scale {
        gain: 1e-3,
        offset: 0.0,
        step: 1.0,
    };
    let (_, whole) = read(&codes, scale, codes.len());
    assert_eq!(whole.packets.all, 8);
    for piece in [37, 1000, 4096, 100_001] {
        assert_eq!(read(&codes, scale, piece).1, whole, "pieces of {piece}");
    }
    let turned: Vec<i16> = codes.iter().map(|&code| -code).collect();
    let back = Scale {
        gain: -1e-3,
        ..scale
    };
    let (_, turned) = read(&turned, back, 5000);
    assert_eq!(turned.ones, whole.ones);
    assert_eq!(turned.packets, whole.packets);
    let (a, b) = (
        turned.levels.expect("levels"),
        whole.levels.expect("levels"),
    );
    near(a.positive.value, b.positive.value, 0.02);
    near(a.symmetry.value, b.symmetry.value, 0.02);
}

/// A dip back through zero on the way up, and a ringing top.
#[test]
fn planted_distortion_and_overshoot_are_found() {
    let mut samples = volts(&Pattern::ones(us(58.0)), 40, 0.0);
    let rises: Vec<usize> = (1..samples.len() - 1000)
        .filter(|&n| samples[n - 1] < 0.0 && samples[n] >= 0.0)
        .collect();
    for &at in &rises {
        samples[at + 3] = -1.5;
        for n in 0..20 {
            samples[at + 55 + n] = HIGH + 3.0;
        }
    }
    let (_, report) = read(&samples, Scale::VOLTS, 10_000);
    let shape = report.shape.expect("transitions");
    assert_eq!(shape.falling.distorted, 0);
    assert!(shape.rising.distorted > 20);
    let (low, high) = shape.rising.distortion.expect("planted");
    near(low, -1.5, 1e-9);
    assert!(high > 0.3 && high < 1.0, "{high}");
    let (_, maximum) = shape.rising.overshoot.expect("measured");
    near(maximum.value, 3.0 / (HIGH - LOW), 0.003);
    // Hysteresis keeps the dip from being an edge.
    assert_eq!(report.glitches.count, 0);
}

#[test]
fn uneven_steps_give_the_same_half_bits() {
    let samples = volts(
        &Pattern::idle(&PacketShape::PLAIN).expect("a packet"),
        5,
        0.0,
    );
    let mut chance = Seed(2).stream(&[1]);
    let mut analyser = ChannelAnalyser::new(settings(Scale::VOLTS));
    let mut told = 0;
    for (n, &value) in samples.iter().enumerate() {
        if chance.uniform() < 0.7 {
            let time = Seconds::new(n as f64 * PERIOD);
            analyser.push_at(time, value, &mut |_| told += 1);
        }
    }
    let report = analyser.finish(&mut |_| told += 1);
    assert_eq!(told, 5);
    near(report.ones.all.expect("ones").mean.value, 58e-6, 3e-8);
}

/// Halves of 58 us, samples at one phase, no noise: edges are steps at 10 MHz, with
/// 0.5 V x exp(-t / 1 us) on top of 18 V behind them. Where one side of the bridge
/// lags, an edge upwards begins 1.9 us before and rests at these levels meanwhile.
fn steps(lag: &[f64]) -> Vec<f64> {
    let behind = |n: usize| 18.0 + 0.5 * libm::exp(-(n as f64 + 0.25) * 0.1);
    let half = |number: usize| {
        (0..580).map(move |n| match number % 2 {
            0 if n + lag.len() >= 580 => lag[n + lag.len() - 580],
            0 => -behind(n),
            _ => behind(n),
        })
    };
    (0..301).flat_map(half).collect()
}

/// A lag is a pause in the edges of one direction: it is no noise, and no part of the
/// levels before them, so that what is read of the other direction stays what it was.
#[test]
fn a_pause_in_one_edge_changes_neither_levels_nor_the_other() {
    let lag = [vec![-16.0; 3], vec![0.3; 8], vec![-0.6; 8]].concat();
    let [sound, lagging] = [vec![], lag].map(|lag| {
        let (_, report) = read(&steps(&lag), Scale::VOLTS, 10_000);
        let levels = report.levels.expect("two levels");
        for level in [levels.positive, levels.negative] {
            near(level.value, 18.0, 1e-6);
        }
        let shape = report.shape.expect("transitions");
        shape.falling.overshoot.expect("a top").0
    });
    // 0.5 V of 36 V where the step ends, somewhere between two samples.
    near(sound.value, 0.5 / 36.0, sound.expanded());
    near(lagging.value, 0.5 / 36.0, lagging.expanded());
    near(lagging.value, sound.value, 1e-6);
    near(lagging.u, sound.u, 1e-6);
    assert!(sound.expanded() < 0.2 * 0.5 / 36.0, "{sound:?}");
}

/// Upwards a jump, downwards a line of two and a half samples, in 8 bits at 1 MHz: where
/// in its sample a jump lies nobody sees. Edges between ones and zeros all go upwards,
/// so that their means err by what is not known of those alone. Errors over u of both
/// means, squared and summed: chi-squared with 600 degrees of freedom is above 712 in
/// one of a thousand (Wilson and Hilferty 1931, from memory); a quarter of what is
/// expected stands for twice the U.
#[test]
fn means_of_halves_know_which_edges_two_of_them_share() {
    const CAPTURES: u32 = 600;
    let scale = Scale {
        gain: 0.2,
        offset: 0.0,
        step: 1.0,
    };
    let (period, level, length) = (1e-6, 16.0, 2.5);
    let mut squares = [0.0; 2];
    for key in 0..CAPTURES {
        let mut chance = Seed(20_262).stream(&[u64::from(key)]);
        // Positive and negative halves of a 1 and of a 0, in samples.
        let ones = [(); 2].map(|()| 56.0 + 4.0 * chance.uniform());
        let zero = 98.0 + 12.0 * chance.uniform();
        let mut bits = Vec::new();
        for _ in 0..4 {
            bits.extend([true; 15]);
            for _ in 0..3 {
                bits.push(false);
                bits.extend((0..8).map(|_| chance.uniform() < 0.5));
            }
        }
        let halves = bits.iter().map(|&one| if one { ones } else { [zero; 2] });
        let halves: Vec<f64> = halves.flatten().collect();
        let mut at = 60.0 + chance.uniform();
        let mut edges = vec![at];
        edges.extend(halves.iter().map(|half| {
            at += half;
            at
        }));
        // The last edge that has begun by then.
        let mut begun = 0;
        let code = |sample: u32| {
            let t = f64::from(sample);
            let begins = |number: usize| match edges.get(number) {
                Some(edge) if number % 2 == 1 => edge - length / 2.0,
                edge => edge.copied().unwrap_or(f64::INFINITY),
            };
            while t >= begins(begun) {
                begun += 1;
            }
            let volts = match begun.checked_sub(1) {
                None => -level,
                Some(number) if number % 2 == 0 => level,
                Some(number) => level * (2.0 * (edges[number] - t) / length).max(-1.0),
            };
            libm::round(volts / scale.gain) as i16
        };
        let codes: Vec<i16> = (0..at as u32 + 60).map(code).collect();
        let edge = EdgeUncertainty::sampled(period, 0.0);
        let settings = ChannelSettings {
            stride: 1,
            ..ChannelSettings::new(Seconds::new(period), scale, DecoderSettings::new(edge))
        };
        let mut scan = ChannelScan::new(settings);
        let mut seen = Vec::new();
        scan.push(&codes, &mut |edge| seen.push(edge));
        let scanned = scan.finish(&mut |edge| seen.push(edge));
        let settings = DecoderSettings::new(scanned.edge);
        let mut decoder = ScanDecoder::new(BenchInstant::ZERO, settings);
        for edge in seen {
            decoder.push(edge);
        }
        let report = decoder.finish(scanned).1;
        let truths = [(ones[0] + ones[1]) / 2.0, zero];
        let found = [report.ones.all, report.zeros.all].map(|all| all.expect("halves").mean);
        for ((sum, mean), truth) in squares.iter_mut().zip(found).zip(truths) {
            *sum += ((mean.value - truth * period) / mean.u).powi(2);
        }
    }
    let most = f64::from(CAPTURES) * 1.19;
    let honest = f64::from(CAPTURES) / 4.0..most;
    assert!(
        squares.iter().all(|sum| honest.contains(sum)),
        "{squares:?}"
    );
}
