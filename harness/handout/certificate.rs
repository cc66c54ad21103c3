//! The certificate of a run, from its record and its observations alone: what
//! the board is, what did not pass, every metric, what was seen, how the bench
//! was left. It lays nothing out and judges nothing.

use super::block::{Block, DENSE, Fact, Framed, Handout, Head, Line, Reading, Readings};
use crate::bench_file::Standing;
use crate::digest::Digest;
use crate::drawing::Picture;
use crate::ident::RunId;
use crate::judgement::Verdict;
use crate::measurement::in_words;
use crate::record::seal::Seal;
use crate::record::{InstrumentFacts, JudgedMetric, Note, Record, ScenarioRecord};
use crate::report::words;
use crate::scenario::{Judged, Observation};
use jiff::tz::TimeZone;

/// What a certificate is made from.
#[derive(Clone, Copy, Debug)]
pub struct Sources<'a> {
    /// The record.
    pub record: &'a Record,
    /// What its scenarios saw, with the scenario's name.
    pub observations: &'a [(String, Observation)],
    /// Remarks added after the run.
    pub notes: &'a [Note],
    /// The link of the chain that closes the run, where it is known.
    pub head: Option<Digest>,
    /// The signature under it, where there is one that holds.
    pub seal: Option<&'a Seal>,
    /// Every run of this board in the store, this one included, oldest first.
    pub runs: &'a [BoardRun],
}

/// One run of the board that a certificate is for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BoardRun {
    /// The run.
    pub run: RunId,
    /// When it started.
    pub started: jiff::Timestamp,
    /// Its verdict as it may be shown.
    pub headline: String,
    /// Whether only one scenario was run, which accepts nothing.
    pub diagnosis: bool,
}

/// The certificate.
pub fn certificate(sources: &Sources<'_>) -> Handout {
    let record = sources.record;
    let mut blocks = Vec::new();
    blocks.extend(framed(record).map(Block::Framed));
    let conditions = vec![
        Block::heading("Conditions"),
        Block::Facts(conditions(record)),
        Block::heading("Instruments"),
        instruments(record),
    ];
    let identity = vec![Block::heading("Identity"), Block::Facts(identity(record))];
    blocks.push(Block::Beside([identity, conditions]));
    blocks.extend(board(sources).into_iter().flatten());
    let mut rules = Rules::default();
    let scenarios = record.scenarios.iter();
    blocks.extend(scenarios.map(|scenario| readings(scenario, &mut rules)));
    blocks.push(Block::Legend(LEGEND.into(), rules.lines().collect()));
    blocks.push(Block::Gallery(figures(sources)));
    blocks.push(Block::heading("Left safe, notes and seals"));
    blocks.push(Block::text(safety(record)));
    blocks.extend(sources.notes.iter().map(note));
    blocks.push(Block::Facts(digests(sources)));
    Handout {
        head: head(record),
        blocks,
        layout: &DENSE,
    }
}

/// Every figure in the order of the run, with whether its scenario passed.
fn figures(sources: &Sources<'_>) -> Vec<(Picture, bool)> {
    let drawn = sources.observations.iter().flat_map(|(name, observation)| {
        let scenarios = &sources.record.scenarios;
        let recorded = scenarios.iter().find(|s| s.name == *name);
        let metrics = recorded.map_or(&[][..], |s| &s.metrics);
        let metrics: Vec<Judged<'_>> = metrics
            .iter()
            .map(|judged| Judged {
                metric: &judged.metric,
                limit: judged.limit.as_ref(),
            })
            .collect();
        let passed = recorded.and_then(|s| s.verdict) == Some(Verdict::Pass);
        let figures = observation.figures(name, &metrics);
        figures.into_iter().map(move |figure| (figure, passed))
    });
    drawn.collect()
}

fn head(record: &Record) -> Head {
    let started = &record.started;
    let (headline, serial) = (record.headline(), &started.serial);
    Head {
        kind: kind(record),
        about: format!("Board {serial}"),
        code: Some(code(record)),
        model: started.model,
        titles: [
            format!("{headline} {serial}: certificate"),
            format!("Certificate {serial}: {headline}"),
        ],
        foot: format!("{headline}  |  {serial}  |  run {}", started.run),
        identity: started.run.to_string(),
        version: started.version.clone(),
        at: record.started_at,
        headline,
    }
}

