//! Whether a capture is new: the samples of a noisy channel never come twice, so
//! a device that sends the same ones again sends old ones, and one that sends a
//! single code over and over has stopped. It knows no device, and of a channel
//! without noise it says nothing but what another channel shows.

use super::crossing::Sample as _;
use super::{Capture, Channel, Signal};
use rustc_hash::FxHasher;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{Hash as _, Hasher as _};

/// Small steps between neighbours that noise alone explains, at least: of so
/// many, each of which could as well have gone the other way, a second run is
/// alike with a chance of less than 1e-19.
const STEPS: usize = 64;
/// The part of a channel's neighbours that must be such steps: a waveform
/// without noise has them on its slopes only.
const PART: f64 = 0.25;
/// The largest step that counts as small, in codes.
const SMALL: u16 = 3;

/// A level with noise stays within so many codes.
const STEADY: u16 = 16;
/// Of a level's samples such a part lies outside the two neighbouring codes that hold
/// most, where noise has a standard deviation of half a code: less by noise between
/// two codes alone, which shows only where the level lies at their border (normal
/// law, two deviations either side).
const BEYOND: f64 = 0.046;
/// So many equal samples of a channel whose level had such noise before: in the
/// middle of a code seven of ten are equal, so chance does it less than once in 1e39
/// captures.
const FROZEN: usize = 256;

/// A current that changes sides so often alternates, if half its range is wider than
/// so many codes (our own choice, no source).
const SWINGS: usize = 8;
const WIDE: i32 = 16;

/// Samples that are not new.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Stale {
    /// They had come before.
    #[error("the samples of the {signal} are those of an earlier capture, bit for bit")]
    Again {
        /// The channel that gave it away.
        signal: Signal,
    },
    /// They are one and the same, and there was noise before.
    #[error("the samples of the {signal} are all the same, and a level of it had noise before")]
    Frozen {
        /// The channel that gave it away.
        signal: Signal,
    },
    /// They are one and the same, and the current through what they measure is not.
    #[error("the samples of the {signal} are all the same, and the output current alternates")]
    Still {
        /// The channel that gave it away.
        signal: Signal,
    },
}

/// What came so far, in one run.
#[derive(Clone, Debug, Default)]
pub struct Freshness {
    /// Each noisy channel's samples, as a hash.
    seen: BTreeSet<(Signal, u64)>,
    /// The coarsest scale at which a level of each channel had noise, in SI units
    /// per code.
    noisy: BTreeMap<Signal, f64>,
}

impl Freshness {
    /// Notes `capture`.
    ///
    /// # Errors
    /// [`Stale`] when a noisy channel of it came before or has stopped, whatever
    /// the others hold.
    pub fn admit(&mut self, capture: &Capture) -> Result<(), Stale> {
        if is_still(capture) {
            let signal = Signal::NodeVoltage;
            return Err(Stale::Still { signal });
        }
        for channel in &capture.channels {
            let signal = channel.signal;
            let scale = channel.scale.abs();
            if !is_noisy(&channel.codes) {
                let known = self.noisy.get(&signal).is_some_and(|&noisy| scale <= noisy);
                if known && shows_one_code(channel) {
                    return Err(Stale::Frozen { signal });
                }
                continue;
            }
            if is_wide_level(&channel.codes) {
                let coarsest = self.noisy.entry(signal).or_default();
                *coarsest = coarsest.max(scale);
            }
            // Always seeded alike: this decides nothing but equality.
            let mut hasher = FxHasher::default();
            channel.codes.hash(&mut hasher);
            if !self.seen.insert((signal, hasher.finish())) {
                return Err(Stale::Again { signal });
            }
        }
        Ok(())
    }
}

fn is_noisy(codes: &[i16]) -> bool {
    // Neighbours in two slices of one length: that is a vector comparison.
    let next = codes.get(1..).unwrap_or_default();
    let mut steps = 0;
    for (index, &code) in next.iter().enumerate() {
        let step = code.abs_diff(codes[index]);
        steps += usize::from(step.wrapping_sub(1) < SMALL);
    }
    steps >= STEPS && steps as f64 >= PART * codes.len() as f64
}

