//! What each model instrument can do and how well, read out of its profile, so
//! that it errs as the evaluation assumes. It draws no error and moves no time.

use crate::clock::BenchSpan;
use crate::ident::Role;
use crate::profile::{self, Profile};
use crate::units::{Quantity, Seconds};

/// One period of 50 Hz mains: how long a meter integrates whose profile does
/// not say.
const MAINS_PERIOD: BenchSpan = BenchSpan::from_microseconds(20_000);

/// What a meter or a rating shows above its range before it overflows or
/// protects itself: a twentieth, common practice, no source.
pub(super) const OVER_RANGE: f64 = 1.05;

/// Bits of the widest sample: samples are handed out in words of 16.
const WIDEST: u32 = 16;

/// Most samples in one acquisition, whatever the profile promises: they are
/// kept in this program's memory.
const MOST_SAMPLES: u64 = 50_000_000;

/// The bounds within which an instrument errs, in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Relative part.
    pub reading: f64,
    /// Absolute part, a meter's part of its range included.
    pub fixed: f64,
    /// Part of the range in use; zero where the range never changes.
    pub of_range: f64,
    /// Step of the display or the setting; zero shows every digit.
    pub resolution: f64,
    /// How long one reading takes.
    pub integration: BenchSpan,
}

impl Accuracy {
    /// What `profile` states under `name`; an instrument of which nothing is
    /// stated errs by nothing, as the evaluation assumes.
    fn stated(profile: &Profile, name: &str) -> Self {
        let Some(stated) = profile.accuracy.get(name) else {
            return Self {
                reading: 0.0,
                fixed: 0.0,
                of_range: 0.0,
                resolution: 0.0,
                integration: MAINS_PERIOD,
            };
        };
        let integration = if stated.integration > Seconds::ZERO {
            BenchSpan::from_seconds(stated.integration)
        } else {
            MAINS_PERIOD
        };
        let full_scale = profile.full_scale(name);
        let of_range = stated.fixed_of_range.si();
        Self {
            reading: stated.reading.si(),
            fixed: stated.fixed + full_scale.map_or(0.0, |full_scale| of_range * full_scale),
            of_range: if full_scale.is_some() { 0.0 } else { of_range },
            resolution: stated.resolution,
            integration,
        }
    }

    /// Digits behind the point that show the resolution, `least` or more.
    pub(super) fn decimals(self, least: usize) -> usize {
        const MOST: usize = 9;
        if self.resolution <= 0.0 {
            return MOST;
        }
        // A step of 0.25 takes two digits; a rounding error takes none.
        let shown = |decimals: &usize| {
            let steps = self.resolution * libm::pow(10.0, *decimals as f64);
            steps > 0.5 && (steps - libm::round(steps)).abs() < 1e-6 * steps
        };
        (least..MOST).find(shown).unwrap_or(MOST)
    }
}

/// A supply's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SupplyRating {
    /// Largest voltage.
    pub voltage: f64,
    /// Largest current limit.
    pub current: f64,
    /// Its voltmeter.
    pub voltmeter: Accuracy,
    /// Its ammeter.
    pub ammeter: Accuracy,
}

/// An electronic load's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoadRating {
    /// Largest voltage.
    pub voltage: f64,
    /// Largest current.
    pub current: f64,
    /// Largest power.
    pub power: f64,
    /// Its voltmeter.
    pub voltmeter: Accuracy,
    /// Its ammeter.
    pub ammeter: Accuracy,
    /// Its current setting.
    pub setting: Accuracy,
}

/// A capture device's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaptureRating {
    /// Largest input voltage.
    pub voltage: f64,
    /// Shortest sampling period, in seconds.
    pub period: f64,
    /// Most samples in one acquisition.
    pub samples: i64,
    /// Bits of the converter, sign included.
    pub bits: u32,
    /// Its channels, in volts at the input.
    pub channel: Accuracy,
    /// Part of a time that its time base may be off.
    pub time_base: f64,
}

/// A switch's, in seconds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SwitchRating {
    /// Shortest closure that it ends by itself.
    pub shortest_pulse: f64,
    /// Longest closure that it ends by itself.
    pub longest_pulse: f64,
}