/// What the paper is: only a board that was accepted has a certificate.
fn kind(record: &Record) -> &'static str {
    if record.started.only.is_some() {
        "Diagnosis: accepts nothing"
    } else if record.verdict() == Verdict::Pass {
        "Certificate of acceptance test"
    } else {
        "Test report: the board is not accepted"
    }
}

/// What the code on a certificate or a label says.
pub(super) fn code(record: &Record) -> String {
    let digest = record.ended.as_ref().map(|ended| ended.measurement);
    let digest = digest.map_or_else(|| "none".to_owned(), |digest| digest.to_string());
    // A code is read without the page around it.
    let model = if record.started.model { "MODEL " } else { "" };
    format!("{model}{} {digest}", record.started.serial)
}

fn identity(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let (lot, ended) = (started.lot.as_ref(), record.ended.as_ref());
    let board = format!("{}, revision {}", started.family, started.revision);
    let scale = words::scale_factor(record).map(words::with_uncertainty);
    let only = started.only.as_ref();
    let planted = (!started.planted.is_empty()).then(|| started.planted.join(", "));
    let facts = [
        ("Serial number", Some(started.serial.to_string())),
        ("Lot", Some(lot.map_or("none".into(), ToString::to_string))),
        ("Board", Some(board)),
        ("Plan", Some(started.plan.clone())),
        ("Run", Some(started.run.to_string())),
        ("Started", Some(time(record.started_at))),
        (
            "Ended",
            Some(ended.map_or("not ended".into(), |e| time(e.at))),
        ),
        ("Scale factor", scale),
        ("Tested again", started.retest.clone()),
        ("Label", words::label_scale(record)),
        ("Planted defects", planted),
        ("Not tested", not_tested(record)),
        (
            "Diagnosis",
            only.map(|only| format!("only scenario {only}; accepts nothing")),
        ),
    ];
    let stated = facts
        .into_iter()
        .filter_map(|(label, text)| Some((label, text?)));
    stated.collect()
}

/// What was left out of the run, and why.
fn not_tested(record: &Record) -> Option<String> {
    let omitted = record.started.without.iter();
    let words = omitted.map(|omitted| format!("{} ({})", omitted.scenario, omitted.reason));
    let words: Vec<String> = words.collect();
    (!words.is_empty()).then(|| words.join("; "))
}

fn time(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M:%S UTC").to_string()
}

fn conditions(record: &Record) -> Vec<Fact> {
    let started = &record.started;
    let stated = |text: Option<String>| text.unwrap_or_else(|| "not stated".into());
    let mut facts = vec![
        ("Ambient", stated(started.ambient.map(|t| t.to_string()))),
        ("Operator", stated(started.operator.clone())),
        ("Program", format!("bufferstop {}", started.version)),
    ];
    if let Some(reason) = &started.overdue_calibration {
        facts.push(("Overdue calibrations", format!("used because: {reason}")));
    }
    for missing in &started.missing_safety {
        facts.push(("Safety", missing.clone()));
    }
    if let (true, Some(seed)) = (started.model, started.seed) {
        facts.push(("Model bench", format!("seed {}", seed.0)));
    }
    facts
}

/// Role, identity and calibration of each instrument.
fn instruments(record: &Record) -> Block {
    if record.instruments.is_empty() {
        return Block::text("None had answered.");
    }
    let rows = record.instruments.iter().map(|instrument| {
        let calibrated = instrument.calibrated.as_deref();
        vec![
            instrument.role.to_string(),
            instrument.identity.clone(),
            calibrated.map_or_else(
                || "not stated".to_owned(),
                |date| format!("{date}{}", due(record, instrument)),
            ),
        ]
    });
    Block::table("Role | Identity | Calibrated", rows)
}

/// When the calibration is due, whether it was before the run, and by which
/// certificate it stands.
fn due(record: &Record, instrument: &InstrumentFacts) -> String {
    let Some(due) = instrument.due else {
        return String::new();
    };
    let day = TimeZone::UTC.to_datetime(record.started_at).date();
    let due = match Standing::of(due, day) {
        // A model is not calibrated.
        Standing::Overdue(_) if !record.started.model => format!(", overdue since {due}"),
        _ => format!(", due {due}"),
    };
    let certificate = instrument.certificate.as_ref();
    let certificate = certificate.map(|number| format!(", {number}"));
    due + &certificate.unwrap_or_default()
}