/// Whether `channel` has one code from its first sample to its last, within its range
/// and in more of them than chance explains: a level without any noise, or a channel
/// that takes no samples.
pub fn shows_one_code(channel: &Channel) -> bool {
    let codes = &channel.codes;
    !channel.clipped && codes.len() >= FROZEN && codes.iter().all(|code| *code == codes[0])
}

/// Whether the output's voltage stands at one code while its current alternates: even
/// into a short that moves it by more.
fn is_still(capture: &Capture) -> bool {
    let of = |signal| capture.channels.iter().find(|c| c.signal == signal);
    let voltage = of(Signal::NodeVoltage).is_some_and(shows_one_code);
    voltage && of(Signal::OutputCurrent).is_some_and(|c| alternates(&c.codes))
}

/// Whether samples go from one half of their range into the other, a quarter beyond
/// its middle either way, as often as [`SWINGS`].
fn alternates(codes: &[i16]) -> bool {
    let ends = codes.iter().min().zip(codes.iter().max());
    let Some((least, largest)) = ends.map(|(a, b)| (i32::from(*a), i32::from(*b))) else {
        return false;
    };
    let (middle, quarter) = ((least + largest) / 2, (largest - least) / 4);
    if quarter < WIDE {
        return false;
    }
    let (mut swings, mut above) = (0, None);
    for code in codes.iter().map(|code| i32::from(*code) - middle) {
        let side = match code {
            _ if code > quarter => true,
            _ if code < -quarter => false,
            _ => continue,
        };
        swings += usize::from(above.is_some_and(|above: bool| above != side));
        above = Some(side);
    }
    swings >= SWINGS
}

