//! The run as it happens: one line an event that matters, one transient line
//! for what is going on now, and the verdict in large letters. Without a
//! terminal it prints the same lines and no transient ones.

use super::fold::folded;
use super::row::{Row, Widths, style};
use super::{AFTER_SOAK, Expected, MODEL_CAUTION, Screen, banner};
use crate::event::{Entry, Event, RunStarted, SafetyOutcome};
use crate::ident::harmless;
use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::Metric;
use crate::plan::Omitted;
use crate::runner::Sink;
use crate::scenario::ScenarioKind;
use crate::units::Seconds;
use anstyle::Style;
use std::io::Write;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

const BOLD: Style = Style::new().bold();
const FAINT: Style = Style::new().dimmed();

/// Draws a run on `out`. Failures to write are ignored: a closed terminal must
/// not end a run that is putting current through a board.
pub struct Live<W: Write> {
    out: W,
    screen: Screen,
    serial: String,
    model: bool,
    /// It accepts nothing, whatever it finds.
    diagnosis: bool,
    /// What is left out of it.
    without: Vec<Omitted>,
    /// Scenarios in the plan, and how many have begun.
    scenarios: usize,
    begun: usize,
    cautioned: bool,
    /// Whether the scenario that runs heats the board for minutes.
    soaking: bool,
    transient: bool,
    /// What goes on now, and when the run began on the wall.
    step: String,
    begun_at: Instant,
    /// What was expected of it, on a bench whose time is the wall's.
    expected: Option<Expected>,
    /// Questions that a person was asked meanwhile, and those that were seen here.
    prompts: Prompts,
    prompts_seen: usize,
    /// What a scenario measured, until all of it is known: its rows share columns.
    measured: Vec<Measured>,
    /// Lines for the end: everything that did not pass.
    remarks: Vec<String>,
    brief: bool,
}

/// Counts questions that a person is asked: one more when it is asked, one more once
/// it is answered.
#[derive(Clone, Debug, Default)]
pub struct Prompts(Arc<AtomicUsize>);

impl Prompts {
    /// A question begins or ends.
    pub fn turn(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    fn count(&self) -> usize {
        self.0.load(Ordering::Relaxed)
    }

    fn is_pending(&self) -> bool {
        self.count() % 2 == 1
    }
}

/// A metric as a row, with what is said below it and at the run's end.
struct Measured {
    row: Row,
    below: Vec<String>,
    remark: Option<String>,
}

impl Measured {
    fn of(metric: &Metric, limit: Option<&Limit>, decision: Option<&Decision>) -> Self {
        let evidence = metric.evidence.as_ref().map(|evidence| evidence.words());
        let below = metric.notes.iter().cloned().chain(evidence);
        let remark = decision
            .filter(|d| d.verdict != Verdict::Pass)
            .map(|decision| {
                let source = limit
                    .map(|limit| harmless(&limit.source))
                    .unwrap_or_default();
                let blame = decision
                    .blame
                    .map(|blame| format!(", see the {blame}"))
                    .unwrap_or_default();
                format!(
                    "{:13}{}: {}{blame}. Limit from: {source}",
                    "",
                    harmless(&metric.scenario),
                    harmless(&decision.reason)
                )
            });
        Self {
            row: Row::of(metric, limit, decision),
            below: below.map(|words| harmless(&words)).collect(),
            remark,
        }
    }
}

impl<W: Write> Live<W> {
    /// A full account on `out`.
    pub fn new(out: W, screen: Screen) -> Self {
        Self {
            out,
            screen,
            serial: String::new(),
            model: false,
            diagnosis: false,
            without: Vec::new(),
            scenarios: 0,
            begun: 0,
            cautioned: false,
            soaking: false,
            transient: false,
            step: String::new(),
            begun_at: Instant::now(),
            expected: None,
            prompts: Prompts::default(),
            prompts_seen: 0,
            measured: Vec::new(),
            remarks: Vec::new(),
            brief: false,
        }
    }

    /// Only what fails and the verdict line, for many boards in a row.
    pub fn brief(out: W, screen: Screen) -> Self {
        Self {
            brief: true,
            cautioned: true,
            ..Self::new(out, screen)
        }
    }

    /// Shows how much longer the run takes, from second to second, and leaves the line
    /// to a person who is asked something.
    #[must_use]
    pub fn expecting(self, expected: Expected, prompts: Prompts) -> Self {
        Self {
            expected: Some(expected),
            prompts_seen: prompts.count(),
            prompts,
            ..self
        }
    }

    fn line(&mut self, text: &str) {
        self.take_back();
        let _ = writeln!(self.out, "{text}");
    }

    /// `text` in as many lines as it needs, all but the first `further` columns in.
    fn folded(&mut self, text: &str, further: usize) {
        for part in folded(text, self.screen.width, further) {
            self.line(&part);
        }
    }