/// What is known of this board over all its runs: the first and the last
/// verdict of whole runs, and each run. Nothing where there was only one.
fn board(sources: &Sources<'_>) -> Option<[Block; 3]> {
    let runs = sources.runs;
    if runs.len() < 2 {
        return None;
    }
    let whole: Vec<&BoardRun> = runs.iter().filter(|run| !run.diagnosis).collect();
    let said = |run: Option<&&BoardRun>| run.map_or("none".into(), |run| run.headline.clone());
    let text = format!(
        "This board was run {} times, {} of them the whole plan. First of these: {}. Last: {}.",
        runs.len(),
        whole.len(),
        said(whole.first()),
        said(whole.last())
    );
    let rows = runs.iter().map(|run| {
        let this = run.run == sources.record.started.run;
        let this = if this { " (this certificate)" } else { "" };
        let name = format!("{}{this}", run.run);
        vec![time(run.started), run.headline.clone(), name]
    });
    Some([
        Block::heading("Every run of this board"),
        Block::Text(text),
        Block::table("Started | Verdict | Run", rows),
    ])
}

/// Rules of decision with where their limits come from, numbered as they are
/// met, so that a row needs a number only.
#[derive(Default)]
struct Rules(Vec<String>);

impl Rules {
    /// The number of the rule by which that is judged; empty where nothing is.
    fn number(&mut self, judged: &JudgedMetric) -> String {
        let Some(limit) = &judged.limit else {
            return String::new();
        };
        let text = match limit.source.as_str() {
            "" => limit.rule.to_string(),
            source => format!("{}; limit from: {source}", limit.rule),
        };
        let known = self.0.iter().position(|rule| *rule == text);
        let index = known.unwrap_or_else(|| {
            self.0.push(text);
            self.0.len() - 1
        });
        (index + 1).to_string()
    }

    /// The rules as numbered lines.
    fn lines(&self) -> impl Iterator<Item = String> + '_ {
        let numbered = self.0.iter().enumerate();
        numbered.map(|(index, rule)| format!("Rule {}: {rule}.", index + 1))
    }
}

fn readings(scenario: &ScenarioRecord, rules: &mut Rules) -> Block {
    let verdict = scenario.verdict.map_or("UNFINISHED", Verdict::word);
    Block::Readings(Readings {
        name: format!("{}: {verdict}", scenario.name),
        rows: scenario.metrics.iter().map(|j| reading(j, rules)).collect(),
    })
}

fn reading(judged: &JudgedMetric, rules: &mut Rules) -> Reading {
    let metric = &judged.metric;
    let limit = judged.limit.as_ref();
    let decision = judged.decision.as_ref();
    Reading {
        key: metric.key.clone(),
        at: metric.at.clone(),
        label: words::label(judged),
        value: words::found(judged),
        uncertainty: words::uncertainty(judged).replace(" (k = 2)", ""),
        limit: limit.map_or("recorded only".into(), |limit| limit.show(metric.dimension)),
        rule: rules.number(judged),
        margin: decision.map_or(String::new(), |d| words::margin(d, metric.dimension)),
        verdict: judged.verdict().map_or("", Verdict::word),
        remarks: metric.notes.clone(),
        gauge: limit.map(|limit| (metric.finding.clone(), limit.clone())),
    }
}

/// What did not pass, a sentence each and in short; nothing where all did.
fn framed(record: &Record) -> Option<Framed> {
    let lines = |told: fn(&ScenarioRecord, Verdict) -> Vec<Line>| {
        let wanted = [Verdict::Fail, Verdict::Inconclusive].into_iter();
        let scenarios = wanted.flat_map(|v| record.scenarios.iter().map(move |s| (s, v)));
        let mut lines: Vec<Line> = scenarios
            .flat_map(|(s, verdict)| told(s, verdict))
            .collect();
        lines.extend(troubles(record));
        lines
    };
    let found = lines(in_sentences);
    (!found.is_empty()).then(|| Framed {
        label: "What did not pass",
        lines: found,
        short: Some((lines(in_short), IN_SHORT)),
    })
}

