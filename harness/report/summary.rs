//! A record as plain text for a person: the verdict, what the board is, what
//! was wrong with it first, then everything. It has no colours and no markup.

use super::format::{Format, Made};
use super::words;
use crate::drawing::plain::plain;
use crate::event::Abort;
use crate::judgement::Verdict;
use crate::record::{InstrumentFacts, JudgedMetric, Note, Record};
use crate::units::Quantity;
use std::fmt::Write as _;

/// `summary.txt`.
pub(super) const FORMAT: Format = Format {
    name: "summary",
    about: "Plain text instead, as `summary.txt` of the run's folder.",
    made: Made::Whole("summary.txt", summary),
};

/// The record as plain text, lines ending in a line feed.
pub fn summary(record: &Record) -> String {
    let mut out = String::new();
    heading(&mut out, record);
    identity(&mut out, record);
    conditions(&mut out, record);
    chosen(&mut out, record, Verdict::Fail, "What failed");
    chosen(
        &mut out,
        record,
        Verdict::Inconclusive,
        "What was inconclusive",
    );
    troubles(&mut out, record);
    safety(&mut out, record);
    everything(&mut out, record);
    out
}

/// What was added to a run later as plain text; empty where there is nothing.
pub fn notes(notes: &[Note]) -> String {
    let mut out = String::new();
    if !notes.is_empty() {
        out.push_str("\nNotes added later\n");
    }
    for note in notes {
        let author = note
            .author
            .as_deref()
            .map_or_else(String::new, |author| format!("  {}", plain(author)));
        // Writing to a String cannot fail.
        let _ = writeln!(out, "  {}{author}", note.at.strftime("%Y-%m-%d %H:%M:%SZ"));
        for text in note.text.lines() {
            let _ = writeln!(out, "    {}", plain(text));
        }
        if note.bench_is_off {
            let _ = writeln!(out, "    {}", words::BENCH_IS_OFF);
        }
    }
    out
}

/// Why a run ended early, in words.
pub(super) fn abort_words(abort: &Abort) -> &'static str {
    match abort {
        Abort::Operator => "stopped by the person at the bench",
        Abort::Bench => "stopped because an instrument or its port failed",
        Abort::Store => "stopped because the record could not be written",
        Abort::Harness => "stopped by a bug in this program",
        Abort::CutOff => "cut off; found unfinished at a later start",
    }
}

/// When a calibration is due, and by which certificate it stands.
fn due(instrument: &InstrumentFacts) -> String {
    let due = instrument.due.map(|due| format!(", due {due}"));
    let certificate = instrument.certificate.as_ref();
    let certificate = certificate.map(|number| format!(", certificate {number}"));
    [due, certificate].into_iter().flatten().collect()
}

fn line(out: &mut String, key: &str, text: &str) {
    // Writing to a String cannot fail.
    let _ = writeln!(out, "{key:<10} {}", plain(text));
}

fn heading(out: &mut String, record: &Record) {
    let _ = writeln!(out, "{}  {}", record.headline(), record.started.serial);
    if record.started.model {
        out.push_str("Made on the embedded model bench: it says nothing of a real board.\n");
    }
    if let Some(only) = &record.started.only {
        let only = plain(only);
        let _ = writeln!(out, "A diagnosis of '{only}' alone: it accepts nothing.");
    }
    for omitted in &record.started.without {
        let (scenario, reason) = (plain(&omitted.scenario), plain(&omitted.reason));
        let _ = writeln!(out, "Not tested: {scenario} ({reason}).");
    }
    if record.is_open() {
        out.push_str("The run has not ended: what follows is not the whole.\n");
    } else if let Some(abort) = record.abort() {
        let _ = writeln!(out, "The run was {}.", abort_words(abort));
    }
    out.push('\n');
}

fn identity(out: &mut String, record: &Record) {
    let started = &record.started;
    line(out, "Board", started.serial.as_str());
    line(
        out,
        "Family",
        &format!("{}, revision {}", started.family, started.revision),
    );
    if let Some(lot) = &started.lot {
        line(out, "Lot", lot.as_str());
    }
    line(out, "Plan", &started.plan);
    line(out, "Run", started.run.as_str());
    line(out, "Started", &record.started_at.to_string());
    if let Some(ended) = &record.ended {
        line(out, "Ended", &ended.at.to_string());
    }
    if let Some(reason) = &started.retest {
        line(out, "Retest", reason);
    }
    if let Some(reason) = &started.overdue_calibration {
        line(
            out,
            "Overdue",
            &format!("calibrations may be used: {reason}"),
        );
    }
    for missing in &started.missing_safety {
        line(out, "Safety", missing);
    }
    if !started.planted.is_empty() {
        line(out, "Planted", &started.planted.join(", "));
    }
    if let Some(label) = words::label_scale(record) {
        line(out, "Label", &label);
    }
    out.push('\n');
}

