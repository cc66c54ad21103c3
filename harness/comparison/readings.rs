//! The runs of one lot with the few numbers that lots are compared and summed
//! up by, gathered line by line. It knows no limits of a plan and tests
//! nothing.

use super::kept::KeptFiles;
use crate::digest::Digest;
use crate::event::RunStarted;
use crate::ident::{LotName, RunId, Serial};
use crate::judgement::Verdict;
use crate::measurement::{COVERAGE, labelled};
use crate::plan::{Lot, Plan};
use crate::record::{Excerpt, InstrumentExcerpt, MetricExcerpt, Reading, Record, StartExcerpt};
use crate::units::{Celsius, Dimension};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Different sets of files of which the texts are looked at. A lot has one or
/// two; beyond this many the rest only counts as another set.
pub const MOST_FILE_SETS: usize = 32;

/// The least and the greatest value allowed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bounds {
    /// The least.
    pub lower: Option<f64>,
    /// The greatest.
    pub upper: Option<f64>,
}

/// A metric of a lot.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct MetricFacts {
    pub(super) scenario: String,
    pub(super) key: String,
    pub(super) at: String,
    pub(super) dimension: Dimension,
    /// The limit it was judged against last.
    pub(super) limit: Option<Bounds>,
    /// Another limit was seen before that one.
    pub(super) limit_changed: bool,
    /// The least standard uncertainty of a reading.
    pub(super) least_u: f64,
    /// The largest part of one that the bench puts on every board alike.
    pub(super) common: f64,
}

/// Digits of an expanded uncertainty that are worth stating: two (GUM 7.2.6), so
/// a reading is stated to a hundredth of it at best.
const STATED: f64 = 100.0;

impl MetricFacts {
    /// `trip_time (near)`.
    pub(super) fn label(&self) -> String {
        labelled(&self.key, &self.at)
    }

    /// What two readings must differ by to be told apart: a hundredth of their
    /// expanded uncertainty. Boards that differ by less read the same, and their
    /// scatter says nothing of them.
    pub(super) fn resolution(&self) -> f64 {
        if self.least_u.is_finite() {
            COVERAGE * self.least_u / STATED
        } else {
            0.0
        }
    }

    fn note_uncertainty(&mut self, u: f64, common: f64) {
        self.least_u = self.least_u.min(u.max(0.0));
        self.common = self.common.max(common);
    }
}

/// One metric in one run.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Seen {
    pub(super) metric: usize,
    pub(super) reading: Reading,
    pub(super) verdict: Option<Verdict>,
}

/// One run of a board.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RunReadings {
    pub(super) run: RunId,
    pub(super) serial: Serial,
    pub(super) at: jiff::Timestamp,
    pub(super) verdict: Verdict,
    pub(super) retest: Option<String>,
    pub(super) ambient: Option<Celsius>,
    pub(super) version: String,
    pub(super) files: usize,
    pub(super) bench: usize,
    pub(super) seen: Vec<Seen>,
}

/// Files that shaped runs, told apart by their digests.
#[derive(Clone, Debug)]
pub(super) struct FileSet {
    pub(super) digests: Vec<Digest>,
    pub(super) run: RunId,
    pub(super) texts: Option<Texts>,
}

/// What those files say, as far as it is wanted.
#[derive(Clone, Debug)]
pub(super) struct Texts {
    pub(super) plan: Option<Plan>,
    pub(super) plan_digests: Vec<Digest>,
    pub(super) bench: Option<Digest>,
    pub(super) lot: Option<Lot>,
}

/// The runs of one lot, oldest first.
#[derive(Clone, Debug)]
pub struct LotReadings {
    pub(super) name: Option<LotName>,
    pub(super) metrics: Vec<MetricFacts>,
    index: BTreeMap<(String, String, String), Vec<usize>>,
    pub(super) runs: Vec<RunReadings>,
    pub(super) file_sets: Vec<FileSet>,
    /// Instruments with their calibration, each set once.
    pub(super) benches: Vec<Vec<InstrumentExcerpt>>,
    /// The run being read.
    open: Option<Open>,
}

#[derive(Clone, Debug)]
struct Open {
    run: RunReadings,
    instruments: Vec<InstrumentExcerpt>,
    diagnosis: bool,
    /// Where the run before had the metric that came last.
    last: usize,
}

impl LotReadings {
    /// No run yet.
    pub fn new(name: Option<LotName>) -> Self {
        Self {
            name,
            metrics: Vec::new(),
            index: BTreeMap::new(),
            runs: Vec::new(),
            file_sets: Vec::new(),
            benches: Vec::new(),
            open: None,
        }
    }