    fn take_back(&mut self) {
        let prompts = self.prompts.count();
        if prompts != self.prompts_seen {
            // Another line stands below it now.
            self.prompts_seen = prompts;
            self.transient = false;
        }
        if self.transient {
            let _ = write!(self.out, "\r\x1b[K");
            self.transient = false;
        }
    }

    /// Shows what goes on now, and how much longer.
    fn show_step(&mut self) {
        if !self.screen.live || self.prompts.is_pending() {
            return;
        }
        self.take_back();
        let passed = Seconds::new(self.begun_at.elapsed().as_secs_f64());
        let left = self.expected.map(|expected| expected.left(passed));
        let left = left.map_or(String::new(), |left| format!("  {left}"));
        let room = self.screen.width.saturating_sub(1 + left.chars().count());
        let cut: String = self.step.chars().take(room).collect();
        let _ = write!(self.out, "{FAINT}{cut}{left}{FAINT:#}");
        let _ = self.out.flush();
        self.transient = true;
    }

    fn started(&mut self, facts: &RunStarted) {
        self.serial = facts.serial.to_string();
        self.model = facts.model;
        self.diagnosis = facts.only.is_some();
        self.without.clone_from(&facts.without);
        self.scenarios = facts.scenarios.len();
        self.begun_at = Instant::now();
        if facts.seed.is_some() {
            // Its time is not the wall's.
            self.expected = None;
        }
        if self.brief {
            return;
        }
        let bench = match (facts.model, facts.seed) {
            (true, Some(_)) => "embedded model bench",
            (true, None) => "model bench",
            (false, _) => "bench",
        };
        let title = format!("{} on {}", facts.serial, harmless(&facts.plan));
        self.line(&format!("{BOLD}{title}{BOLD:#}"));
        let lot = facts
            .lot
            .as_ref()
            .map(|lot| format!(" | lot {lot}"))
            .unwrap_or_default();
        let family = harmless(&format!("{} revision {}", facts.family, facts.revision));
        let words = format!("{family}{lot} | {bench} | run {}", facts.run);
        self.folded(&words, 2);
        if let Some(only) = &facts.only {
            self.line(&format!(
                "Only scenario {}: a diagnosis, which accepts nothing.",
                harmless(only)
            ));
        }
    }

    /// What an acceptance leaves open.
    fn not_tested(&mut self) {
        for Omitted { scenario, reason } in std::mem::take(&mut self.without) {
            let (scenario, reason) = (harmless(&scenario), harmless(&reason));
            let words = format!("  not tested: {scenario} ({reason})");
            self.folded(&words, 2);
        }
    }

    /// Of a real bench a person confirmed the cautions before it was opened.
    fn caution(&mut self) {
        if self.model && !self.cautioned {
            self.line(&format!("  {MODEL_CAUTION}"));
        }
        self.cautioned = true;
    }

    /// What a scenario measured, now that all of it is known.
    fn rows(&mut self) {
        let measured = std::mem::take(&mut self.measured);
        let (rows, rest): (Vec<Row>, Vec<_>) = measured
            .into_iter()
            .map(|one| (one.row, (one.below, one.remark)))
            .unzip();
        let widths = Widths::of(&rows);
        // Remarks of a bulk run stand further in.
        let indent = if self.brief { 2 } else { 0 };
        let room = self.screen.width.saturating_sub(indent);
        for (row, (below, remark)) in rows.iter().zip(rest) {
            let row = row.shown(&widths, room);
            if !self.brief {
                self.line(&row);
                for words in below {
                    for part in folded(&format!("{:11}{words}", ""), room, 2) {
                        self.line(&format!("{FAINT}{part}{FAINT:#}"));
                    }
                }
            }
            self.remarks.extend(remark.map(|remark| {
                let remark = folded(&remark, room, 2).join("\n");
                format!("{row}\n{remark}")
            }));
        }
    }

    fn made_safe(&mut self, outcome: &SafetyOutcome) {
        if outcome.safe {
            if !self.brief {
                self.line("  bench made safe, current gone");
            }
            return;
        }
        let alarm = style(Verdict::Fail);
        self.line(&format!(
            "{alarm}THE BENCH MAY NOT BE SAFE: use the emergency stop.{alarm:#}"
        ));
        for action in outcome
            .actions
            .iter()
            .filter(|action| action.trouble.is_some())
        {
            let trouble = action.trouble.as_deref().unwrap_or_default();
            self.line(&format!(
                "  {}: {}: {}",
                action.role,
                action.action,
                harmless(trouble)
            ));
        }
    }

