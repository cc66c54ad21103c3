//! The model capture device: its settings and the acquisition they are frozen
//! into. It understands no command and takes no sample; both stand beside it.

use super::acquisition::{Input, Phase, Plan, Record, Slope, Trigger};
use super::meter::drawn_errors;
use super::settings::{Accuracy, ChannelWiring, WorldSettings};
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Circuit, Line};
use crate::protocol::{Bounds, ErrorCode, UnitOf};
use crate::seed::Seed;
use crate::units::Seconds;

/// Full scales at the input, in volts.
pub(super) const RANGES: [f64; 7] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 60.0];
pub(super) const MOST_SAMPLES: i64 = 2_000_000;

pub(super) const RANGE: Bounds = Bounds::new(UnitOf::Volt, 0.0, 60.0, 10.0);
pub(super) const LEVEL: Bounds = Bounds::new(UnitOf::Volt, -60.0, 60.0, 0.0);
pub(super) const PERIOD: Bounds = Bounds::new(UnitOf::Second, 50e-9, 1.0, 1e-6);

/// The stated accuracy of a channel: of reading, of range, and of time.
const CHANNEL: Accuracy = Accuracy {
    reading: 0.005,
    fixed: 0.0025,
    resolution: 0.0,
};
const TIME_BASE: Accuracy = Accuracy {
    reading: 50e-6,
    fixed: 0.0,
    resolution: 0.0,
};

/// Where the trigger comes from, as it is set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Source {
    Immediate,
    Logic(usize),
    Channel(usize),
}

/// The capture's settings and its acquisition.
#[derive(Clone, Debug)]
pub(super) struct Capture {
    seed: Seed,
    noise: f64,
    /// What the period is longer by, as a factor.
    time_base: f64,
    /// Gain and offset of each channel.
    errors: Vec<(f64, f64)>,
    pub(super) wiring: Vec<ChannelWiring>,
    pub(super) logic: Vec<Line>,
    pub(super) ranges: Vec<f64>,
    pub(super) period: f64,
    pub(super) count: i64,
    /// Zero or negative, as it is written.
    pub(super) offset: i64,
    pub(super) source: Source,
    pub(super) level: f64,
    pub(super) slope: Slope,
    pub(super) phase: Phase,
    pub(super) acquisitions: u64,
}

impl Capture {
    pub(super) fn new(settings: &WorldSettings) -> Self {
        Self {
            seed: settings.seed,
            noise: settings.noise,
            time_base: drawn_errors(settings, 0xC100, TIME_BASE).0,
            errors: (0xC200..)
                .take(settings.channels.len())
                .map(|key| drawn_errors(settings, key, CHANNEL))
                .collect(),
            wiring: settings.channels.clone(),
            logic: settings.logic.clone(),
            ranges: vec![RANGE.default; settings.channels.len()],
            period: PERIOD.default,
            count: 1000,
            offset: 0,
            source: Source::Immediate,
            level: LEVEL.default,
            slope: Slope::Rising,
            phase: Phase::Idle,
            acquisitions: 0,
        }
    }

    pub(super) fn history_wanted(&self) -> BenchSpan {
        self.phase.history_wanted()
    }

    pub(super) fn next_look(&self, now: BenchInstant) -> Option<BenchInstant> {
        self.phase.next_look(now)
    }

    pub(super) fn look(&mut self, circuit: &Circuit) -> bool {
        self.phase.look(circuit)
    }

    pub(super) fn plan(&self) -> Result<Plan, ErrorCode> {
        let before = usize::try_from(-self.offset).map_err(|_| ErrorCode::OutOfRange)?;
        let count = usize::try_from(self.count).map_err(|_| ErrorCode::OutOfRange)?;
        if before > count {
            return Err(ErrorCode::SettingsConflict);
        }
        let span = |seconds| BenchSpan::from_seconds(Seconds::new(seconds));
        let inputs = self.wiring.iter().zip(&self.ranges).zip(&self.errors);
        let inputs = inputs.map(|((&wiring, &range), &(gain, offset))| Input {
            wiring,
            range,
            gain,
            offset,
        });
        Ok(Plan {
            seed: self.seed,
            noise: self.noise,
            number: self.acquisitions,
            period: span(self.period),
            true_period: span(self.period * self.time_base),
            count,
            before,
            trigger: self.trigger()?,
            inputs: inputs.collect(),
            logic: self.logic.clone(),
        })
    }

    fn trigger(&self) -> Result<Trigger, ErrorCode> {
        let missing = ErrorCode::SettingsConflict;
        Ok(match self.source {
            Source::Immediate => Trigger::Immediate,
            Source::Logic(index) => {
                Trigger::Logic(*self.logic.get(index).ok_or(missing)?, self.slope)
            }
            Source::Channel(index) => {
                let wiring = self.wiring.get(index).ok_or(missing)?;
                let level = self.level / wiring.volts_per_unit;
                Trigger::Level(wiring.probe, level, self.slope)
            }
        })
    }

    pub(super) fn record(&self) -> Result<&Record, ErrorCode> {
        match &self.phase {
            Phase::Done(record) => Ok(record),
            _ => Err(ErrorCode::Stale),
        }
    }
}
