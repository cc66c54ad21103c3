//! Captures made from closed forms, sampled, made noisy and quantised as an
//! instrument would: what the tests of waveform and evaluation read. It solves
//! no circuit.

use super::{Capture, Channel, ChannelAccuracy, LogicLine, LogicTrack, Signal};
use crate::seed::Stream;
use crate::units::Seconds;

/// Sampling of a capture that is being made.
#[derive(Clone, Copy)]
pub(crate) struct Sampling {
    pub(crate) first: f64,
    pub(crate) period: f64,
    pub(crate) count: usize,
}

/// What a channel adds to the truth.
#[derive(Clone, Copy)]
pub(crate) struct Flaws {
    /// Full scale either side of zero, over 2048 codes.
    pub(crate) range: f64,
    /// Standard deviation of the noise, in SI units.
    pub(crate) noise: f64,
    /// Stated standard uncertainties; the true errors are drawn from them.
    pub(crate) gain_u: f64,
    pub(crate) offset_u: f64,
}

impl Sampling {
    pub(crate) fn capture(self) -> Capture {
        Capture {
            label: "synthetic".into(),
            period: Seconds::new(self.period),
            first: Seconds::new(self.first),
            time_base_u: 0.0,
            channels: Vec::new(),
            lines: Vec::new(),
        }
    }

    pub(crate) fn time(self, index: usize) -> f64 {
        self.first + index as f64 * self.period
    }

    /// A 12-bit channel of `truth`.
    pub(crate) fn channel(
        self,
        signal: Signal,
        flaws: Flaws,
        chance: &mut Stream,
        truth: impl Fn(f64) -> f64,
    ) -> Channel {
        let scale = flaws.range / 2048.0;
        let gain = 1.0 + flaws.gain_u * chance.normal();
        let offset = flaws.offset_u * chance.normal();
        let codes: Vec<i16> = (0..self.count)
            .map(|index| {
                let value = gain * truth(self.time(index)) + offset + flaws.noise * chance.normal();
                libm::round(value / scale).clamp(-2048.0, 2047.0) as i16
            })
            .collect();
        Channel {
            signal,
            clipped: codes.iter().any(|&code| code == -2048 || code == 2047),
            codes,
            scale,
            offset: 0.0,
            accuracy: ChannelAccuracy {
                gain_u: flaws.gain_u,
                offset_u: flaws.offset_u,
            },
        }
    }

    /// A logic line of `truth`.
    pub(crate) fn line(self, line: LogicLine, truth: impl Fn(f64) -> bool) -> LogicTrack {
        LogicTrack::from_levels(line, (0..self.count).map(|index| truth(self.time(index))))
    }
}

/// An all-ones track signal: the polarity at `time`, with an edge at `phase`.
pub(crate) fn ones(time: f64, phase: f64, half: f64) -> f64 {
    let count = libm::floor((time - phase) / half);
    if count.rem_euclid(2.0) == 0.0 {
        1.0
    } else {
        -1.0
    }
}

/// The current of an alternating source shorted through R and L.
#[derive(Clone, Copy)]
pub(crate) struct AlternatingShort {
    /// Source voltage over loop resistance.
    pub(crate) prospective: f64,
    /// L / R.
    pub(crate) tau: f64,
    pub(crate) inception: f64,
    pub(crate) phase: f64,
    pub(crate) half: f64,
    /// When the board lets go; the current then decays with `decay`.
    pub(crate) trip: f64,
    pub(crate) decay: f64,
}

impl AlternatingShort {
    /// Exact: between two edges i goes to the polarity's prospective current
    /// with exp(-t R / L).
    pub(crate) fn current(&self, time: f64) -> f64 {
        if time <= self.inception {
            return 0.0;
        }
        if time > self.trip {
            return self.current(self.trip) * libm::exp(-(time - self.trip) / self.decay);
        }
        let (mut at, mut current) = (self.inception, 0.0);
        loop {
            let edges = libm::floor((at - self.phase) / self.half + 1e-9) + 1.0;
            let edge = self.phase + edges * self.half;
            let end = edge.min(time);
            let middle = (at + edge) / 2.0;
            let aim = self.prospective * ones(middle, self.phase, self.half);
            current = aim + (current - aim) * libm::exp(-(end - at) / self.tau);
            if edge >= time {
                return current;
            }
            at = edge;
        }
    }

    /// First instant at which the magnitude reaches `level`, by bisection on
    /// the exact current.
    pub(crate) fn reaches(&self, level: f64) -> f64 {
        let step = self.tau / 50.0;
        let mut low = self.inception;
        while self.current(low + step).abs() < level {
            low += step;
        }
        let mut high = low + step;
        for _ in 0..60 {
            let middle = (low + high) / 2.0;
            if self.current(middle).abs() < level {
                low = middle;
            } else {
                high = middle;
            }
        }
        high
    }

    /// The instant after the trip at which the decay passes `level`.
    pub(crate) fn falls_under(&self, level: f64) -> f64 {
        let from = self.current(self.trip).abs();
        self.trip + self.decay * libm::log(from / level).max(0.0)
    }
}
