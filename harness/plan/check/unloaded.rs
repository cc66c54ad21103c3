//! How the numbers of idle and loss scenarios must fit together. The output is
//! unloaded in both, so no energy is weighed here.

use super::{At, Checks, SLOWEST_SAMPLING, seconds};
use crate::plan::OnSignalLoss;
use crate::plan::idle::{Idle, OutputState};
use crate::plan::loss::Loss;
use crate::units::{Quantity, Seconds};

/// What each metric of idle needs.
const NEEDED: [(&str, &[OutputState]); 7] = [
    ("input_current_off", &[OutputState::Off]),
    ("input_current_on", &[OutputState::On]),
    ("off_voltage", &[OutputState::Off]),
    ("off_leakage", &[OutputState::Off]),
    ("enable_obeyed", &[OutputState::Off, OutputState::On]),
    ("brake_obeyed", &[OutputState::Braked, OutputState::On]),
    ("polarity_right", &[OutputState::On]),
];

/// The supply's meter takes this long, in seconds, while a state is held: one
/// cycle of 50 Hz mains and as much again (common practice, no source).
const METER: f64 = 40e-3;

impl Checks<'_> {
    pub(super) fn idle(&mut self, at: At<'_>, idle: &Idle) {
        self.supply_steps(at, idle);
        self.low_limit(at, idle);
        for (metric, states) in NEEDED {
            let limited = at.scenario.limit(metric).is_some();
            for state in states.iter().filter(|state| !idle.has(**state)) {
                if limited {
                    self.fault(
                        at,
                        "states",
                        format!("`{metric}` cannot be measured without this state"),
                        format!("\"{}\" in the list", state.word()),
                    );
                }
            }
        }
        if idle.length <= Seconds::ZERO {
            self.fault(
                at,
                "length",
                "nothing is captured in no time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        if idle.sampling_period.si() > SLOWEST_SAMPLING {
            self.fault(
                at,
                "sampling_period",
                "this is too slow to see every crossing of the signal".to_owned(),
                format!("{} or less", seconds(SLOWEST_SAMPLING)),
            );
        }
        if idle.has(OutputState::On) {
            let held = idle.settle.si() + idle.length.si() + METER;
            self.held(at, &idle.polarities, seconds(held), "settle");
        }
    }

    fn supply_steps(&mut self, at: At<'_>, idle: &Idle) {
        let rated = self.plan.ratings.supply_voltage;
        if idle.supply_steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            self.fault(
                at,
                "supply_steps",
                "the steps do not rise".to_owned(),
                "voltages in rising order, none twice".to_owned(),
            );
        } else if let Some(last) = idle.supply_steps.last()
            && (last.si() - rated.si()).abs() > 1e-3 * rated.si()
        {
            self.fault(
                at,
                "supply_steps",
                "the last step is not the voltage at which the board is tested".to_owned(),
                format!("a list that ends with {rated}"),
            );
        }
    }

    /// A limit that spares a wrongly built board, lets the sound one's
    /// capacitors charge, and leaves room for what is judged.
    fn low_limit(&mut self, at: At<'_>, idle: &Idle) {
        let ratings = self.plan.ratings;
        let limit = idle.current_limit;
        if limit >= ratings.rated_current {
            self.fault(
                at,
                "current_limit",
                "a limit as high as this does not spare a wrongly built board".to_owned(),
                format!("less than the rated current, {}", ratings.rated_current),
            );
        }
        for metric in ["input_current_off", "input_current_on"] {
            if let Some(upper) = at.upper(metric)
                && upper >= limit.si()
            {
                self.fault(
                    at,
                    "current_limit",
                    format!("the supply limits before `{metric}` is beyond its limit"),
                    format!("more than {}", super::amperes(upper)),
                );
            }
        }
        let mut from = 0.0;
        let mut highest = 0.0_f64;
        for step in &idle.supply_steps {
            highest = highest.max(step.si() - from);
            from = step.si();
        }
        let charging = ratings.bulk_capacitance.si() * highest / limit.si();
        if idle.settle.si() < 2.0 * charging {
            self.fault(
                at,
                "settle",
                "the bulk capacitors may still be charging through the current limit".to_owned(),
                format!("{} or more", seconds(2.0 * charging)),
            );
        }
    }

    pub(super) fn loss(&mut self, at: At<'_>, loss: &Loss) {
        let configuration = self.plan.configuration;
        if configuration.signal_lines == 1 && loss.causes.iter().any(|cause| cause.breaks()) {
            self.fault(
                at,
                "causes",
                "a board of one signal line loses its signal when that breaks".to_owned(),
                "`causes = [\"signal stops\"]`, or `signal_lines = 2`".to_owned(),
            );
        }
        if at.scenario.limit("time_to_dead").is_some()
            && configuration.on_signal_loss != OnSignalLoss::Off
        {
            self.fault(
                at,
                "limits.time_to_dead",
                "this board is not meant to go dead without a signal".to_owned(),
                "`on_signal_loss = \"off\"`, or no limit on it".to_owned(),
            );
        }
        self.pulse(at, "length", loss.length, "time_to_dead");
        self.sampling(at, loss.sampling_period, &["time_to_dead"]);
    }
}
