//! How the numbers of a plan must fit together, whatever the bench. What
//! depends on the bench is checked in `against_bench`.

mod inrush;
mod soak;
mod supply;
mod unloaded;

use super::sense::Sense;
use super::settings::{Load, Overload, Polarity, Reversal, Settings, Short};
use super::signal::Signal;
use super::{OnSignalLoss, Plan, Scenario};
use crate::document::{Fault, Place};
use crate::units::{Amperes, Quantity, Seconds};

/// Samples within a time limit, at least: the period's share of the
/// uncertainty then stays small beside any guard band.
const SAMPLES_A_LIMIT: f64 = 200.0;

/// The shortest half-bit that the bench sends, in seconds: half of a one,
/// nominal (NMRA S-9.1:2020 table 1).
pub(super) const SHORTEST_HALF_BIT: f64 = 58e-6;

/// The slowest sampling that still shows every crossing, in seconds.
const SLOWEST_SAMPLING: f64 = SHORTEST_HALF_BIT / 20.0;

/// The slowest sampling that tells an asymmetry, in seconds.
const SLOWEST_FOR_ASYMMETRY: f64 = 1e-6;

/// What a board of one signal line cannot show.
const CUTOUT_METRICS: [&str; 4] = [
    "cutouts_missing",
    "cutout_start",
    "cutout_end",
    "cutout_drop",
];

/// Every fault of `plan` as a whole.
pub(super) fn check(plan: &Plan) -> Vec<Fault> {
    let mut checks = Checks {
        plan,
        faults: Vec::new(),
    };
    checks.ratings();
    for (index, scenario) in plan.scenarios.iter().enumerate() {
        checks.scenario(index, scenario);
    }
    checks.faults
}

struct Checks<'a> {
    plan: &'a Plan,
    faults: Vec<Fault>,
}

/// A scenario with its index, which its places are noted under.
#[derive(Clone, Copy)]
struct At<'a> {
    index: usize,
    scenario: &'a Scenario,
}

impl At<'_> {
    fn upper(self, metric: &str) -> Option<f64> {
        self.scenario.limit(metric)?.upper
    }

    fn lower(self, metric: &str) -> Option<f64> {
        self.scenario.limit(metric)?.lower
    }
}

