//! The model capture device: its settings and the acquisition they are frozen
//! into. It understands no command and takes no sample; both stand beside it.

use super::acquisition::{Input, Phase, Plan, Record, Slope, Trigger};
use super::meter::drawn_places;
use super::ratings::CaptureRating;
use super::settings::{ChannelWiring, WorldSettings};
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::Circuit;
use crate::protocol::{Bounds, ErrorCode, UnitOf};
use crate::seed::Seed;
use crate::units::Seconds;
use crate::waveform::LogicLine;

/// After a reset, where the range allows it: full scale in volts and sampling
/// period in seconds.
const RANGE_AT_FIRST: f64 = 10.0;
const PERIOD_AT_FIRST: f64 = 1e-6;
/// The longest sampling period, in seconds.
const LONGEST_PERIOD: f64 = 1.0;

/// Tell the time base's, the channels' and their scales' errors from every
/// other's.
const TIME_BASE: u64 = 0xC100;
const ERRORS: u64 = 0xC200;
const SCALES: u64 = 0xC300;

/// How one channel errs.
#[derive(Clone, Copy, Debug)]
struct ChannelError {
    gain: f64,
    /// Parts of the range in use ...
    of_range: f64,
    /// ... and volts at the input besides.
    volts: f64,
}

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
    errors: Vec<ChannelError>,
    pub(super) rating: CaptureRating,
    pub(super) wiring: Vec<ChannelWiring>,
    pub(super) logic: Vec<LogicLine>,
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
        let rating = settings.ratings.capture;
        let (time_base, _) = drawn_places(settings, TIME_BASE);
        let count = settings.channels.len();
        Self {
            seed: settings.seed,
            noise: settings.noise,
            time_base: 1.0 + time_base * (rating.time_base * settings.errors),
            errors: (0..)
                .zip(&settings.channels)
                .map(|(index, wiring)| ChannelError::drawn(settings, index, wiring))
                .collect(),
            rating,
            wiring: settings.channels.clone(),
            logic: settings.logic.clone(),
            ranges: vec![range(&rating).default; count],
            period: period(&rating).default,
            count: 1000,
            offset: 0,
            source: Source::Immediate,
            level: 0.0,
            slope: Slope::Rising,
            phase: Phase::Idle,
            acquisitions: 0,
        }
    }

    /// The full scales that can be asked for, in volts.
    pub(super) fn range_bounds(&self) -> Bounds {
        range(&self.rating)
    }

    /// The sampling periods, in seconds.
    pub(super) fn period_bounds(&self) -> Bounds {
        period(&self.rating)
    }

    /// The trigger levels, in volts at the input.
    pub(super) fn level_bounds(&self) -> Bounds {
        let most = self.rating.voltage;
        Bounds::new(UnitOf::Volt, -most, most, 0.0)
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
        let inputs = inputs.map(|((&wiring, &range), error)| Input {
            wiring,
            range,
            gain: error.gain,
            offset: error.of_range + error.volts / range,
        });
        Ok(Plan {
            seed: self.seed,
            noise: self.noise,
            number: self.acquisitions,
            bits: self.rating.bits,
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

fn range(rating: &CaptureRating) -> Bounds {
    let at_first = RANGE_AT_FIRST.min(rating.voltage);
    Bounds::new(UnitOf::Volt, 0.0, rating.voltage, at_first)
}

fn period(rating: &CaptureRating) -> Bounds {
    let longest = LONGEST_PERIOD.max(rating.period);
    let at_first = PERIOD_AT_FIRST.max(rating.period);
    Bounds::new(UnitOf::Second, rating.period, longest, at_first)
}

impl ChannelError {
    /// Gain and offset are rectangles as [`drawn_errors`] says; one draw places
    /// the offset, since the evaluation takes the part of the range and the
    /// fixed part for one rectangle. Of its scale the bench file states a
    /// standard uncertainty and nothing else, so that error is normal (JCGM
    /// 101:2008, 6.4.7).
    ///
    /// [`drawn_errors`]: super::meter::drawn_errors
    fn drawn(settings: &WorldSettings, index: u64, wiring: &ChannelWiring) -> Self {
        let (gain, offset) = drawn_places(settings, ERRORS + index);
        let (accuracy, errors) = (settings.ratings.capture.channel, settings.errors);
        let scale = settings.seed.stream(&[SCALES + index]).normal();
        Self {
            gain: (1.0 + gain * (accuracy.reading * errors))
                * (1.0 + scale * wiring.scale_u * errors),
            of_range: offset * (accuracy.of_range * errors),
            volts: offset * (accuracy.fixed * errors),
        }
    }
}
