//! The model switch card: its channels, and pulses that end by themselves. It
//! answers no command: see `switch_panel`.

use super::settings::WorldSettings;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Circuit, SwitchBranch};
use crate::protocol::{Bounds, UnitOf};
use crate::seed::Seed;
use crate::units::Seconds;

/// The length of a closure that is not given, in seconds.
const AT_FIRST: f64 = 0.1;

/// A relay's time to operate varies by this much, in seconds: far more than a
/// bit of the track signal lasts, so that each closing meets another phase of it
/// (common practice, no source).
const OPERATE: f64 = 1e-3;
/// Under which a closing's time to operate is drawn.
const OPERATES: u64 = 0x5C;

/// One channel of the card.
#[derive(Clone, Copy, Debug)]
pub(super) struct Channel {
    pub(super) branch: Option<SwitchBranch>,
    /// Its command, where nothing is connected that could tell.
    pub(super) closed: bool,
    pub(super) pulse_until: BenchInstant,
}

/// The card's channels, from channel 1.
#[derive(Clone, Debug)]
pub(super) struct Switch {
    pub(super) pulse: Bounds,
    pub(super) channels: Vec<Channel>,
}

impl Switch {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        let channel = |&branch: &Option<SwitchBranch>| Channel {
            branch,
            closed: false,
            pulse_until: BenchInstant::ZERO,
        };
        let rating = settings.ratings.switch;
        let (shortest, longest) = (rating.shortest_pulse, rating.longest_pulse);
        let at_first = AT_FIRST.max(shortest).min(longest);
        Self {
            pulse: Bounds::new(UnitOf::Second, shortest, longest, at_first),
            channels: settings.branches.iter().map(channel).collect(),
        }
    }

    /// How much longer than its fastest a relay takes that is told to close at `now`.
    pub(super) fn operates(seed: Seed, now: BenchInstant) -> BenchSpan {
        let key = [OPERATES, now.picoseconds() as u64];
        BenchSpan::from_seconds(Seconds::new(OPERATE * seed.stream(&key).uniform()))
    }

    pub(super) fn is_closed(&self, index: usize, circuit: &Circuit) -> bool {
        let channel = &self.channels[index];
        match channel.branch {
            Some(branch) => circuit.switch_is_closed(branch),
            None if channel.pulse_until == BenchInstant::ZERO => channel.closed,
            None => circuit.now() < channel.pulse_until,
        }
    }
}
