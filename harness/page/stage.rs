//! What the page shows of the sitting, as a fold of what happens: who commands, which
//! board is next, how its run goes and how the lot stands. It reads no clock, talks
//! to nobody and draws nothing.

use crate::event::{Entry, Event, RunStarted};
use crate::ident::{LotName, RunId, Serial};
use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::Metric;
use crate::units::{Quantity as _, Seconds};
use jiff::Timestamp;

/// Readings kept for a page that is opened in mid-run.
const MOST_READINGS: usize = 4096;

/// Remarks of a run; what is beyond them stands in the record.
const MOST_REMARKS: usize = 200;

/// A part of the page that is drawn as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Region {
    /// What is run where, and how the lot stands.
    Lot,
    /// What the person is asked to do next.
    Desk,
    /// The verdict in large letters.
    Verdict,
    /// What goes on now, with its clock.
    Now,
    /// The scenarios and what each came to.
    Scenarios,
    /// What was measured.
    Metrics,
    /// What went wrong.
    Remarks,
    /// What a scenario saw last.
    Capture,
    /// The boards of this sitting.
    Boards,
    /// Why no bench is open.
    Hindered,
}

impl Region {
    /// Every one.
    pub(super) const ALL: [Self; 10] = [
        Self::Lot,
        Self::Desk,
        Self::Verdict,
        Self::Now,
        Self::Scenarios,
        Self::Metrics,
        Self::Remarks,
        Self::Capture,
        Self::Boards,
        Self::Hindered,
    ];

    /// What it is called in the page.
    pub(super) const fn id(self) -> &'static str {
        match self {
            Self::Lot => "lot",
            Self::Desk => "desk",
            Self::Verdict => "verdict",
            Self::Now => "now",
            Self::Scenarios => "scenarios",
            Self::Metrics => "metrics",
            Self::Remarks => "remarks",
            Self::Capture => "capture",
            Self::Boards => "boards",
            Self::Hindered => "hindered",
        }
    }
}

/// Where the sitting stands.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Phase {
    /// No bench is open.
    Closed,
    /// Files are read and the bench is opened.
    Opening,
    /// The next serial number is waited for.
    Ready,
    /// That board is not run unless somebody says why it is tested again.
    Refused {
        /// The board.
        serial: Serial,
        /// Why.
        why: String,
    },
    /// Somebody has to say that it is in the fixture and nobody's hands are.
    Confirming {
        /// The board.
        serial: Serial,
        /// What a start must bring along: it starts this board, once.
        nonce: String,
        /// Why it is tested again.
        retest: Option<String>,
    },
    /// It runs.
    Running,
    /// The run is being ended, the bench made safe.
    Stopping,
}

/// What stays the same from board to board.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sitting {
    /// Name of the plan, and its file.
    pub(super) plan: String,
    pub(super) plan_file: String,
    /// The bench's file.
    pub(super) bench: String,
    pub(super) lot: Option<LotName>,
    pub(super) operator: Option<String>,
    /// Ports stand behind it: cautions are confirmed for each board.
    pub(super) real: bool,
    /// The scenarios that are run.
    pub(super) scenarios: Vec<String>,
    /// What one board takes.
    pub(super) expected: Seconds,
}

/// Something a person is asked.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Question {
    pub(super) number: u64,
    pub(super) what: String,
    pub(super) is_reading: bool,
    /// Until when it waits.
    pub(super) until: Timestamp,
}

/// A scenario of the run.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ScenarioRow {
    pub(super) name: String,
    /// Its kind, once it began.
    pub(super) kind: Option<String>,
    pub(super) verdict: Option<Verdict>,
    pub(super) took: Option<Seconds>,
}

/// A metric of the run.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct MetricRow {
    pub(super) metric: Metric,
    pub(super) limit: Option<Limit>,
    pub(super) decision: Option<Decision>,
}

/// How a board's run ended.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ended {
    pub(super) verdict: Verdict,
    /// As it may be shown.
    pub(super) headline: String,
    /// Whether the bench is proven off.
    pub(super) safe: bool,
}

