//! The settings of an idle scenario and how they are read. How its numbers
//! must fit together is checked in `check`.

use crate::bench_file::Carries;
use crate::document::{Demand, Table};
use crate::scenario::ammeters::A_READING;
use crate::scenario::board::Ratings;
use crate::scenario::demands::{Demands, SLOWEST_SAMPLING, amperes, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, period, time};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Quantity, Seconds, Volts};
use serde::{Deserialize, Serialize};

/// What each metric of idle needs.
const NEEDED: [(&str, &[OutputState]); 7] = [
    ("input_current_off", &[OutputState::Off]),
    ("input_current_on", &[OutputState::On]),
    ("off_voltage", &[OutputState::Off]),
    ("off_leakage", &[OutputState::Off]),
    ("off_when_disabled", &[OutputState::Off, OutputState::On]),
    ("off_when_braked", &[OutputState::Braked, OutputState::On]),
    ("polarity_correct", &[OutputState::On]),
];

/// What is asked of the output by the board's enable and brake lines.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum OutputState {
    /// Disabled.
    Off,
    /// Enabled and braked.
    Braked,
    /// Enabled.
    On,
}

impl OutputState {
    /// Each variant with the word it is written as.
    pub const WORDS: &'static [(&'static str, Self)] = &[
        ("off", Self::Off),
        ("braked", Self::Braked),
        ("on", Self::On),
    ];

    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::Braked => "braked",
            Self::On => "on",
        }
    }
}

/// Settings of an idle scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// The supply voltages, rising, the last one the plan's.
    pub supply_steps: Vec<Volts>,
    /// The supply's current limit.
    pub current_limit: Amperes,
    /// Wait after each change before anything is read.
    pub settle: Seconds,
    /// How long the output is captured in each state.
    pub length: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
    /// What is asked of the output.
    pub states: Vec<OutputState>,
    /// How it is driven while it is on.
    pub polarities: Vec<Polarity>,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, plan: &ReadContext<'_>) -> Self {
        let ratings = plan.ratings;
        let steps = table.quantities("supply_steps", Demand::Positive);
        let states = table.words("states", OutputState::WORDS);
        let polarities = table.words("polarities", Polarity::WORDS);
        Self {
            supply_steps: not_empty(table, "supply_steps", steps)
                .unwrap_or_else(|| steps_of(ratings)),
            current_limit: table.quantity_or("current_limit", Demand::Positive, Amperes::new(0.5)),
            settle: time(table, "settle", 0.2),
            length: time(table, "length", 0.02),
            sampling_period: period(table, "sampling_period", 2e-6),
            states: not_empty(table, "states", states).unwrap_or_else(|| {
                let all = OutputState::WORDS.iter();
                all.map(|&(_, state)| state).collect()
            }),
            polarities: not_empty(table, "polarities", polarities).unwrap_or_else(|| {
                plan.polarities(&[
                    Polarity::Alternating,
                    Polarity::Positive,
                    Polarity::Negative,
                ])
            }),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        self.check_steps(demands);
        self.check_current_limit(demands);
        for (metric, states) in NEEDED {
            let limited = demands.limit(metric).is_some();
            for state in states.iter().filter(|state| !self.has(**state)) {
                if limited {
                    demands.fault(
                        "states",
                        format!("`{metric}` cannot be measured without this state"),
                        format!("\"{}\" in the list", state.word()),
                    );
                }
            }
        }
        if self.length <= Seconds::ZERO {
            demands.fault(
                "length",
                "nothing is captured in no time".to_owned(),
                "more than zero".to_owned(),
            );
        }
        if self.sampling_period.si() > SLOWEST_SAMPLING {
            demands.fault(
                "sampling_period",
                "this is too slow to see every crossing of the signal".to_owned(),
                format!("{} or less", seconds(SLOWEST_SAMPLING)),
            );
        }
        if self.has(OutputState::On) {
            demands.held(&self.polarities, self.held(), "settle");
        }
    }

    /// How long a state is held at least, one reading of the supply's meter included.
    pub(super) fn held(&self) -> Seconds {
        seconds(self.settle.si() + self.length.si() + A_READING)
    }

    fn check_steps(&self, demands: &mut Demands<'_>) {
        let rated = demands.ratings.supply_voltage;
        if self.supply_steps.windows(2).any(|pair| pair[0] >= pair[1]) {
            demands.fault(
                "supply_steps",
                "the steps do not rise".to_owned(),
                "voltages in rising order, none twice".to_owned(),
            );
        } else if let Some(last) = self.supply_steps.last()
            && (last.si() - rated.si()).abs() > 1e-3 * rated.si()
        {
            demands.fault(
                "supply_steps",
                "the last step is not the voltage at which the board is tested".to_owned(),
                format!("a list that ends with {rated}"),
            );
        }
    }

    /// A limit that spares a wrongly built board, lets the sound one's
    /// capacitors charge, and leaves room for what is judged.
    fn check_current_limit(&self, demands: &mut Demands<'_>) {
        let ratings = demands.ratings;
        let limit = self.current_limit;
        if limit >= ratings.rated_current {
            demands.fault(
                "current_limit",
                "a limit as high as this does not spare a wrongly built board".to_owned(),
                format!("less than the rated current, {}", ratings.rated_current),
            );
        }
        for metric in ["input_current_off", "input_current_on"] {
            if let Some(upper) = demands.upper(metric)
                && upper >= limit.si()
            {
                demands.fault(
                    "current_limit",
                    format!("the supply limits before `{metric}` is beyond its limit"),
                    format!("more than {}", amperes(upper)),
                );
            }
        }
        let mut from = 0.0;
        let mut highest = 0.0_f64;
        for step in &self.supply_steps {
            highest = highest.max(step.si() - from);
            from = step.si();
        }
        let charging = ratings.bulk_capacitance.si() * highest / limit.si();
        if self.settle.si() < 2.0 * charging {
            demands.fault(
                "settle",
                "the bulk capacitors may still be charging through the current limit".to_owned(),
                format!("{} or more", seconds(2.0 * charging)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        let alternating = self.polarities.contains(&Polarity::Alternating);
        if alternating && bench.limit("polarity_correct").is_some() {
            bench.line(Carries::InputA);
        }
    }

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }

    /// Whether the plan asks for that state.
    pub fn has(&self, state: OutputState) -> bool {
        self.states.contains(&state)
    }
}

fn steps_of(ratings: &Ratings) -> Vec<Volts> {
    let mut steps = vec![ratings.lowest_supply * 0.5, ratings.lowest_supply];
    steps.retain(|step| *step < ratings.supply_voltage);
    steps.push(ratings.supply_voltage);
    steps
}
