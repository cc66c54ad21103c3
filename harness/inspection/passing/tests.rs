//! What is heard does not depend on how far one part is ahead of the other: a
//! piece, as where one thread does both, or the whole capture.

use super::{Noticed, Piece};
use crate::capture_file::{NpyType, Samples};
use crate::inspection::{Analogue, Heard, Listened, Listener};
use crate::track::Packet;

const PERIOD: f64 = 0.5e-6;

/// Idle packets of 58 and 100 us (S-9.1, S-9.2:2004), 15 V with 10 V/us, and noise
/// of a tenth of a volt by a linear congruence (constants of Numerical Recipes, from
/// memory).
fn idles() -> Vec<f64> {
    let mut bits = vec![true; 16];
    for byte in [0xFF_u8, 0, 0xFF] {
        bits.push(false);
        bits.extend((0..8).rev().map(|bit| byte >> bit & 1 == 1));
    }
    bits.push(true);
    let (mut wave, mut value, mut sign) = (Vec::new(), -15.0_f64, 15.0_f64);
    let mut state = 1_u32;
    for half in (0..6).flat_map(|_| bits.iter().flat_map(|&bit| [bit, bit])) {
        for _ in 0..if half { 116 } else { 200 } {
            value += (sign - value).clamp(-5.0, 5.0);
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            wave.push(value + 0.1 * (f64::from(state >> 8) / f64::from(1 << 24) - 0.5));
        }
        sign = -sign;
    }
    wave
}

/// All that is told of pieces of these lengths, one after the other and so on; with
/// `first`, all of them go ahead before one goes behind.
fn heard(samples: Samples<'_>, lengths: &[usize], first: bool) -> (Heard, Vec<Packet>) {
    let scale = match samples {
        Samples::F32(_) | Samples::F64(_) => (1.0, 0.0, 0.0),
        _ => (1e-3, 0.0, 1.0),
    };
    let codes = matches!(samples, Samples::I16(_)).then(|| NpyType::I16.codes());
    let all = samples.len() as u64;
    let analogue = Analogue::of_array(PERIOD, scale, codes.flatten(), all);
    let mut listener = Listener::new(analogue);
    let (mut ahead, mut timing, mut outlining, mut telling) = listener.parts();
    let mut at = 0;
    let mut pieces = Vec::new();
    for &length in lengths.iter().cycle() {
        let part = at..(at + length).min(samples.len());
        at = part.end;
        pieces.push(Piece::Even(match samples {
            Samples::I8(list) => Samples::I8(&list[part]),
            Samples::I16(list) => Samples::I16(&list[part]),
            Samples::I32(list) => Samples::I32(&list[part]),
            Samples::F32(list) => Samples::F32(&list[part]),
            Samples::F64(list) => Samples::F64(&list[part]),
        }));
        if at == samples.len() {
            break;
        }
    }
    let mut all = vec![Noticed::default(); if first { pieces.len() } else { 0 }];
    for (piece, noticed) in pieces.iter().zip(&mut all) {
        ahead.take(*piece, noticed);
    }
    let mut one = Noticed::default();
    for (number, piece) in pieces.iter().enumerate() {
        let noticed = match all.get_mut(number) {
            Some(noticed) => noticed,
            None => {
                ahead.take(*piece, &mut one);
                &mut one
            }
        };
        timing.take(*piece, noticed);
        outlining.take(*piece, noticed);
        telling.take(*piece, noticed);
    }
    let mut packets = Vec::new();
    let (figures, closed) = listener.close();
    let mut sink = |packet: &Packet| packets.push(*packet);
    match closed.decoded().finish(figures.read(), &mut sink) {
        Listened::Heard(heard) => (*heard, packets),
        Listened::Again(_) => unreachable!("so few edges are kept"),
    }
}

/// The same of all samples as one piece, taken twice since too few edges are kept.
fn heard_twice(volts: &[f64]) -> (Heard, Vec<Packet>) {
    let analogue = Analogue::of_array(PERIOD, (1.0, 0.0, 0.0), None, volts.len() as u64);
    let mut listener = Listener::keeping(analogue, 100);
    let (piece, mut noticed) = (Piece::Even(Samples::F64(volts)), Noticed::default());
    let (mut ahead, mut timing, mut outlining, mut telling) = listener.parts();
    ahead.take(piece, &mut noticed);
    timing.take(piece, &mut noticed);
    outlining.take(piece, &mut noticed);
    telling.take(piece, &mut noticed);
    let mut packets = Vec::new();
    let mut sink = |packet: &Packet| packets.push(*packet);
    let (figures, closed) = listener.close();
    let Listened::Again(mut second) = closed.decoded().finish(figures.read(), &mut sink) else {
        unreachable!("more edges than are kept");
    };
    let (mut ahead, mut behind) = second.parts(&mut sink);
    ahead.take(piece, &mut noticed);
    behind(piece, &mut noticed);
    drop(behind);
    let heard = second.finish(&mut sink);
    (*heard, packets)
}

#[test]
fn with_more_edges_than_are_kept_the_samples_are_taken_twice() {
    let volts = idles();
    let (once, packets) = heard(Samples::F64(&volts), &[volts.len()], false);
    let (mut twice, again) = heard_twice(&volts);
    assert_eq!(again, packets);
    assert!(twice.report.edges > 100 && twice.report.packets == once.report.packets);
    // Of the edges that are not kept nobody asks how far halves scatter.
    twice.report = once.report.clone();
    assert_eq!(twice, once);
}

#[test]
fn one_part_may_be_as_far_ahead_as_it_likes() {
    let volts = idles();
    let codes: Vec<i16> = volts.iter().map(|v| (v * 1e3).round() as i16).collect();
    let mut damaged: Vec<f32> = volts.iter().map(|&v| v as f32).collect();
    damaged[20_000..20_050].fill(f32::NAN);
    damaged[30_000..30_003].fill(f32::INFINITY);
    let every: [&[usize]; 4] = [&[16_384], &[1, 7, 977], &[333], &[50, 0, 4_999]];
    for lengths in every {
        for samples in [
            Samples::I16(&codes),
            Samples::F64(&volts),
            Samples::F32(&damaged),
        ] {
            let in_turn = heard(samples, lengths, false);
            assert!(in_turn.1.len() >= 4, "{lengths:?}: {:?}", in_turn.1);
            assert_eq!(heard(samples, lengths, true), in_turn, "{lengths:?}");
        }
    }
    let (told, _) = heard(Samples::F32(&damaged), &[333], true);
    assert_eq!(
        (told.unread.missing.samples, told.unread.infinite.samples),
        (50, 3)
    );
}