/// A reading of a meter, in seconds of bench time since the run began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Reading {
    pub(super) at: f64,
    /// `v`, `a` or `l`: voltage and current of the supply, current of the load.
    pub(super) meter: &'static str,
    pub(super) value: f64,
}

/// The run that goes on, or the last one.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Run {
    pub(super) facts: Option<Box<RunStarted>>,
    pub(super) began: Option<Timestamp>,
    pub(super) bench_began: f64,
    pub(super) scenarios: Vec<ScenarioRow>,
    pub(super) step: String,
    pub(super) step_began: Option<Timestamp>,
    /// Whether there is energy in the board, as far as steps say.
    pub(super) energised: bool,
    pub(super) metrics: Vec<MetricRow>,
    pub(super) remarks: Vec<String>,
    pub(super) readings: Vec<Reading>,
    pub(super) ended: Option<Ended>,
}

impl Run {
    /// Its identifier, once it began.
    pub(super) fn id(&self) -> Option<&RunId> {
        self.facts.as_ref().map(|facts| &facts.run)
    }
}

/// A board of this sitting and what it came to; no verdict where it was not judged.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Done {
    pub(super) serial: Serial,
    pub(super) run: RunId,
    pub(super) verdict: Verdict,
}

/// Everything that the page shows.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stage {
    pub(super) phase: Phase,
    pub(super) sitting: Option<Sitting>,
    /// Why the bench could not be opened, or was closed.
    pub(super) hindered: Option<String>,
    /// What is said about the last serial number, where it was of no use.
    pub(super) said: Option<String>,
    pub(super) question: Option<Question>,
    pub(super) run: Run,
    pub(super) done: Vec<Done>,
}

impl Stage {
    /// With nothing open.
    pub(super) fn new() -> Self {
        Self {
            phase: Phase::Closed,
            sitting: None,
            hindered: None,
            said: None,
            question: None,
            run: Run::default(),
            done: Vec::new(),
        }
    }

    /// Whether a board is being run.
    pub(super) fn is_running(&self) -> bool {
        matches!(self.phase, Phase::Running | Phase::Stopping)
    }

    /// Takes an entry; says which regions it changes. A metric is added to its region
    /// by whoever shows it.
    pub(super) fn enter(&mut self, entry: &Entry) -> Vec<Region> {
        let run = &mut self.run;
        match &entry.event {
            Event::RunStarted(facts) => {
                let scenarios = facts.scenarios.iter().map(|name| ScenarioRow {
                    name: name.clone(),
                    kind: None,
                    verdict: None,
                    took: None,
                });
                *run = Run {
                    scenarios: scenarios.collect(),
                    began: Some(entry.at),
                    step: "the instruments identify themselves".to_owned(),
                    step_began: Some(entry.at),
                    bench_began: entry.bench.since_zero().si(),
                    facts: Some(facts.clone()),
                    ..Run::default()
                };
                Region::ALL.to_vec()
            }
            Event::Identified { .. } => vec![],
            Event::ScenarioStarted { scenario, kind } => {
                if let Some(row) = run.row(scenario) {
                    row.kind = Some(kind.clone());
                }
                run.step_is(format!("{scenario} begins"), entry.at);
                vec![Region::Scenarios, Region::Now]
            }
            Event::Step {
                text, energises, ..
            } => {
                run.energised |= *energises;
                run.step_is(text.clone(), entry.at);
                vec![Region::Now]
            }
            Event::Observed { .. } => {
                run.energised = false;
                run.step_is("evaluating what was seen".to_owned(), entry.at);
                vec![Region::Now]
            }
            Event::Measured {
                metric,
                limit,
                decision,
            } => {
                run.metrics.push(MetricRow {
                    metric: metric.clone(),
                    limit: limit.clone(),
                    decision: decision.clone(),
                });
                vec![]
            }
            Event::Trouble { scenario, trouble } => {
                let of = scenario.as_ref().map(|name| format!("{name}: "));
                let of = of.unwrap_or_default();
                run.remark(format!("{of}{} (see the {})", trouble.what, trouble.blame));
                vec![Region::Remarks]
            }
            Event::ScenarioFinished {
                scenario,
                verdict,
                took,
            } => {
                if let Some(row) = run.row(scenario) {
                    row.verdict = Some(*verdict);
                    row.took = Some(*took);
                }
                vec![Region::Scenarios]
            }
            Event::MadeSafe { outcome } => {
                run.energised = false;
                let failed = outcome.actions.iter().filter_map(|action| {
                    let trouble = action.trouble.as_ref()?;
                    Some(format!("{}: {}: {trouble}", action.role, action.action))
                });
                for failed in failed.collect::<Vec<_>>() {
                    run.remark(failed);
                }
                let words = if outcome.safe {
                    "the bench is proven off"
                } else {
                    "the bench is NOT proven off"
                };
                run.step_is(words.to_owned(), entry.at);
                run.ended = Some(Ended {
                    verdict: Verdict::Inconclusive,
                    headline: String::new(),
                    safe: outcome.safe,
                });
                vec![Region::Now, Region::Remarks]
            }
            Event::RunFinished { verdict, .. } => {
                self.finished(*verdict);
                vec![Region::Verdict, Region::Now]
            }
        }
    }