/// Whether these are a level, with noise so wide that no level hides it within a code.
fn is_wide_level(codes: &[i16]) -> bool {
    let (least, largest) = i16::extremes(codes);
    // Of no codes at all there is no level.
    let steady = largest - least <= f64::from(STEADY) && !codes.is_empty();
    if !steady {
        return false;
    }
    let mut counts = [0_usize; STEADY as usize + 2];
    for code in codes {
        counts[usize::from(code.abs_diff(least as i16))] += 1;
    }
    let within = counts.windows(2).map(|pair| pair[0] + pair[1]).max();
    (codes.len() - within.unwrap_or(0)) as f64 >= BEYOND * codes.len() as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::Seed;
    use crate::waveform::synthetic::{Flaws, Sampling, ones};

    const SAMPLING: Sampling = Sampling {
        first: 0.0,
        period: 2e-6,
        count: 1000,
    };

    /// Two channels of an alternating output with noise of `codes` codes.
    fn capture(seed: u64, codes: f64) -> Capture {
        let mut chance = Seed(seed).stream(&[1]);
        let flaws = Flaws {
            range: 40.0,
            noise: codes * 40.0 / 2048.0,
            gain_u: 0.0,
            offset_u: 0.0,
        };
        let mut capture = SAMPLING.capture();
        for (signal, level) in [(Signal::NodeVoltage, 17.0), (Signal::OutputCurrent, 3.0)] {
            let wave = |t: f64| level * ones(t, 7e-6, 58e-6);
            let channel = SAMPLING.channel(signal, flaws, &mut chance, wave);
            capture.channels.push(channel);
        }
        capture
    }

    #[test]
    fn new_samples_are_let_through_and_old_ones_are_not() {
        let mut freshness = Freshness::default();
        for seed in 0..300 {
            assert_eq!(freshness.admit(&capture(seed, 1.0)), Ok(()), "{seed}");
        }
        let signal = Signal::NodeVoltage;
        assert_eq!(
            freshness.admit(&capture(120, 1.0)),
            Err(Stale::Again { signal })
        );
        // One channel out of an old capture is enough.
        let mut mixed = capture(1000, 1.0);
        mixed.channels[1] = capture(5, 1.0).channels[1].clone();
        let signal = Signal::OutputCurrent;
        assert_eq!(freshness.admit(&mixed), Err(Stale::Again { signal }));
        // Sent late, under another label, it is as old.
        let mut renamed = capture(7, 1.0);
        renamed.label = "another".into();
        assert!(freshness.admit(&renamed).is_err());
    }

    /// A device that stopped sends one code over and over. That says something only
    /// where a level of the channel had noise before, at the same scale or a coarser.
    #[test]
    fn a_channel_that_stopped_is_known_by_the_noise_that_it_had() {
        let level = |codes: Vec<i16>, scale: f64| {
            let mut level = capture(1, 0.0);
            level.channels.truncate(1);
            level.channels[0].codes = codes;
            level.channels[0].scale = scale;
            level
        };
        let mut chance = Seed(9).stream(&[2]);
        let noise: Vec<i16> = (0..1000).map(|_| (chance.next_u64() % 4) as i16).collect();
        let frozen = || vec![1700_i16; 1000];
        let mut freshness = Freshness::default();
        assert_eq!(freshness.admit(&level(frozen(), 0.01)), Ok(()));
        // An alternating output may ring where a level is quiet.
        freshness.admit(&capture(3, 1.0)).expect("new");
        assert_eq!(freshness.admit(&level(frozen(), 0.01)), Ok(()));
        freshness
            .admit(&level(noise, 0.01))
            .expect("a level with noise");
        let signal = Signal::NodeVoltage;
        let found = freshness.admit(&level(frozen(), 0.01));
        assert_eq!(found, Err(Stale::Frozen { signal }));
        let found = freshness.admit(&level(frozen(), 0.005));
        assert_eq!(found, Err(Stale::Frozen { signal }));
        // In a wider range the same noise may be less than a code.
        assert_eq!(freshness.admit(&level(frozen(), 0.02)), Ok(()));
        let few = level(vec![1700; 200], 0.01);
        assert_eq!(freshness.admit(&few), Ok(()));
    }

    /// Where a current alternates the voltage that drives it does, noise or none; a dead
    /// output and a held one stand.
    #[test]
    fn a_voltage_that_stands_beside_an_alternating_current_has_stopped() {
        let stopped = |alternating: bool| {
            let mut capture = capture(2, 0.0);
            capture.channels[0].codes = vec![812; capture.channels[1].codes.len()];
            if !alternating {
                capture.channels[1].codes.fill(3);
            }
            capture
        };
        let signal = Signal::NodeVoltage;
        let mut freshness = Freshness::default();
        assert_eq!(freshness.admit(&stopped(false)), Ok(()));
        assert_eq!(
            freshness.admit(&stopped(true)),
            Err(Stale::Still { signal })
        );
        assert_eq!(freshness.admit(&capture(2, 0.0)), Ok(()));
    }

    /// Noise of a tenth of a code shows at the border of two codes and nowhere else:
    /// a level that shows none has not stopped. Noise of half a code shows anywhere.
    #[test]
    fn noise_that_a_code_can_hide_says_nothing() {
        let mut chance = Seed(4).stream(&[3]);
        let mut level = |volts: f64, deviation: f64| {
            let mut level = capture(1, 0.0);
            level.channels.truncate(1);
            let mut code = || libm::round(volts + deviation * chance.normal()) as i16;
            level.channels[0].codes = (0..1000).map(|_| code()).collect();
            level
        };
        let mut freshness = Freshness::default();
        for volts in [63.5, 64.0, 12.5, 13.0] {
            assert_eq!(freshness.admit(&level(volts, 0.1)), Ok(()), "{volts}");
        }
        for volts in [63.5, 64.0] {
            let mut freshness = Freshness::default();
            assert_eq!(freshness.admit(&level(volts, 0.55)), Ok(()), "{volts}");
            assert!(freshness.admit(&level(volts, 0.0)).is_err(), "{volts}");
        }
    }

    /// Without noise two captures of a steady state are rightly the same.
    #[test]
    fn of_a_quiet_channel_nothing_is_said() {
        let mut freshness = Freshness::default();
        for _ in 0..3 {
            assert_eq!(freshness.admit(&capture(1, 0.0)), Ok(()));
        }
    }
}