    fn finished(&mut self, verdict: Verdict, aborted: bool) {
        if self.brief {
            let style = style(verdict);
            let model = if self.model { "MODEL " } else { "" };
            let line = format!("  {:<18}{style}{model}{verdict}{style:#}", self.serial);
            self.line(&line);
        }
        let indent = if self.brief { "  " } else { "" };
        for remark in std::mem::take(&mut self.remarks) {
            for line in remark.lines() {
                self.line(&format!("{indent}{line}"));
            }
        }
        if self.brief {
            self.not_tested();
            return;
        }
        let style = style(verdict);
        let mut words: Vec<&str> = Vec::new();
        if self.model {
            words.push("MODEL");
        }
        if self.diagnosis {
            words.push("DIAGNOSIS");
        }
        words.push(verdict.word());
        self.line("");
        if self.screen.live {
            let large = banner(&words, self.screen.width);
            let _ = write!(self.out, "{style}{large}{style:#}");
        } else {
            self.line(&words.join(" "));
        }
        self.not_tested();
        if aborted {
            self.line("  the run ended early: the board was not judged");
        }
        self.line("");
    }
}

impl<W: Write> Sink for Live<W> {
    fn entry(&mut self, entry: &Entry) {
        if !matches!(entry.event, Event::Measured { .. }) {
            self.rows();
        }
        match &entry.event {
            Event::RunStarted(facts) => self.started(facts),
            Event::Identified { role, identity, .. } => {
                if !self.brief {
                    let words = format!("  {:<12} {}", role.word(), harmless(identity));
                    self.folded(&words, 13);
                }
            }
            Event::ScenarioStarted { scenario, kind } => {
                self.begun += 1;
                self.soaking = kind == ScenarioKind::Soak.word();
                if !self.brief {
                    let (begun, of) = (self.begun, self.scenarios);
                    let name = harmless(scenario);
                    let kind = if name == *kind {
                        String::new()
                    } else {
                        format!(" ({kind})")
                    };
                    self.line(&format!("\n{BOLD}{name}{BOLD:#}{kind}  {begun} of {of}"));
                }
            }
            Event::Step {
                scenario,
                text,
                energises,
            } => {
                if *energises {
                    self.caution();
                }
                let at = entry.bench;
                let (scenario, text) = (harmless(scenario), harmless(text));
                self.step = format!(
                    "  {}/{} {scenario}: {text}  [{at}]",
                    self.begun, self.scenarios
                );
                self.show_step();
            }
            Event::Observed { .. } => {}
            Event::Measured {
                metric,
                limit,
                decision,
            } => {
                let measured = Measured::of(metric, limit.as_ref(), decision.as_ref());
                self.measured.push(measured);
            }
            Event::Trouble { trouble, .. } => {
                let caution = style(Verdict::Inconclusive);
                let what = harmless(&trouble.what);
                let words = format!("  {caution}TROUBLE{caution:#}  {what} ({})", trouble.blame);
                self.folded(&words, 9);
            }
            Event::ScenarioFinished { .. } => {
                self.take_back();
                self.step.clear();
                if self.soaking && !self.model && !self.brief {
                    self.line(&format!("  {AFTER_SOAK}"));
                }
            }
            Event::MadeSafe { outcome } => self.made_safe(outcome),
            Event::RunFinished { verdict, abort, .. } => self.finished(*verdict, abort.is_some()),
        }
    }

    fn second(&mut self) {
        if self.expected.is_some() && !self.step.is_empty() {
            self.show_step();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::BenchInstant;
    use jiff::Timestamp;

    fn step() -> Entry {
        Entry {
            sequence: 1,
            at: Timestamp::UNIX_EPOCH,
            bench: BenchInstant::ZERO,
            event: Event::Step {
                scenario: "soak".to_owned(),
                text: "a step whose words are longer than one line of eighty columns has room for"
                    .to_owned(),
                energises: false,
            },
        }
    }

    #[test]
    fn the_clock_ticks_inside_a_step_and_leaves_a_question_alone() {
        let screen = Screen {
            live: true,
            width: 80,
            height: 24,
        };
        let expected = Expected {
            board: Seconds::new(3600.0),
            after: Some(Seconds::new(7200.0)),
        };
        let prompts = Prompts::default();
        let mut out = Vec::new();
        let mut live = Live::new(&mut out, screen).expecting(expected, prompts.clone());
        live.second();
        live.entry(&step());
        live.second();
        prompts.turn();
        live.second();
        prompts.turn();
        live.second();
        drop(live);
        let shown = String::from_utf8(out).expect("text");
        let plain = anstream::adapter::strip_str(&shown).to_string();
        // Before the first step there is nothing to show; a question is not drawn over,
        // and the line above it not taken back.
        assert_eq!(
            plain.matches("60 min left, lot 3 h 0 min").count(),
            3,
            "{plain}"
        );
        assert_eq!(shown.matches("\r\x1b[K").count(), 1, "{shown:?}");
        for line in plain.split(['\r', '\n']) {
            assert!(line.chars().count() <= 3 * 79, "{line}");
        }
    }
}
