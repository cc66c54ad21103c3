//! The output's phase against the board's input, half-bit by half-bit, and the
//! phases that last. It does not say who drives the output.

use super::Context;
use crate::units::Quantity;
use crate::waveform::{HalfBit, Trace};

/// Half-bits for which a phase must last to count.
pub(super) const LASTING: usize = 10;

/// The output's phase against the input in each half-bit: +1 alike, -1
/// opposed, 0 where the mean voltage is under a quarter of the nominal one. The
/// first fifth of a half-bit is left to the propagation delay.
pub(super) fn phases(node: &Trace, half_bits: &[HalfBit], context: &Context) -> Vec<i8> {
    let enough = 0.25 * context.supply_voltage.si();
    half_bits
        .iter()
        .map(|half| {
            let samples = node.window(half.from + 0.2 * (half.to - half.from), half.to);
            if samples.is_empty() {
                return 0;
            }
            let mean = samples.iter().sum::<f64>() / samples.len() as f64;
            let along = if half.high { mean } else { -mean };
            if along > enough {
                1
            } else if along < -enough {
                -1
            } else {
                0
            }
        })
        .collect()
}

/// The first half-bit that ends after `at`.
pub(super) fn first_after(half_bits: &[HalfBit], at: f64) -> usize {
    half_bits.partition_point(|half| half.to <= at)
}

/// The phase of most of the last half-bits before the closing.
pub(super) fn phase_before(phases: &[i8], half_bits: &[HalfBit], closed: f64) -> Option<i8> {
    let end = first_after(half_bits, closed);
    let last = &phases[end.saturating_sub(2 * LASTING)..end];
    let sum: i32 = last.iter().map(|&phase| i32::from(phase)).sum();
    match sum {
        0 => None,
        _ if 2 * sum.unsigned_abs() as usize <= last.len() => None,
        sum => Some(if sum > 0 { 1 } else { -1 }),
    }
}

/// A phase that lasts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    pub(super) phase: i8,
    pub(super) first: usize,
    /// One past its last half-bit.
    pub(super) end: usize,
}

/// The phases that last ten half-bits or more from half-bit `start` on, the
/// one before it in front. Dead or contested stretches part nothing.
pub(super) fn lasting(phases: &[i8], old: i8, start: usize) -> Vec<Run> {
    let mut runs = vec![Run {
        phase: old,
        first: 0,
        end: start,
    }];
    let mut first = start;
    while first < phases.len() {
        let phase = phases[first];
        let end = phases[first..]
            .iter()
            .position(|&p| p != phase)
            .map_or(phases.len(), |length| first + length);
        if phase != 0 && end - first >= LASTING {
            runs.push(Run { phase, first, end });
        }
        first = end;
    }
    runs
}