    fn finished(&mut self, verdict: Verdict) {
        let run = &mut self.run;
        let safe = run.ended.as_ref().is_some_and(|ended| ended.safe);
        let facts = run.facts.as_ref();
        let model = facts.is_some_and(|facts| facts.model);
        let only = facts.is_some_and(|facts| facts.only.is_some());
        let headline = [
            model.then_some("MODEL"),
            only.then_some("DIAGNOSIS"),
            Some(verdict.word()),
        ];
        let headline = headline.into_iter().flatten().collect::<Vec<_>>();
        run.ended = Some(Ended {
            verdict,
            headline: headline.join(" "),
            safe,
        });
        run.energised = false;
        if let Some(facts) = &run.facts {
            self.done.push(Done {
                serial: facts.serial.clone(),
                run: facts.run.clone(),
                verdict,
            });
        }
    }

    /// Takes a reading of a meter.
    pub(super) fn read(&mut self, reading: Reading) {
        let readings = &mut self.run.readings;
        if readings.len() == MOST_READINGS {
            // Every other one of the older half: a trace stays a trace.
            let mut at = 0;
            readings.retain(|_| {
                at += 1;
                at > MOST_READINGS / 2 || at % 2 == 0
            });
        }
        readings.push(reading);
    }

    /// Whether that board was run in this sitting.
    pub(super) fn has_run(&self, serial: &Serial) -> bool {
        self.done.iter().any(|done| done.serial == *serial)
    }

    /// How many boards of this sitting passed, failed and were not judged, each by its
    /// last run.
    pub(super) fn tally(&self) -> [usize; 3] {
        let last = |done: &&Done| {
            let later = self.done.iter().rev();
            let mut same = later.filter(|other| other.serial == done.serial);
            same.next().is_some_and(|last| std::ptr::eq(last, *done))
        };
        let mut tally = [0; 3];
        for done in self.done.iter().filter(last) {
            tally[match done.verdict {
                Verdict::Pass => 0,
                Verdict::Fail => 1,
                Verdict::Inconclusive => 2,
            }] += 1;
        }
        tally
    }
}

impl Run {
    fn row(&mut self, name: &str) -> Option<&mut ScenarioRow> {
        self.scenarios.iter_mut().find(|row| row.name == name)
    }

    fn step_is(&mut self, step: String, at: Timestamp) {
        self.step = step;
        self.step_began = Some(at);
    }

    /// Adds a remark, as long as there is room.
    pub(super) fn remark(&mut self, text: String) {
        if self.remarks.len() < MOST_REMARKS {
            self.remarks.push(text);
        }
    }
}
