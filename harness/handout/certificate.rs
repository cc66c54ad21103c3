//! The paper of a run, from its record and its observations alone: page one for
//! the customer, then the measurement sheet with what did not pass, every metric,
//! what was seen and how the bench was left. It lays nothing out and judges
//! nothing.

use super::block::{
    Block, DENSE, Fact, Framed, Handout, Head, Letterhead, Line, Reading, Readings,
};
use super::conditions::{conditions, identity, instruments, time};
use super::front;
use crate::digest::Digest;
use crate::drawing::Picture;
use crate::ident::RunId;
use crate::judgement::{Limit, Verdict};
use crate::measurement::in_words;
use crate::record::seal::Seal;
use crate::record::{JudgedMetric, Note, Record, ScenarioRecord};
use crate::report::words;
use crate::scenario::{Judged, Observation, ScenarioKind};

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
    /// Who issues the paper, where that is stated.
    pub letterhead: Option<&'a Letterhead>,
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
    let mut blocks = front::front(sources);
    blocks.push(Block::heading(format!(
        "Measurement sheet of {}",
        record.started.serial
    )));
    let told = framed(record).map(|framed| Framed {
        label: "What did not pass, in sentences",
        ..framed
    });
    blocks.extend(told.map(Block::Framed));
    blocks.push(Block::Beside([
        vec![Block::Facts(identity(record))],
        vec![Block::Facts(conditions(record))],
    ]));
    blocks.push(Block::heading("Instruments"));
    blocks.push(instruments(record));
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
        head: front::issued(head(record), sources.letterhead),
        blocks,
        layout: &DENSE,
    }
}

/// Every figure in the order of the run, with whether its scenario passed.
fn figures(sources: &Sources<'_>) -> Vec<(Picture, bool)> {
    let drawn = sources.observations.iter().flat_map(|(name, observation)| {
        let mut scenarios = sources.record.scenarios.iter();
        let verdict = scenarios.find(|s| s.name == *name).and_then(|s| s.verdict);
        let figures = figures_of(sources.record, name, observation);
        figures
            .into_iter()
            .map(move |figure| (figure, verdict == Some(Verdict::Pass)))
    });
    drawn.collect()
}

/// The figures of one scenario beside its metrics.
pub(super) fn figures_of(record: &Record, name: &str, observation: &Observation) -> Vec<Picture> {
    let recorded = record.scenarios.iter().find(|s| s.name == name);
    let metrics = recorded.map_or(&[][..], |s| &s.metrics).iter();
    let metrics: Vec<Judged<'_>> = metrics
        .map(|judged| Judged {
            metric: &judged.metric,
            limit: judged.limit.as_ref(),
        })
        .collect();
    observation.figures(name, &metrics)
}

fn head(record: &Record) -> Head {
    let started = &record.started;
    let (headline, serial) = (record.headline(), &started.serial);
    Head {
        kind: kind(record),
        about: format!("Board {serial}"),
        issuer: None,
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
pub(super) struct Rules(Vec<String>);

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
        rows: scenario
            .metrics
            .iter()
            .map(|judged| reading(scenario, judged, rules))
            .collect(),
    })
}

/// A metric of a scenario. A plain statement is answered with yes or no: it has
/// neither an uncertainty nor a margin.
pub(super) fn reading(
    scenario: &ScenarioRecord,
    judged: &JudgedMetric,
    rules: &mut Rules,
) -> Reading {
    let metric = &judged.metric;
    let limit = judged.limit.as_ref();
    let decision = judged.decision.as_ref();
    let kind = ScenarioKind::from_word(&scenario.kind);
    let known = kind.and_then(|kind| kind.metric(&metric.key));
    let answer = known
        .filter(|known| known.statement)
        .and_then(|_| metric.finding.estimate())
        .map(|answer| if answer.value == 0.0 { "no" } else { "yes" });
    let (value, uncertainty) = words::value_and_uncertainty(judged);
    let shown = Reading {
        scenario: scenario.name.clone(),
        label: words::label(judged),
        value,
        uncertainty,
        result: metric.finding.show(metric.dimension),
        limit: limit.map_or("recorded only".into(), |limit| limit.show(metric.dimension)),
        rule: rules.number(judged),
        margin: decision.map_or(String::new(), |d| words::margin(d, metric.dimension)),
        verdict: judged.verdict().map_or("", Verdict::word),
        remarks: metric.notes.clone(),
        gauge: limit.map(|limit| (metric.finding.clone(), limit.clone())),
    };
    let Some(answer) = answer else {
        return shown;
    };
    let asked = |limit: &Limit| match (limit.lower, limit.upper) {
        (Some(lower), _) if lower > 0.0 => "yes".to_owned(),
        (_, Some(upper)) if upper < 1.0 => "no".to_owned(),
        _ => "either".to_owned(),
    };
    Reading {
        value: answer.to_owned(),
        result: answer.to_owned(),
        uncertainty: String::new(),
        margin: String::new(),
        limit: limit.map_or(shown.limit, asked),
        gauge: None,
        ..shown
    }
}

/// What did not pass, in short, for page one.
pub(super) fn framed_short(record: &Record) -> Option<Framed> {
    let framed = framed(record)?;
    let (lines, _) = framed.short.unwrap_or_default();
    Some(Framed {
        label: framed.label,
        lines,
        short: None,
    })
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
    let off = if note.bench_is_off {
        words::BENCH_IS_OFF
    } else {
        ""
    };
    let said = format!("{}, {author}: {} {off}", time(note.at), note.text);
    Block::Text(said.trim_end().to_owned())
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
const LEGEND: &str = "U: expanded uncertainty, k = 2. Line: allowed range heavy between its bars; diamond: value; arrow: bound. Margin: distance to the nearer limit, positive inside.";