    /// The runs of `records`, the oldest first, with their files.
    pub fn of<'a>(name: Option<LotName>, records: impl IntoIterator<Item = &'a Record>) -> Self {
        let mut lot = Self::new(name);
        for record in records {
            for excerpt in record.excerpts() {
                lot.push(excerpt);
            }
            lot.explain(&record.started);
        }
        lot
    }

    /// Takes the next line of a run. Runs that were cut short and diagnoses of
    /// one scenario say nothing of a lot and are left out.
    pub fn push(&mut self, excerpt: Excerpt<'_>) {
        match excerpt {
            Excerpt::Started(start) => self.begin(*start),
            Excerpt::Identified(instrument) => {
                if let Some(open) = &mut self.open {
                    open.instruments.push(instrument);
                }
            }
            Excerpt::Measured(metric) => self.measured(metric),
            Excerpt::Finished { verdict, abort } => {
                let Some(mut open) = self.open.take() else {
                    return;
                };
                if abort.is_none() && !open.diagnosis {
                    open.run.verdict = verdict;
                    open.run.bench = place(&mut self.benches, open.instruments);
                    self.runs.push(open.run);
                }
            }
            Excerpt::Other => {}
        }
    }

    fn begin(&mut self, start: StartExcerpt) {
        let known = |set: &FileSet| set.digests == start.files;
        let files = match self.file_sets.iter().position(known) {
            Some(place) => place,
            None => {
                self.file_sets.push(FileSet {
                    digests: start.files,
                    run: start.run.clone(),
                    texts: None,
                });
                self.file_sets.len() - 1
            }
        };
        self.open = Some(Open {
            run: RunReadings {
                run: start.run,
                serial: start.serial,
                at: start.at,
                verdict: Verdict::Inconclusive,
                retest: start.retest,
                ambient: start.ambient,
                version: start.version,
                files,
                bench: 0,
                seen: Vec::with_capacity(self.metrics.len()),
            },
            instruments: Vec::new(),
            diagnosis: start.diagnosis,
            last: usize::MAX,
        });
    }

    fn measured(&mut self, metric: MetricExcerpt<'_>) {
        let Some(open) = &mut self.open else { return };
        let same = |facts: &MetricFacts| {
            facts.key == metric.key
                && facts.at == metric.at
                && facts.scenario == metric.scenario
                && facts.dimension == metric.dimension
        };
        // Runs of one plan find the same metrics in the same order.
        let expected = open.last.wrapping_add(1);
        let found = if self.metrics.get(expected).is_some_and(same) {
            Some(expected)
        } else {
            let name = || {
                (
                    metric.scenario.to_string(),
                    metric.key.to_string(),
                    metric.at.to_string(),
                )
            };
            let places = self.index.get(&name());
            places.and_then(|places| places.iter().copied().find(|at| same(&self.metrics[*at])))
        };
        let limit = metric.limit.map(|(lower, upper)| Bounds { lower, upper });
        let place = found.unwrap_or_else(|| {
            let facts = MetricFacts {
                scenario: metric.scenario.to_string(),
                key: metric.key.to_string(),
                at: metric.at.to_string(),
                dimension: metric.dimension,
                limit,
                limit_changed: false,
                least_u: f64::INFINITY,
                common: 0.0,
            };
            let name = (facts.scenario.clone(), facts.key.clone(), facts.at.clone());
            self.metrics.push(facts);
            let place = self.metrics.len() - 1;
            self.index.entry(name).or_default().push(place);
            place
        });
        let facts = &mut self.metrics[place];
        facts.limit_changed |= facts.limit != limit;
        facts.limit = limit;
        if metric.reading != Reading::Unknown {
            facts.note_uncertainty(metric.u, metric.common);
        }
        open.last = place;
        open.run.seen.push(Seen {
            metric: place,
            reading: metric.reading,
            verdict: metric.verdict,
        });
    }

    /// Takes over the runs of `later`, which came after all runs here.
    pub fn append(&mut self, later: Self) {
        let metrics: Vec<usize> = later
            .metrics
            .into_iter()
            .map(|facts| self.adopt(facts))
            .collect();
        let files: Vec<usize> = later
            .file_sets
            .into_iter()
            .map(|set| {
                let known = |mine: &FileSet| mine.digests == set.digests;
                match self.file_sets.iter().position(known) {
                    Some(place) => place,
                    None => {
                        self.file_sets.push(set);
                        self.file_sets.len() - 1
                    }
                }
            })
            .collect();
        let benches: Vec<usize> = later
            .benches
            .into_iter()
            .map(|bench| place(&mut self.benches, bench))
            .collect();
        self.runs.extend(later.runs.into_iter().map(|mut run| {
            run.files = files[run.files];
            run.bench = benches[run.bench];
            for seen in &mut run.seen {
                seen.metric = metrics[seen.metric];
            }
            run
        }));
    }

    fn adopt(&mut self, facts: MetricFacts) -> usize {
        let name = (facts.scenario.clone(), facts.key.clone(), facts.at.clone());
        let places = self.index.entry(name).or_default();
        let same = |at: &&usize| self.metrics[**at].dimension == facts.dimension;
        if let Some(place) = places.iter().find(same) {
            let mine = &mut self.metrics[*place];
            mine.limit_changed |= facts.limit_changed || mine.limit != facts.limit;
            mine.limit = facts.limit;
            mine.note_uncertainty(facts.least_u, facts.common);
            return *place;
        }
        places.push(self.metrics.len());
        self.metrics.push(facts);
        self.metrics.len() - 1
    }

    /// Runs whose start is still wanted in full, through [`Self::explain`].
    pub fn unexplained(&self) -> Vec<RunId> {
        let sets = self.file_sets.iter().take(MOST_FILE_SETS);
        sets.filter(|set| set.texts.is_none())
            .map(|set| set.run.clone())
            .collect()
    }

    /// Reads the files of a run that stands for all with the same ones.
    pub fn explain(&mut self, started: &RunStarted) {
        let digests: Vec<Digest> = started.files.iter().map(|file| file.digest).collect();
        let mut sets = self.file_sets.iter_mut().take(MOST_FILE_SETS);
        let Some(set) = sets.find(|set| set.digests == digests && set.texts.is_none()) else {
            return;
        };
        let files = KeptFiles::of(started);
        let plans = files.plan_count();
        set.texts = Some(Texts {
            plan: files.plan().ok(),
            plan_digests: digests.iter().copied().take(plans).collect(),
            bench: files.bench_text().map(|text| Digest::of(text.as_bytes())),
            lot: files
                .lot()
                .filter(|lot| Some(&lot.name) == started.lot.as_ref()),
        });
    }

    /// The lot's name, as far as it has one.
    pub fn name(&self) -> &str {
        self.name.as_ref().map_or("", LotName::as_str)
    }

    /// Whether no run counts.
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty()
    }

    /// The newest lot file in the runs.
    pub(super) fn lot(&self) -> Option<&Lot> {
        let texts = self.file_sets.iter().rev();
        texts
            .filter_map(|set| set.texts.as_ref())
            .find_map(|texts| texts.lot.as_ref())
    }

    /// The newest plan in the runs.
    pub fn plan(&self) -> Option<&Plan> {
        let texts = self.file_sets.iter().rev();
        texts
            .filter_map(|set| set.texts.as_ref())
            .find_map(|texts| texts.plan.as_ref())
    }

    /// Serial number of the reference board measured with the lot.
    pub(super) fn check_standard(&self) -> Option<&Serial> {
        self.lot()?.check_standard.as_ref()
    }

    /// The last run of each board, in the order of the runs, without the check
    /// standard's: a board counts once.
    pub(super) fn boards(&self) -> Vec<&RunReadings> {
        let check = self.check_standard();
        let mut seen = BTreeSet::new();
        let newest_first = self.runs.iter().rev();
        let mut boards: Vec<&RunReadings> = newest_first
            .filter(|run| Some(&run.serial) != check && seen.insert(&run.serial))
            .collect();
        boards.reverse();
        boards
    }

    /// The runs of the check standard.
    pub(super) fn check_runs(&self) -> Vec<&RunReadings> {
        let check = self.check_standard();
        let runs = self.runs.iter();
        runs.filter(|run| Some(&run.serial) == check).collect()
    }

    /// How many runs of boards tested again are left out by [`Self::boards`].
    pub(super) fn earlier(&self) -> usize {
        self.runs.len() - self.check_runs().len() - self.boards().len()
    }
}

fn place(benches: &mut Vec<Vec<InstrumentExcerpt>>, bench: Vec<InstrumentExcerpt>) -> usize {
    if let Some(place) = benches.iter().position(|known| *known == bench) {
        return place;
    }
    benches.push(bench);
    benches.len() - 1
}

/// What `runs` found of each metric of the lot, in one pass.
pub(super) fn by_metric(lot: &LotReadings, runs: &[&RunReadings]) -> Vec<Vec<Seen>> {
    let mut found: Vec<Vec<Seen>> = vec![Vec::new(); lot.metrics.len()];
    for run in runs {
        for seen in &run.seen {
            found[seen.metric].push(*seen);
        }
    }
    found
}
