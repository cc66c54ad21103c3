//! JUnit-style XML in the subset that the common schemas agree on: a scenario
//! is a suite, a limit is a case, FAIL is a failure, INCONCLUSIVE an error. It
//! decides nothing: each verdict is the record's.
//!
//! The root carries no attributes, values stand in texts and suite properties,
//! and a case has at most one outcome, since at least one schema forbids the
//! rest. A suite named `run` is added only where the run itself went wrong in a
//! way that no scenario shows, so that a reader who only counts is not misled.

use super::format::{Format, Made};
use super::words;
use super::xml::Xml;
use crate::clock::BenchInstant;
use crate::judgement::Verdict;
use crate::plan::Omitted;
use crate::record::{JudgedMetric, Record, ScenarioRecord};
use crate::units::Quantity;

/// `junit.xml`.
pub(super) const FORMAT: Format = Format {
    name: "junit",
    about: "JUnit-style XML instead, as `junit.xml` of the run's folder.",
    made: Made::Whole("junit.xml", junit),
};

/// The record as JUnit-style XML.
pub fn junit(record: &Record) -> String {
    let mut suites: Vec<Suite> = record.scenarios.iter().map(of_scenario).collect();
    for name in record.not_run() {
        suites.push(not_run(record, name));
    }
    let omitted = record.started.without.iter();
    suites.extend(omitted.map(|omitted| left_out(record, omitted)));
    let shown = suites
        .iter()
        .flat_map(|suite| &suite.cases)
        .filter_map(|case| case.outcome.verdict());
    let shown = shown.max().unwrap_or(Verdict::Pass);
    let faults = run_cases(record, shown);
    if !faults.is_empty() {
        suites.push(Suite {
            name: "run".to_owned(),
            timestamp: timestamp(record.started_at),
            seconds: 0.0,
            out: String::new(),
            cases: faults,
        });
    }
    let mut xml = Xml::new();
    xml.parent("testsuites", &[], |xml| {
        for (index, suite) in suites.iter().enumerate() {
            write_suite(xml, record, index, suite);
        }
    });
    xml.finish()
}

struct Suite {
    name: String,
    timestamp: String,
    seconds: f64,
    out: String,
    cases: Vec<Case>,
}

struct Case {
    name: String,
    seconds: f64,
    outcome: Outcome,
    text: String,
}

enum Outcome {
    Passed,
    Failed { message: String },
    Undecided { kind: &'static str, message: String },
    Skipped,
}

impl Outcome {
    fn of(verdict: Verdict, kind: &'static str, message: String) -> Self {
        match verdict {
            Verdict::Pass => Self::Passed,
            Verdict::Fail => Self::Failed { message },
            Verdict::Inconclusive => Self::Undecided { kind, message },
        }
    }