fn line(verdict: Verdict, what: &str, rest: String) -> Line {
    let lead = format!("{verdict} {what}");
    Line { lead, rest }
}

fn with(scenario: &ScenarioRecord, verdict: Verdict) -> impl Iterator<Item = &JudgedMetric> {
    let metrics = scenario.metrics.iter();
    metrics.filter(move |judged| judged.verdict() == Some(verdict))
}

fn in_sentences(scenario: &ScenarioRecord, verdict: Verdict) -> Vec<Line> {
    let told = |judged| {
        let what = format!("{}: {}", scenario.name, words::label(judged));
        line(verdict, &what, words::sentence(judged))
    };
    with(scenario, verdict).map(told).collect()
}

/// Where there is no room for a sentence each: whatever did not pass in a
/// scenario is named in one, its values and limits are in the tables.
fn in_short(scenario: &ScenarioRecord, verdict: Verdict) -> Vec<Line> {
    let mut named: Vec<(&str, Vec<&str>)> = Vec::new();
    let mut count = 0;
    for judged in with(scenario, verdict) {
        count += 1;
        let (key, at) = (judged.metric.key.as_str(), judged.metric.at.as_str());
        let known = named.iter().position(|(name, _)| *name == key);
        let index = known.unwrap_or_else(|| {
            named.push((key, Vec::new()));
            named.len() - 1
        });
        named[index].1.extend(Some(at).filter(|at| !at.is_empty()));
    }
    if count == 0 {
        return Vec::new();
    }
    let names = named.into_iter().map(|(key, places)| {
        let key = in_words(key);
        match places.is_empty() {
            true => key,
            false => format!("{key} ({})", places.join("; ")),
        }
    });
    let names: Vec<String> = names.collect();
    let all = scenario.metrics.len();
    let what = format!("{}: {count} of {all} metrics", scenario.name);
    vec![line(verdict, &what, names.join(", "))]
}

/// What hindered the run, and what was not run.
fn troubles(record: &Record) -> Vec<Line> {
    let undecided = |what: &str, rest: String| line(Verdict::Inconclusive, what, rest);
    let mut found = Vec::new();
    for scenario in &record.scenarios {
        for trouble in &scenario.troubles {
            let text = format!("{} (for the {} to mend)", trouble.what, trouble.blame);
            found.push(undecided(&scenario.name, text));
        }
    }
    for trouble in &record.troubles {
        let name = trouble.scenario.as_deref().unwrap_or("run");
        found.push(undecided(name, trouble.trouble.what.clone()));
    }
    let not_run = record.not_run();
    found.extend(not_run.map(|name| undecided(name, "It was not run.".into())));
    found
}

fn safety(record: &Record) -> &'static str {
    match record.made_safe() {
        Some(true) => "The bench was made safe: every output off and the current found gone.",
        Some(false) => "THE BENCH WAS NOT FOUND SAFE at the last attempt.",
        None => "No attempt to make the bench safe is recorded.",
    }
}

fn note(note: &Note) -> Block {
    let author = note.author.as_deref().unwrap_or("unnamed");
    Block::Text(format!("{}, {author}: {}", time(note.at), note.text))
}

fn digests(sources: &Sources<'_>) -> Vec<Fact> {
    let measured = sources.record.ended.as_ref().map(|ended| ended.measurement);
    let shown = |digest: Option<Digest>| digest.map_or("not known".into(), |d| d.to_string());
    let mut facts = vec![
        ("Measurement digest", shown(measured)),
        ("Chain head", shown(sources.head)),
    ];
    if let Some(seal) = sources.seal {
        facts.push(("Signed by key", seal.public_key.clone()));
        facts.push(("Signature", seal.signature.clone()));
    }
    facts
}

/// Said below findings that have no sentence each.
const IN_SHORT: &str = "Each of these stands in the tables with its value, limit and margin; the HTML page and the run's summary give each a sentence of its own.";
/// What U and k are.
const LEGEND: &str = "U: expanded uncertainty, k = 2. Line: allowed range heavy between its bars; diamond: value; arrow: bound. MARGIN: distance to the nearer limit, positive inside.";