fn conditions(out: &mut String, record: &Record) {
    let started = &record.started;
    out.push_str("Conditions\n");
    let mut entry = |key: &str, text: &str| line(out, &format!("  {key}"), text);
    entry(
        "operator",
        started.operator.as_deref().unwrap_or("not stated"),
    );
    let ambient = started.ambient_words();
    entry("ambient", ambient.as_deref().unwrap_or("not stated"));
    if let Some(seed) = started.seed {
        entry("seed", &seed.0.to_string());
    }
    entry("version", &started.version);
    for instrument in &record.instruments {
        let calibrated = instrument.calibrated.as_deref();
        entry(
            instrument.role.word(),
            &format!(
                "{} on {}, profile {}, calibrated {}{}",
                instrument.identity,
                instrument.port,
                instrument.profile,
                calibrated.unwrap_or("not stated"),
                due(instrument)
            ),
        );
    }
    for file in &started.files {
        entry("file", &format!("{} {}", file.digest.short(), file.name));
    }
    out.push('\n');
}

/// The metrics with one verdict, each with its story.
fn chosen(out: &mut String, record: &Record, verdict: Verdict, title: &str) {
    let metrics = record.scenarios.iter().flat_map(|s| &s.metrics);
    let chosen: Vec<_> = metrics.filter(|j| j.verdict() == Some(verdict)).collect();
    if chosen.is_empty() {
        return;
    }
    let _ = writeln!(out, "{title}");
    for judged in chosen {
        story(out, judged);
    }
    out.push('\n');
}

fn story(out: &mut String, judged: &JudgedMetric) {
    let title = format!("{}: {}", judged.metric.scenario, words::label(judged));
    let _ = writeln!(out, "  {}", plain(&title));
    let mut entry = |key: &str, text: &str| line(out, &format!("    {key}"), text);
    entry("found", &words::found(judged));
    entry("U", &words::uncertainty(judged));
    if let Some(limit) = &judged.limit {
        entry("limit", &limit.show(judged.metric.dimension));
        entry("rule", &limit.rule.to_string());
        entry("source", &limit.source);
    }
    let _ = writeln!(out, "    {}", plain(&words::sentence(judged)));
    for note in &judged.metric.notes {
        let _ = writeln!(out, "    Note: {}", plain(note));
    }
    if let Some(evidence) = &judged.metric.evidence {
        let _ = writeln!(out, "    Read off {}", plain(&evidence.words()));
    }
}

fn troubles(out: &mut String, record: &Record) {
    let of_run = record
        .troubles
        .iter()
        .map(|t| (t.scenario.as_deref(), &t.trouble));
    let of_scenarios = record.scenarios.iter().flat_map(|scenario| {
        let name = Some(scenario.name.as_str());
        scenario.troubles.iter().map(move |t| (name, t))
    });
    let all: Vec<_> = of_run.chain(of_scenarios).collect();
    if all.is_empty() {
        return;
    }
    out.push_str("Trouble\n");
    for (scenario, trouble) in all {
        let place = scenario.map_or(String::new(), |name| format!("{name}: "));
        let text = format!(
            "{place}{} (for the {} to mend)",
            trouble.what, trouble.blame
        );
        let _ = writeln!(out, "  {}", plain(&text));
    }
    out.push('\n');
}

fn safety(out: &mut String, record: &Record) {
    let text = match record.made_safe() {
        Some(true) => "Bench made safe: yes, and the current was found gone.",
        Some(false) => {
            "Bench made safe: NO. Treat the bench as live: switch off the supply by hand and \
             check that the rails are dead before touching anything."
        }
        None if record.energised() => {
            "Bench made safe: not recorded. Treat the bench as live until you have checked it."
        }
        None => "Bench made safe: not needed, the board was never energised.",
    };
    let _ = writeln!(out, "{text}");
    for action in record.safety.iter().flat_map(|outcome| &outcome.actions) {
        if let Some(trouble) = &action.trouble {
            let text = format!("{}: {}: {trouble}", action.role, action.action);
            let _ = writeln!(out, "  {}", plain(&text));
        }
    }
    out.push('\n');
}

fn everything(out: &mut String, record: &Record) {
    out.push_str("Everything measured\n");
    for scenario in &record.scenarios {
        let verdict = scenario.verdict.map_or("UNFINISHED", Verdict::word);
        let took = scenario
            .took
            .map_or(String::new(), |took| format!(", {:.3} s", took.si()));
        let title = format!("{} ({}){took}", scenario.name, scenario.kind);
        let _ = writeln!(out, "  {verdict:<13} {}", plain(&title));
        for judged in &scenario.metrics {
            let verdict = judged.verdict().map_or("-", Verdict::word);
            let mut text = format!(
                "{}: {}",
                words::label(judged),
                judged.metric.finding.show(judged.metric.dimension)
            );
            if let Some(limit) = &judged.limit {
                let limit_text = limit.show(judged.metric.dimension);
                let _ = write!(text, " (limit {limit_text}; {})", limit.source);
            }
            let _ = writeln!(out, "    {verdict:<13} {}", plain(&text));
        }
    }
    for name in record.not_run() {
        let _ = writeln!(out, "  {:<13} {}", "NOT RUN", plain(name));
    }
    if let Some(ended) = &record.ended {
        let _ = writeln!(out, "\nMeasurement digest {}", ended.measurement);
    }
}