    fn verdict(&self) -> Option<Verdict> {
        match self {
            Self::Passed => Some(Verdict::Pass),
            Self::Failed { .. } => Some(Verdict::Fail),
            Self::Undecided { .. } => Some(Verdict::Inconclusive),
            Self::Skipped => None,
        }
    }
}

fn of_scenario(scenario: &ScenarioRecord) -> Suite {
    let mut cases = Vec::new();
    let mut since = scenario.started_bench;
    for judged in &scenario.metrics {
        if let Some(verdict) = judged.verdict() {
            // Cases add up to the suite: each takes the time since the last.
            let seconds = span(since, judged.bench);
            since = judged.bench;
            cases.push(Case {
                name: words::label(judged),
                seconds,
                outcome: Outcome::of(verdict, "inconclusive", message(judged)),
                text: details(judged),
            });
        }
    }
    let worst = cases
        .iter()
        .filter_map(|case| case.outcome.verdict())
        .max()
        .unwrap_or(Verdict::Pass);
    // Where the scenario fared worse than its limits, that is a case too; and
    // where nothing was judged, so that the suite is not empty.
    let own = scenario.verdict.unwrap_or(Verdict::Inconclusive);
    if own > worst || cases.is_empty() {
        let what: Vec<&str> = scenario.troubles.iter().map(|t| t.what.as_str()).collect();
        let message = match (scenario.verdict, what.is_empty()) {
            (None, true) => "the scenario did not end".to_owned(),
            (Some(_), true) => "the scenario's own verdict".to_owned(),
            (_, false) => what.join("; "),
        };
        cases.push(Case {
            name: "scenario".to_owned(),
            seconds: 0.0,
            outcome: Outcome::of(own, "trouble", message),
            text: String::new(),
        });
    }
    Suite {
        name: scenario.name.clone(),
        timestamp: timestamp(scenario.started_at),
        seconds: scenario.took.map_or(0.0, |took| took.si().max(0.0)),
        out: log(scenario),
        cases,
    }
}

fn not_run(record: &Record, name: &str) -> Suite {
    let out = "The scenario was planned and did not begin.".to_owned();
    skipped(record, name, out)
}

fn left_out(record: &Record, omitted: &Omitted) -> Suite {
    let out = format!("Not tested: {}", omitted.reason);
    skipped(record, &omitted.scenario, out)
}

fn skipped(record: &Record, name: &str, out: String) -> Suite {
    Suite {
        name: name.to_owned(),
        timestamp: timestamp(record.started_at),
        seconds: 0.0,
        out,
        cases: vec![Case {
            name: "scenario".to_owned(),
            seconds: 0.0,
            outcome: Outcome::Skipped,
            text: String::new(),
        }],
    }
}

/// What is wrong with the run as a whole, beyond what its scenarios show.
fn run_cases(record: &Record, shown: Verdict) -> Vec<Case> {
    let mut cases = Vec::new();
    let mut add = |name: &str, outcome| {
        cases.push(Case {
            name: name.to_owned(),
            seconds: 0.0,
            outcome,
            text: String::new(),
        });
    };
    let undecided = |message: String| Outcome::Undecided {
        kind: "trouble",
        message,
    };
    if record.made_safe() == Some(false) {
        add(
            "bench made safe",
            undecided("the bench could not be made safe; see the record".to_owned()),
        );
    } else if record.made_safe().is_none() && record.energised() {
        add(
            "bench made safe",
            undecided("it is not recorded that the bench was made safe".to_owned()),
        );
    }
    for trouble in &record.troubles {
        add("trouble", undecided(trouble.trouble.what.clone()));
    }
    if record.is_open() {
        add("run ended", undecided("the run has not ended".to_owned()));
    } else if let Some(abort) = record.abort() {
        let words = super::summary::abort_words(abort);
        add("run ended", undecided(words.to_owned()));
    } else if record.verdict() > shown {
        add(
            "verdict",
            Outcome::of(
                record.verdict(),
                "inconclusive",
                "the verdict over all is worse than any limit shows".to_owned(),
            ),
        );
    }
    cases
}

fn write_suite(xml: &mut Xml, record: &Record, index: usize, suite: &Suite) {
    let count = |verdict| {
        let cases = suite.cases.iter();
        let outcomes = cases.filter(|case| case.outcome.verdict() == verdict);
        outcomes.count().to_string()
    };
    let attributes = [
        ("package", "bufferstop"),
        ("id", &index.to_string()),
        ("name", name(&suite.name)),
        ("timestamp", &suite.timestamp),
        (
            "hostname",
            if record.started.model {
                "model-bench"
            } else {
                "bench"
            },
        ),
        ("tests", &suite.cases.len().to_string()),
        ("failures", &count(Some(Verdict::Fail))),
        ("errors", &count(Some(Verdict::Inconclusive))),
        ("skipped", &count(None)),
        ("time", &format!("{:.3}", suite.seconds)),
    ];
    let class = format!("bufferstop.{}", name(&suite.name));
    xml.parent("testsuite", &attributes, |xml| {
        xml.parent("properties", &[], |xml| {
            for (key, value) in properties(record) {
                xml.leaf("property", &[("name", key), ("value", &value)], "");
            }
        });
        for case in &suite.cases {
            write_case(xml, &class, case);
        }
        xml.leaf("system-out", &[], &suite.out);
        xml.leaf("system-err", &[], "");
    });
}

fn write_case(xml: &mut Xml, class: &str, case: &Case) {
    let seconds = format!("{:.3}", case.seconds);
    let attributes = [
        ("name", name(&case.name)),
        ("classname", class),
        ("time", seconds.as_str()),
    ];
    xml.parent("testcase", &attributes, |xml| {
        match &case.outcome {
            Outcome::Passed => {}
            Outcome::Failed { message } => {
                let attributes = [("type", "limit"), ("message", message.as_str())];
                xml.leaf("failure", &attributes, &case.text);
            }
            Outcome::Undecided { kind, message } => {
                let attributes = [("type", *kind), ("message", message.as_str())];
                xml.leaf("error", &attributes, &case.text);
            }
            Outcome::Skipped => xml.leaf("skipped", &[], ""),
        }
        xml.leaf("system-out", &[], &case.text);
    });
}

/// Names may not be empty in one of the schemas.
fn name(text: &str) -> &str {
    if text.is_empty() { "unnamed" } else { text }
}

fn properties(record: &Record) -> Vec<(&'static str, String)> {
    let started = &record.started;
    let text = |option: &Option<String>| option.clone().unwrap_or_default();
    vec![
        ("verdict", record.headline()),
        ("serial", started.serial.to_string()),
        (
            "lot",
            started
                .lot
                .as_ref()
                .map_or(String::new(), |lot| lot.to_string()),
        ),
        ("run", started.run.to_string()),
        ("plan", started.plan.clone()),
        ("family", started.family.clone()),
        ("revision", started.revision.clone()),
        ("operator", text(&started.operator)),
        ("retest", text(&started.retest)),
        ("planted", started.planted.join(", ")),
        ("ambient", started.ambient_words().unwrap_or_default()),
        ("version", started.version.clone()),
    ]
}

/// The line a list of failures shows.
fn message(judged: &JudgedMetric) -> String {
    let limit = judged.limit.as_ref();
    let limit = limit.map_or(String::new(), |l| l.show(judged.metric.dimension));
    let found = judged.metric.finding.show(judged.metric.dimension);
    format!("{found}, limit {limit}. {}", words::sentence(judged))
}

/// Everything about one judged metric, a line each.
fn details(judged: &JudgedMetric) -> String {
    let dimension = judged.metric.dimension;
    let mut lines = vec![
        format!("metric: {}", judged.metric.label()),
        format!("value: {}", words::found(judged)),
        format!("uncertainty: {}", words::uncertainty(judged)),
    ];
    if let Some(limit) = &judged.limit {
        lines.push(format!("limit: {}", limit.show(dimension)));
        lines.push(format!("rule: {}", limit.rule));
        lines.push(format!("source: {}", limit.source));
    }
    if let Some(decision) = &judged.decision {
        lines.push(format!("margin: {}", words::margin(decision, dimension)));
        lines.push(format!("verdict: {}", decision.verdict));
    }
    lines.push(format!("time: {} of bench time", judged.bench));
    lines.push(words::sentence(judged));
    lines.extend(
        judged
            .metric
            .notes
            .iter()
            .map(|note| format!("note: {note}")),
    );
    lines.join("\n")
}

/// Steps, metrics without limit and troubles of a scenario, a line each.
fn log(scenario: &ScenarioRecord) -> String {
    let mut lines = vec![format!("kind: {}", scenario.kind)];
    for step in &scenario.steps {
        lines.push(format!("{}  {}", step.bench, step.text));
    }
    for judged in scenario.metrics.iter().filter(|j| j.decision.is_none()) {
        let finding = judged.metric.finding.show(judged.metric.dimension);
        lines.push(format!("{}: {finding}", words::label(judged)));
    }
    for trouble in &scenario.troubles {
        lines.push(format!("trouble ({}): {}", trouble.blame, trouble.what));
    }
    for digest in &scenario.observations {
        lines.push(format!("observation: {digest}"));
    }
    lines.join("\n")
}

/// Without zone or fraction, as one schema demands; always UTC.
fn timestamp(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%dT%H:%M:%S").to_string()
}

fn span(from: BenchInstant, to: BenchInstant) -> f64 {
    (to - from).seconds().si().max(0.0)
}
