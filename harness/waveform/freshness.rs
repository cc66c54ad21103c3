//! Whether a capture is new: the samples of a noisy channel never come twice, so
//! a device that sends the same ones again sends old ones. It knows no device,
//! and of a channel without noise it says nothing.

use super::{Capture, Signal};
use std::collections::BTreeSet;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

/// Small steps between neighbours that noise alone explains, at least: of so
/// many, each of which could as well have gone the other way, a second run is
/// alike with a chance of less than 1e-19.
const STEPS: usize = 64;
/// The part of a channel's neighbours that must be such steps: a waveform
/// without noise has them on its slopes only.
const PART: f64 = 0.25;
/// The largest step that counts as small, in codes.
const SMALL: u16 = 3;

/// Samples that had come before.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the samples of the {signal} are those of an earlier capture, bit for bit")]
pub struct Stale {
    /// The channel that gave it away.
    pub signal: Signal,
}

/// What came so far, in one run.
#[derive(Clone, Debug, Default)]
pub struct Freshness {
    /// Each noisy channel's samples, as a hash.
    seen: BTreeSet<(Signal, u64)>,
}

impl Freshness {
    /// Notes `capture`.
    ///
    /// # Errors
    /// [`Stale`] when a noisy channel of it came before, whatever the others
    /// hold.
    pub fn admit(&mut self, capture: &Capture) -> Result<(), Stale> {
        for channel in &capture.channels {
            if !is_noisy(&channel.codes) {
                continue;
            }
            // Always seeded alike: this decides nothing but equality.
            let mut hasher = DefaultHasher::new();
            channel.codes.hash(&mut hasher);
            let signal = channel.signal;
            if !self.seen.insert((signal, hasher.finish())) {
                return Err(Stale { signal });
            }
        }
        Ok(())
    }
}

fn is_noisy(codes: &[i16]) -> bool {
    let small = |pair: &[i16]| (1..=SMALL).contains(&pair[0].abs_diff(pair[1]));
    let steps = codes.windows(2).filter(|pair| small(pair)).count();
    steps >= STEPS && steps as f64 >= PART * codes.len() as f64
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
        assert_eq!(freshness.admit(&capture(120, 1.0)), Err(Stale { signal }));
        // One channel out of an old capture is enough.
        let mut mixed = capture(1000, 1.0);
        mixed.channels[1] = capture(5, 1.0).channels[1].clone();
        let signal = Signal::OutputCurrent;
        assert_eq!(freshness.admit(&mixed), Err(Stale { signal }));
        // Sent late, under another label, it is as old.
        let mut renamed = capture(7, 1.0);
        renamed.label = "another".into();
        assert!(freshness.admit(&renamed).is_err());
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
