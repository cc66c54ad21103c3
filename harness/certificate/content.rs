//! The words of a certificate, the same for page and print: identity,
//! conditions, metrics, what failed, how the bench was left. No layout.

use super::{BoardRun, Sources};
use crate::judgement::Verdict;
use crate::record::{JudgedMetric, Record};
use crate::report::words;

/// Label and text.
pub(super) type Fact = (&'static str, String);

pub(super) fn identity(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let mut facts = vec![
        ("Serial number", started.serial.to_string()),
        (
            "Lot",
            started
                .lot
                .as_ref()
                .map_or("none".into(), ToString::to_string),
        ),
        (
            "Board",
            format!("{}, revision {}", started.family, started.revision),
        ),
        ("Plan", started.plan.clone()),
        ("Run", started.run.to_string()),
        ("Started", time(record.started_at)),
        (
            "Ended",
            record
                .ended
                .as_ref()
                .map_or("not ended".into(), |ended| time(ended.at)),
        ),
    ];
    if let Some(scale) = sense_scale(record) {
        facts.push(("Sense scale", words::with_uncertainty(scale)));
    }
    if let Some(reason) = &started.retest {
        facts.push(("Tested again", reason.clone()));
    }
    if let Some(label) = words::label_scale(record) {
        facts.push(("Label", label));
    }
    if let Some(only) = &started.only {
        facts.push((
            "Diagnosis",
            format!("only scenario {only}; accepts nothing"),
        ));
    }
    facts
}

/// The scale of the current that the board itself reports, as its label wants
/// it.
pub(super) fn sense_scale(record: &Record) -> Option<&JudgedMetric> {
    let mut sense = record.scenarios.iter().filter(|s| s.kind == "sense");
    sense.find_map(|s| s.metrics.iter().find(|m| m.metric.key == SENSE_SCALE))
}

fn time(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

pub(super) fn conditions(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let stated = |text: Option<String>| text.unwrap_or_else(|| "not stated".into());
    let mut facts = vec![
        ("Ambient", stated(started.ambient.map(|t| t.to_string()))),
        ("Operator", stated(started.operator.clone())),
        ("Program", format!("bufferstop {}", started.version)),
    ];
    if let (true, Some(seed)) = (started.model, started.seed) {
        facts.push(("Model bench", format!("seed {}", seed.0)));
    }
    facts
}

/// Role, identity and calibration of each instrument.
pub(super) fn instruments(record: &Record) -> Vec<[String; 3]> {
    let instruments = record.instruments.iter().map(|instrument| {
        let calibrated = instrument.calibrated.as_deref();
        [
            instrument.role.to_string(),
            instrument.identity.clone(),
            calibrated.unwrap_or("not stated").to_owned(),
        ]
    });
    instruments.collect()
}

/// What is known of this board over all its runs: the first and the last
/// verdict of whole runs, and each run. Empty where there was only one.
pub(super) fn board(sources: &Sources<'_>) -> Option<(String, Vec<[String; 3]>)> {
    let runs = sources.runs;
    if runs.len() < 2 {
        return None;
    }
    let mut whole = runs.iter().filter(|run| !run.diagnosis);
    let first = whole.clone().next().map_or("none", |run| &run.headline);
    let last = whole.next_back().map_or("none", |run| &run.headline);
    let count = runs.iter().filter(|run| !run.diagnosis).count();
    let text = format!(
        "This board was run {} times, {count} of them the whole plan. First of these: {first}. Last: {last}.",
        runs.len(),
    );
    let row = |run: &BoardRun| {
        let this = run.run == sources.record.started.run;
        let this = if this { " (this certificate)" } else { "" };
        let name = format!("{}{this}", run.run);
        [time(run.started), run.headline.clone(), name]
    };
    Some((text, runs.iter().map(row).collect()))
}

/// Rules of decision with where their limits come from, numbered as they are
/// met, so that a row needs a number only.
#[derive(Default)]
pub(super) struct Rules(Vec<String>);

impl Rules {
    /// The number of the rule of that row; empty where nothing is judged.
    pub(super) fn number(&mut self, row: &Row) -> String {
        if row.rule.is_empty() {
            return String::new();
        }
        let text = match row.source.as_str() {
            "" => row.rule.clone(),
            source => format!("{}; limit from: {source}", row.rule),
        };
        let known = self.0.iter().position(|rule| *rule == text);
        let index = known.unwrap_or_else(|| {
            self.0.push(text);
            self.0.len() - 1
        });
        (index + 1).to_string()
    }

    /// The rules as numbered lines.
    pub(super) fn lines(&self) -> impl Iterator<Item = String> + '_ {
        let numbered = self.0.iter().enumerate();
        numbered.map(|(index, rule)| format!("Rule {}: {rule}.", index + 1))
    }
}

/// One metric as a row.
pub(super) struct Row {
    pub(super) label: String,
    pub(super) value: String,
    pub(super) uncertainty: String,
    pub(super) limit: String,
    pub(super) rule: String,
    pub(super) source: String,
    pub(super) margin: String,
    pub(super) verdict: &'static str,
}

pub(super) fn row(judged: &JudgedMetric) -> Row {
    let dimension = judged.metric.dimension;
    let limit = judged.limit.as_ref();
    Row {
        label: words::label(judged),
        value: words::found(judged),
        uncertainty: words::uncertainty(judged).replace(" (k = 2)", ""),
        limit: limit.map_or("recorded only".into(), |limit| limit.show(dimension)),
        rule: limit.map_or(String::new(), |limit| limit.rule.to_string()),
        source: limit.map_or(String::new(), |limit| limit.source.clone()),
        margin: judged
            .decision
            .as_ref()
            .map_or(String::new(), |decision| words::margin(decision, dimension)),
        verdict: judged.verdict().map_or("", Verdict::word),
    }
}

/// Verdict, what, and a sentence.
pub(super) type Findings = Vec<(Verdict, String, String)>;

/// Failing metrics first, then those not decided, a sentence each.
pub(super) fn findings(record: &Record) -> Findings {
    let mut found = Vec::new();
    for wanted in [Verdict::Fail, Verdict::Inconclusive] {
        for scenario in &record.scenarios {
            for judged in scenario
                .metrics
                .iter()
                .filter(|j| j.verdict() == Some(wanted))
            {
                let label = format!("{}: {}", scenario.name, words::label(judged));
                found.push((wanted, label, words::sentence(judged)));
            }
        }
    }
    found.extend(troubles(record));
    found
}

/// The same where there is no room for a sentence each: whatever did not pass
/// in a scenario is named in one, its values and limits are in the tables.
pub(super) fn findings_in_short(record: &Record) -> Findings {
    let mut found = Vec::new();
    for wanted in [Verdict::Fail, Verdict::Inconclusive] {
        for scenario in &record.scenarios {
            let metrics = scenario.metrics.iter();
            let metrics = metrics.filter(|j| j.verdict() == Some(wanted));
            let mut named: Vec<(&str, Vec<&str>)> = Vec::new();
            for judged in metrics {
                let (key, at) = (judged.metric.key.as_str(), judged.metric.at.as_str());
                match named.iter_mut().find(|(name, _)| *name == key) {
                    Some((_, places)) => places.push(at),
                    None => named.push((key, vec![at])),
                }
            }
            let count: usize = named.iter().map(|(_, places)| places.len()).sum();
            if count == 0 {
                continue;
            }
            let names = named.into_iter().map(|(key, places)| {
                let places: Vec<&str> = places.into_iter().filter(|at| !at.is_empty()).collect();
                let key = key.replace('_', " ");
                match places.is_empty() {
                    true => key,
                    false => format!("{key} ({})", places.join("; ")),
                }
            });
            let names: Vec<String> = names.collect();
            let all = scenario.metrics.len();
            let label = format!("{}: {count} of {all} metrics", scenario.name);
            found.push((wanted, label, names.join(", ")));
        }
    }
    found.extend(troubles(record));
    found
}

/// What hindered the run, and what was not run.
fn troubles(record: &Record) -> Findings {
    let mut found = Vec::new();
    for scenario in &record.scenarios {
        for trouble in &scenario.troubles {
            let text = format!("{} (for the {} to mend)", trouble.what, trouble.blame);
            found.push((Verdict::Inconclusive, scenario.name.clone(), text));
        }
    }
    for trouble in &record.troubles {
        let name = trouble.scenario.clone().unwrap_or_else(|| "run".into());
        found.push((Verdict::Inconclusive, name, trouble.trouble.what.clone()));
    }
    for name in record.not_run() {
        found.push((
            Verdict::Inconclusive,
            name.to_owned(),
            "It was not run.".into(),
        ));
    }
    found
}

pub(super) fn safety(record: &Record) -> String {
    match record.made_safe() {
        Some(true) => {
            "The bench was made safe: every output off and the current found gone.".into()
        }
        Some(false) => "THE BENCH WAS NOT FOUND SAFE at the last attempt.".into(),
        None => "No attempt to make the bench safe is recorded.".into(),
    }
}

pub(super) fn notes(sources: &Sources<'_>) -> Vec<String> {
    let note = |note: &crate::record::Note| {
        let author = note.author.as_deref().unwrap_or("unnamed");
        format!("{}, {author}: {}", time(note.at), note.text)
    };
    sources.notes.iter().map(note).collect()
}

pub(super) fn digests(sources: &Sources<'_>) -> Vec<Fact> {
    let ended = sources.record.ended.as_ref();
    let shown = |digest: Option<crate::digest::Digest>| {
        digest.map_or_else(|| "not known".to_owned(), |digest| digest.to_string())
    };
    let mut facts = vec![
        (
            "Measurement digest",
            shown(ended.map(|ended| ended.measurement)),
        ),
        ("Chain head", shown(sources.head)),
    ];
    if let Some(seal) = sources.seal {
        facts.push(("Signed by key", seal.public_key.clone()));
        facts.push(("Signature", seal.signature.clone()));
    }
    facts
}

/// Said below findings that have no sentence each.
pub(super) const IN_SHORT: &str = "Each of these stands in the tables with its value, limit and margin; the HTML page and the run's summary tell each in a sentence of its own.";
/// The metric of scenario `sense` that a label carries.
const SENSE_SCALE: &str = "sense_scale";
/// What must be said of a run on the model bench.
pub(super) const MODEL: &str = "MODEL BENCH: no real board was measured";
/// What U and k are.
pub(super) const LEGEND: &str = "U: expanded uncertainty, k = 2. Line: allowed range heavy between its bars; diamond: value; arrow: bound. MARGIN: distance to the nearer limit, positive inside.";