impl Checks<'_> {
    fn fault_at(&mut self, path: &str, message: String, expected: String) {
        if let Some(place) = self.plan.places.find(path) {
            self.faults
                .push(Fault::error(place, message).expected(expected));
        }
    }

    fn fault(&mut self, at: At<'_>, key: &str, message: String, expected: String) {
        self.fault_at(&format!("scenario.{}.{key}", at.index), message, expected);
    }

    fn place(&self, at: At<'_>) -> Option<Place> {
        let path = format!("scenario.{}", at.index);
        self.plan.places.find(&path).cloned()
    }

    fn ratings(&mut self) {
        let ratings = self.plan.ratings;
        if ratings.trip_current <= ratings.rated_current {
            self.fault_at(
                "ratings.trip_current",
                "the board would trip at its rated current".to_owned(),
                format!("more than {}", ratings.rated_current),
            );
        }
        if ratings.lowest_supply > ratings.supply_voltage {
            self.fault_at(
                "ratings.supply_voltage",
                "this is below the least supply voltage the board works at".to_owned(),
                format!("{} or more", ratings.lowest_supply),
            );
        }
        if ratings.highest_supply < ratings.supply_voltage {
            self.fault_at(
                "ratings.supply_voltage",
                "this is above the largest supply voltage the board bears".to_owned(),
                format!("{} or less", ratings.highest_supply),
            );
        }
    }

    fn scenario(&mut self, index: usize, scenario: &Scenario) {
        let at = At { index, scenario };
        if scenario.limits.is_empty()
            && let Some(place) = self.place(at)
        {
            self.faults.push(
                Fault::warning(&place, format!("\"{}\" has no limits", scenario.name))
                    .expected("a `[scenario.limits]` table")
                    .hint("it is measured and recorded, but nothing is judged"),
            );
        }
        match &scenario.settings {
            Settings::Idle(idle) => self.idle(at, idle),
            Settings::Load(load) => self.load(at, load),
            Settings::Sense(sense) => self.sense(at, sense),
            Settings::Overload(overload) => self.overload(at, overload),
            Settings::Short(short) => self.short(at, short),
            Settings::Reversal(reversal) => self.reversal(at, reversal),
            Settings::Signal(signal) => self.signal(at, signal),
            Settings::Loss(loss) => self.loss(at, loss),
            Settings::Inrush(inrush) => self.inrush(at, inrush),
            Settings::Soak(soak) => self.soak(at, soak),
            Settings::Supply(supply) => self.supply(at, supply),
        }
    }

    fn load(&mut self, at: At<'_>, load: &Load) {
        self.rising_steps(at, &load.steps);
        if load.steps.len() < 2 && at.scenario.limit("output_resistance").is_some() {
            self.fault(
                at,
                "steps",
                "one step gives no slope, so no output resistance".to_owned(),
                "two steps or more".to_owned(),
            );
        }
        let has = |polarity| load.polarities.contains(&polarity);
        let both = has(Polarity::Positive) && has(Polarity::Negative);
        if !both && at.scenario.limit("level_symmetry").is_some() {
            self.fault(
                at,
                "polarities",
                "the symmetry of the levels needs both held polarities".to_owned(),
                "\"positive\" and \"negative\" in the list".to_owned(),
            );
        }
        self.held(at, &load.polarities, load.settle + load.hold, "hold");
    }

    fn sense(&mut self, at: At<'_>, sense: &Sense) {
        self.rising_steps(at, &sense.steps);
        if sense.steps.len() < 3 {
            self.fault(
                at,
                "steps",
                "no departure from a line shows in less than three steps".to_owned(),
                "three steps or more".to_owned(),
            );
        }
        if sense.hold <= Seconds::ZERO {
            self.fault(
                at,
                "hold",
                "nothing is captured in no time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        self.held(at, &sense.polarities, sense.settle + sense.hold, "hold");
    }

    fn rising_steps(&mut self, at: At<'_>, steps: &[Amperes]) {
        let rated = self.plan.ratings.rated_current;
        if steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            self.fault(
                at,
                "steps",
                "the steps do not rise".to_owned(),
                "currents in rising order, none twice".to_owned(),
            );
        }
        // A thousandth more is rounding, not intent.
        if steps.iter().any(|step| *step > rated * 1.001) {
            self.fault(
                at,
                "steps",
                "a step is above the rated current".to_owned(),
                format!("{rated} at most; `overload` goes beyond"),
            );
        }
    }

    /// A board that goes dead without a signal cannot be held in a polarity,
    /// and a bootstrapped high side holds for a while only.
    fn held(&mut self, at: At<'_>, polarities: &[Polarity], step: Seconds, key: &str) {
        if polarities.iter().all(|p| *p == Polarity::Alternating) {
            return;
        }
        let configuration = self.plan.configuration;
        if configuration.on_signal_loss == OnSignalLoss::Off {
            self.fault(
                at,
                "polarities",
                "this board goes dead without a signal and cannot be held in a polarity".to_owned(),
                "`polarities = [\"alternating\"]`".to_owned(),
            );
        }
        if let Some(longest) = configuration.longest_hold
            && step > longest
        {
            self.fault(
                at,
                key,
                "a step holds the output longer than the board can".to_owned(),
                if key == "hold" {
                    format!("settle and hold together {longest} at most")
                } else {
                    format!("{longest} at most, or `polarities = [\"alternating\"]`")
                },
            );
        }
    }

    fn overload(&mut self, at: At<'_>, overload: &Overload) {
        let trip = self.plan.ratings.trip_current;
        let upper = at.upper("trip_current").map_or(trip, amperes);
        let lower = at.lower("trip_current").map_or(trip, amperes);
        if overload.multiples.windows(2).any(|pair| pair[0] >= pair[1]) {
            self.fault(
                at,
                "multiples",
                "the multiples do not rise".to_owned(),
                "numbers in rising order, none twice".to_owned(),
            );
        }
        let least = overload.multiples.first().copied().unwrap_or(1.0);
        if trip * least <= upper {
            self.fault(
                at,
                "multiples",
                format!("a good board need not trip at {least} times the nominal trip current"),
                format!("every multiple above the upper limit, {upper}"),
            );
        }
        if overload.hold_current >= lower {
            self.fault(
                at,
                "hold_current",
                "a good board may trip at this current".to_owned(),
                format!("less than the lower limit, {lower}"),
            );
        }
        if overload.ramp_from >= lower || overload.ramp_to <= upper {
            self.fault(
                at,
                if overload.ramp_from >= lower {
                    "ramp_from"
                } else {
                    "ramp_to"
                },
                "the ramp does not span the limits of the trip current".to_owned(),
                format!("a ramp from below {lower} to above {upper}"),
            );
        }
        if overload.ramp_time <= Seconds::ZERO {
            self.fault(
                at,
                "ramp_time",
                "a ramp takes time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        if overload.onset_level <= overload.off_level || overload.onset_level >= trip * least {
            self.fault(
                at,
                "onset_level",
                "the onset level lies outside what the current sweeps".to_owned(),
                format!(
                    "between the off level, {}, and {}",
                    overload.off_level,
                    trip * least
                ),
            );
        }
        self.pulse(at, "pulse", overload.pulse, "trip_time");
        self.sampling(at, overload.sampling_period, &["trip_time"]);
    }

    fn short(&mut self, at: At<'_>, short: &Short) {
        self.pulse(at, "pulse", short.pulse, "trip_time");
        self.sampling(at, short.sampling_period, &["trip_time"]);
        if short.onset_level <= Amperes::ZERO {
            self.fault(
                at,
                "onset_level",
                "an onset level of zero is crossed by noise".to_owned(),
                "more than zero".to_owned(),
            );
        }
        let interval = at.upper("retry_interval");
        let wanted = at.lower("retries").unwrap_or(0.0).max(1.0) + 1.0;
        if let Some(interval) = interval
            && short.recovery_pulse.si() < wanted * interval
        {
            self.fault(
                at,
                "recovery_pulse",
                "the short is not held long enough to see the retries".to_owned(),
                format!("{} or more", seconds(wanted * interval)),
            );
        }
        let resolved = at.lower("retry_interval").or(interval);
        if let Some(resolved) = resolved
            && short.coarse_period.si() > resolved / SAMPLES_A_LIMIT
        {
            self.fault(
                at,
                "coarse_period",
                "this is too slow for the limit of the retry interval".to_owned(),
                format!("{} or less", seconds(resolved / SAMPLES_A_LIMIT)),
            );
        }
    }

    fn reversal(&mut self, at: At<'_>, reversal: &Reversal) {
        if !self.plan.configuration.reversing {
            self.fault(
                at,
                "kind",
                "this board does not reverse".to_owned(),
                "`reversing = true` in `[configuration]`".to_owned(),
            );
        }
        self.pulse(at, "pulse", reversal.pulse, "reversal_time");
        self.pulse(at, "short_pulse", reversal.short_pulse, "trip_time");
        self.sampling(
            at,
            reversal.sampling_period,
            &["reversal_time", "trip_time"],
        );
        if reversal.gap_pulse >= reversal.pulse {
            self.fault(
                at,
                "gap_pulse",
                "the capture ends before the gap opens again".to_owned(),
                format!("less than the pulse, {}", reversal.pulse),
            );
        }
        if let Some(upper) = at.upper("reversal_time")
            && reversal.gap_pulse.si() < upper
        {
            self.fault(
                at,
                "gap_pulse",
                "the gap opens before a good board has reversed".to_owned(),
                format!("{} or more", seconds(upper)),
            );
        }
    }

    fn signal(&mut self, at: At<'_>, signal: &Signal) {
        let lines = self.plan.configuration.signal_lines;
        for metric in CUTOUT_METRICS {
            if at.scenario.limit(metric).is_none() || signal.cuts(lines) {
                continue;
            }
            let key = format!("limits.{metric}");
            if lines == 2 {
                let reason = "no cutouts are sent, so none can be measured";
                let expected = "`cutouts = [\"nominal\"]`, or no limit on it";
                self.fault(at, &key, reason.to_owned(), expected.to_owned());
            } else {
                let reason = "a board of one signal line cannot show a cutout";
                let expected = "`signal_lines = 2`, or no limit on it";
                self.fault(at, &key, reason.to_owned(), expected.to_owned());
            }
        }
        // The asymmetry must be known to a third of its limit.
        let slowest = at.upper("asymmetry").map_or(SLOWEST_SAMPLING, |upper| {
            (upper / 3.0).min(SLOWEST_FOR_ASYMMETRY)
        });
        if signal.sampling_period.si() > slowest * 1.000_001 {
            self.fault(
                at,
                "sampling_period",
                "this is too slow for the limit of the asymmetry".to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
        // Wherever the capture begins, each packet is once in it as a whole.
        let once = signal.pattern(lines).map_or(0.0, |pattern| {
            pattern.duration().seconds().si() * (1.0 + 1.0 / signal.packets.len() as f64)
        });
        if signal.length.si() < once {
            self.fault(
                at,
                "length",
                "the capture is too short to hold every packet".to_owned(),
                format!("{} or more", seconds(once)),
            );
        }
    }

    /// What trips within the limit is seen with as much again after it.
    fn pulse(&mut self, at: At<'_>, key: &str, pulse: Seconds, metric: &str) {
        let least = at.upper(metric).map_or(0.0, |upper| 2.0 * upper);
        if pulse <= Seconds::ZERO || pulse.si() < least {
            self.fault(
                at,
                key,
                format!("this is less than twice the limit of `{metric}`"),
                if least > 0.0 {
                    format!("{} or more", seconds(least))
                } else {
                    "more than zero".to_owned()
                },
            );
        }
    }

    fn sampling(&mut self, at: At<'_>, period: Seconds, metrics: &[&str]) {
        let limits = metrics.iter().filter_map(|metric| at.upper(metric));
        let slowest = limits
            .map(|upper| upper / SAMPLES_A_LIMIT)
            .fold(SLOWEST_SAMPLING, f64::min);
        if period.si() > slowest {
            let reason = if slowest < SLOWEST_SAMPLING {
                "this is too slow for the time limit that it must resolve"
            } else {
                "this is too slow to see every crossing of the signal"
            };
            self.fault(
                at,
                "sampling_period",
                reason.to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
    }
}

/// A limit as a quantity; limits are finite because they were parsed.
pub(super) fn amperes(si: f64) -> Amperes {
    Amperes::from_si(si).unwrap_or(Amperes::ZERO)
}

pub(super) fn seconds(si: f64) -> Seconds {
    Seconds::from_si(si).unwrap_or(Seconds::ZERO)
}
