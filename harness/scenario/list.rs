//! The one list of scenarios. Every dispatch by kind comes from it, so that a
//! scenario is added by its room, its `mod` line and its line here.

use super::board::Ratings;
use super::context::Context;
use super::demands::Demands;
use super::figure::{Judged, Recorded};
use super::requirements::Requirements;
use super::room::ReadContext;
use super::session::{BenchSession, Halt};
use super::sheet::Sheet;
use super::stimulus::{self, Asked};
use super::take::Take;
use super::terms::{Entry, Metric};
use super::wire::form::{Format1, WireFault};
use crate::bench_file::Bench;
use crate::document::Table;
use crate::drawing::Picture;
use crate::measurement;
use serde::{Deserialize, Serialize};
use std::fmt;

macro_rules! scenarios {
    ($($(#[$doc:meta])* $name:ident in $room:ident, stored as $number:literal;)*) => {
        /// One procedure a plan can ask for.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "lowercase")]
        pub enum ScenarioKind {
            $($(#[$doc])* $name,)*
        }

        impl ScenarioKind {
            /// Every kind, in the order in which a plan usually runs them.
            pub const ALL: [Self; [$($number),*].len()] = [$(Self::$name),*];

            /// What it says about itself.
            pub const fn entry(self) -> &'static Entry {
                match self {
                    $(Self::$name => &super::$room::ENTRY,)*
                }
            }

            /// Its settings as a plan's table has them.
            pub(crate) fn read(self, table: &Table<'_>, plan: &ReadContext<'_>) -> Settings {
                match self {
                    $(Self::$name => Settings::$name(super::$room::Settings::read(table, plan)),)*
                }
            }
        }

        /// The settings of one scenario.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(rename_all = "lowercase")]
        pub enum Settings {
            $($(#[$doc])* $name(super::$room::Settings),)*
        }

        impl Settings {
            /// The kind they are for.
            pub const fn kind(&self) -> ScenarioKind {
                match self {
                    $(Self::$name(_) => ScenarioKind::$name,)*
                }
            }

            /// How its numbers must fit together, and with the limits.
            pub(crate) fn check(&self, demands: &mut Demands<'_>) {
                match self {
                    $(Self::$name(settings) => settings.check(demands),)*
                }
            }

            /// What the bench must have for them beside what the drive asks for.
            pub(crate) fn require(&self, bench: &mut Requirements<'_>) {
                match self {
                    $(Self::$name(settings) => settings.require(bench),)*
                }
            }

            /// The context for a board of `ratings` on `bench`: the one place
            /// where settings, wiring and ratings are brought together.
            pub fn context(&self, ratings: &Ratings, bench: &Bench) -> Context {
                let levels = match self {
                    $(Self::$name(settings) => settings.levels(),)*
                };
                Context::of(ratings, levels, bench)
            }

            /// Carries the scenario out.
            ///
            /// # Errors
            /// A [`Halt`] when the bench, the interlock or the person stopped it.
            pub async fn drive<S: BenchSession>(&self, session: &mut S) -> Result<Observation, Halt> {
                Ok(match self {
                    $(Self::$name(settings) => {
                        Observation::$name(super::$room::drive(settings, session).await?)
                    })*
                })
            }
        }

        /// Everything one scenario saw.
        #[derive(Clone, Debug, PartialEq)]
        pub enum Observation {
            $($(#[$doc])* $name(super::$room::Seen),)*
        }

        impl Observation {
            /// The scenario that saw it.
            pub const fn kind(&self) -> ScenarioKind {
                match self {
                    $(Self::$name(_) => ScenarioKind::$name,)*
                }
            }

            /// Every take in the order in which it was taken.
            pub fn takes(&self) -> Vec<&Take> {
                match self {
                    $(Self::$name(seen) => seen.takes(),)*
                }
            }

            /// What was asked of the bench in each take, in the same order.
            pub(super) fn asked(&self) -> Vec<Asked<'_>> {
                match self {
                    $(Self::$name(seen) => seen.asked(),)*
                }
            }

            /// What it saw, drawn beside its metrics in a record.
            pub(crate) fn figures(&self, scenario: &str, metrics: &[Judged<'_>]) -> Vec<Picture> {
                let recorded = Recorded {
                    scenario,
                    metrics,
                    takes: &self.takes(),
                };
                match self {
                    $(Self::$name(seen) => super::$room::figures(seen, &recorded),)*
                }
            }

            /// Appends its bytes in format 1.
            pub(crate) fn put(&self, bytes: &mut Vec<u8>) {
                match self {
                    $(Self::$name(seen) => {
                        let number: u32 = $number;
                        number.put(bytes);
                        seen.put(bytes);
                    })*
                }
            }

            /// Takes it from the front of `bytes`, its captures checked.
            pub(crate) fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
                match u32::take(bytes)? {
                    $($number => Ok(Self::$name(Format1::take(bytes)?)),)*
                    number => Err(WireFault::Number {
                        what: "scenario",
                        number,
                    }),
                }
            }
        }

        /// The metrics of `observation`, each key of its scenario at least
        /// once, in a fixed order.
        pub fn evaluate(
            scenario: &str,
            context: &Context,
            observation: &Observation,
        ) -> Vec<measurement::Metric> {
            let mut sheet = Sheet::new(scenario, observation.takes());
            match observation {
                $(Observation::$name(seen) => super::$room::evaluate(&mut sheet, context, seen),)*
            }
            let mut metrics = sheet.into_metrics();
            stimulus::hold_back(&mut metrics, &observation.asked(), context);
            metrics
        }
    };
}

// The order is that in which a plan usually runs them. The numbers stand in
// stored records: a new scenario takes the next free one, and none is ever
// changed or used twice.
scenarios! {
    /// The supply raised, the output off, braked and on without a load.
    Idle in idle, stored as 6;
    /// Held steps up to the rated current.
    Load in load, stored as 0;
    /// The same steps against the board's own reading.
    Sense in sense, stored as 4;
    /// A ramp, then multiples of the trip current, then a hold just below.
    Overload in overload, stored as 1;
    /// A hard short, near and far.
    Short in short, stored as 2;
    /// A section boundary bridged against the wrong polarity.
    Reversal in reversal, stored as 3;
    /// A known packet stream.
    Signal in signal, stored as 5;
    /// The input signal stops or one of two lines breaks.
    Loss in loss, stored as 7;
    /// A start into a bank of empty capacitors.
    Inrush in inrush, stored as 8;
    /// The rated current for minutes.
    Soak in soak, stored as 9;
    /// The customer's supply, loaded directly.
    Supply in supply, stored as 10;
}

impl ScenarioKind {
    /// The word used in files and on screens.
    pub const fn word(self) -> &'static str {
        self.entry().word
    }

    /// The kind under that word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// The metric `key` of this scenario.
    pub fn metric(self, key: &str) -> Option<&'static Metric> {
        self.entry().metrics.iter().find(|metric| metric.key == key)
    }
}

impl fmt::Display for ScenarioKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}
