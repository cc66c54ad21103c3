//! One metric as one line: what, where, value with uncertainty, limit, and the
//! verdict. Alignment only; the words come from the metric itself.

use super::fold::{columns, folded};
use super::gauge::{self, gauge};
use super::signs::in_signs;
use super::table::GAP;
use crate::ident::harmless;
use crate::judgement::{Decision, Limit, Verdict};
use crate::measurement::{Metric, in_words};
use anstyle::{AnsiColor, Style};
use unicode_width::UnicodeWidthStr;

/// The style of a verdict; the word is always printed too, so colour only
/// repeats it.
pub(super) fn style(verdict: Verdict) -> Style {
    let colour = match verdict {
        Verdict::Pass => AnsiColor::Green,
        Verdict::Inconclusive => AnsiColor::Yellow,
        Verdict::Fail => AnsiColor::Red,
    };
    let style = Style::new().fg_color(Some(colour.into()));
    if verdict == Verdict::Pass {
        style
    } else {
        style.bold()
    }
}

/// `text` filled with blanks to `width` columns as a terminal counts them.
pub(super) fn padded(text: &str, width: usize) -> String {
    let missing = width.saturating_sub(text.width());
    format!("{text}{}", " ".repeat(missing))
}

/// A metric with its limit and what was decided, in words.
pub(super) struct Row {
    verdict: String,
    key: String,
    at: String,
    value: String,
    bounds: String,
    gauge: String,
}

impl Row {
    /// A judged or only recorded metric.
    pub(super) fn of(metric: &Metric, limit: Option<&Limit>, decision: Option<&Decision>) -> Self {
        let verdict = match decision {
            Some(decision) => {
                let style = style(decision.verdict);
                let word = match decision.verdict {
                    Verdict::Inconclusive => "INCONCL.",
                    other => other.word(),
                };
                format!("{style}{}{style:#}", padded(word, VERDICT))
            }
            None => padded("-", VERDICT),
        };
        Self {
            verdict,
            key: in_words(&metric.key),
            at: harmless(&metric.at),
            value: in_signs(&metric.finding.show(metric.dimension)),
            bounds: limit
                .map(|limit| in_signs(&limit.show(metric.dimension)))
                .unwrap_or_default(),
            gauge: limit
                .map(|limit| gauge(&metric.finding, limit))
                .unwrap_or_default(),
        }
    }

    /// It in lines without the last line end, its columns as wide as `widths`. Where a
    /// terminal of `room` columns is too narrow, the limit stands below, and the
    /// value with it where even that has no room.
    pub(super) fn shown(&self, widths: &Widths, room: usize) -> String {
        let Self { verdict, .. } = self;
        let key = padded(&self.key, widths.key);
        let at = padded(&self.at, widths.at);
        let name = match widths.at {
            0 => format!("  {verdict} {key}"),
            _ => format!("  {verdict} {key}  {at}"),
        };
        let value = padded(&self.value, widths.value);
        if columns(&name) + GAP + widths.value > room {
            let below = format!("{value}  {}", self.bounds);
            let name = folded(name.trim_end(), room, INDENT - 2).join("\n");
            return format!("{name}\n{:INDENT$}{}", "", below.trim_end());
        }
        let head = format!("{name}  {value}");
        if columns(&head) + GAP + columns(&self.bounds) > room {
            return format!("{}\n{:INDENT$}{}", head.trim_end(), "", self.bounds);
        }
        let mut line = format!("{head}  {}", padded(&self.bounds, widths.bounds));
        // The gauge is the first thing to go on a narrow screen.
        if columns(&line) + GAP + gauge::WIDTH <= room {
            line.push_str(&format!("  {}", self.gauge));
        }
        line.trim_end().to_owned()
    }
}

/// Columns of a verdict's word.
const VERDICT: usize = 8;
/// Where a row's second line begins.
const INDENT: usize = 11;

/// How wide the cells of a scenario's rows are.
#[derive(Debug)]
pub(super) struct Widths {
    key: usize,
    at: usize,
    value: usize,
    bounds: usize,
}

impl Widths {
    /// Those that all of `rows` need.
    pub(super) fn of(rows: &[Row]) -> Self {
        let widest = |cell: fn(&Row) -> &str| {
            let cells = rows.iter().map(|row| columns(cell(row)));
            cells.max().unwrap_or(0)
        };
        Self {
            key: widest(|row| &row.key),
            at: widest(|row| &row.at),
            value: widest(|row| &row.value),
            bounds: widest(|row| &row.bounds),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::{DecisionRule, decide};
    use crate::measurement::{Estimate, Finding};
    use crate::units::Dimension;

    fn rows() -> Vec<Row> {
        let limit = Limit {
            lower: Some(95e-6),
            upper: Some(9.9e-3),
            rule: DecisionRule::Simple,
            source: "NMRA S-9.1:2020 table 1".to_owned(),
        };
        let named = [
            ("half_bit_of_a_zero", "alternating 2.25 A, worst"),
            ("asymmetry", ""),
            ("shortest_preamble_of_a_packet", "2.25 A"),
        ];
        let rows = named.iter().map(|(key, at)| {
            let metric = Metric {
                scenario: "signal".to_owned(),
                key: (*key).to_owned(),
                at: (*at).to_owned(),
                dimension: Dimension::Time,
                finding: Finding::Value(Estimate::new(1e-4, 1e-7)),
                common: 0.0,
                notes: Vec::new(),
                evidence: None,
            };
            let decision = decide(&metric.finding, &limit);
            Row::of(&metric, Some(&limit), Some(&decision))
        });
        rows.collect()
    }

    /// Values stand below one another however long the names before them are, and
    /// no line is wider than the screen.
    #[test]
    fn values_line_up_and_no_line_is_too_long() {
        let rows = rows();
        let widths = Widths::of(&rows);
        for room in [200, 118, 100, 80, 60] {
            let shown: Vec<String> = rows.iter().map(|row| row.shown(&widths, room)).collect();
            let mut at = Vec::new();
            for line in shown.iter().flat_map(|shown| shown.lines()) {
                assert!(columns(line) <= room, "{room}: {line}");
                at.extend(line.find("100.0").map(|at| columns(&line[..at])));
            }
            assert_eq!(at.len(), 3, "{room}: {shown:#?}");
            assert!(
                at.iter().all(|&column| column == at[0]),
                "{room}: {shown:#?}"
            );
            assert!(shown.iter().all(|shown| shown.contains("9.900 ms")));
        }
    }
}