/// How well each instrument does what it is asked. A role without a profile,
/// or with another role's, is as its shipped profile says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratings {
    /// The supply's.
    pub supply: SupplyRating,
    /// The load's.
    pub load: LoadRating,
    /// The capture device's.
    pub capture: CaptureRating,
    /// The switch's.
    pub switch: SwitchRating,
    /// The thermometer's, in kelvins.
    pub thermometer: Accuracy,
}

impl Ratings {
    /// What the profile of each role says, by what `profile` finds.
    pub fn of<'a>(profile: impl Fn(Role) -> Option<&'a Profile>) -> Self {
        Self {
            supply: profile(Role::Supply)
                .and_then(SupplyRating::of)
                .unwrap_or_else(|| shipped(Role::Supply, SupplyRating::of)),
            load: profile(Role::Load)
                .and_then(LoadRating::of)
                .unwrap_or_else(|| shipped(Role::Load, LoadRating::of)),
            capture: profile(Role::Capture)
                .and_then(CaptureRating::of)
                .unwrap_or_else(|| shipped(Role::Capture, CaptureRating::of)),
            switch: profile(Role::Switch)
                .and_then(SwitchRating::of)
                .unwrap_or_else(|| shipped(Role::Switch, SwitchRating::of)),
            thermometer: profile(Role::Thermometer)
                .and_then(thermometer)
                .unwrap_or_else(|| shipped(Role::Thermometer, thermometer)),
        }
    }
}

fn shipped<T>(role: Role, of: impl Fn(&Profile) -> Option<T>) -> T {
    profile::shipped(role.word())
        .as_ref()
        .and_then(of)
        .expect("every role has a shipped profile, which a test holds sound")
}

fn thermometer(profile: &Profile) -> Option<Accuracy> {
    (profile.role == Role::Thermometer).then(|| Accuracy::stated(profile, "measure_temperature"))
}

impl SupplyRating {
    fn of(profile: &Profile) -> Option<Self> {
        let range = profile.supply_range()?;
        Some(Self {
            voltage: range.voltage.si(),
            current: range.current.si(),
            voltmeter: Accuracy::stated(profile, "measure_voltage"),
            ammeter: Accuracy::stated(profile, "measure_current"),
        })
    }
}

impl LoadRating {
    fn of(profile: &Profile) -> Option<Self> {
        let range = profile.load_range()?;
        Some(Self {
            voltage: range.voltage.si(),
            current: range.current.si(),
            power: range.power.si(),
            voltmeter: Accuracy::stated(profile, "measure_voltage"),
            ammeter: Accuracy::stated(profile, "measure_current"),
            setting: Accuracy::stated(profile, "set_current"),
        })
    }
}

impl CaptureRating {
    fn of(profile: &Profile) -> Option<Self> {
        let range = profile.capture_range()?;
        let stated = profile.accuracy.get("channel");
        let samples = range.samples.clamp(1, MOST_SAMPLES);
        Some(Self {
            voltage: range.voltage.si(),
            period: range.period.si(),
            samples: i64::try_from(samples).unwrap_or(i64::MAX),
            bits: range.bits.min(WIDEST),
            channel: Accuracy::stated(profile, "channel"),
            time_base: stated.map_or(0.0, |stated| stated.time_base.si()),
        })
    }

    /// Full scales at the input in volts, the finest first: steps of one, two
    /// and five from half a volt to half of the largest, and the largest.
    pub(super) fn full_scales(&self) -> impl Iterator<Item = f64> + use<> {
        const STEPS: [f64; 9] = [0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0];
        let largest = self.voltage;
        let steps = STEPS.into_iter().filter(move |step| *step < 0.5 * largest);
        steps.chain([largest])
    }
}

impl SwitchRating {
    fn of(profile: &Profile) -> Option<Self> {
        let range = profile.switch_range()?;
        Some(Self {
            shortest_pulse: range.shortest_pulse.si(),
            longest_pulse: range.longest_pulse.si(),
        })
    }
}
