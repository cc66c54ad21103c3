//! One metric as one line: what, where, value with uncertainty, limit, and the
//! verdict. Alignment only; the words come from the metric itself.

use super::fold::columns;
use super::gauge::gauge;
use super::signs::in_signs;
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

/// A judged or only recorded metric as one line without its line end; where a
/// terminal of `width` columns has no room for the limit, that stands below.
pub(super) fn row(
    metric: &Metric,
    limit: Option<&Limit>,
    decision: Option<&Decision>,
    width: usize,
) -> String {
    let key = in_words(&metric.key);
    let value = in_signs(&metric.finding.show(metric.dimension));
    let bounds = limit
        .map(|limit| in_signs(&limit.show(metric.dimension)))
        .unwrap_or_default();
    let verdict = match decision {
        Some(decision) => {
            let style = style(decision.verdict);
            let word = match decision.verdict {
                Verdict::Inconclusive => "INCONCL.",
                other => other.word(),
            };
            format!("{style}{}{style:#}", padded(word, 8))
        }
        None => padded("-", 8),
    };
    let at = padded(&harmless(&metric.at), 18);
    let head = format!(
        "  {verdict} {} {at} {}",
        padded(&key, 18),
        padded(&value, 22)
    );
    if columns(&head) + 1 + columns(&bounds) > width {
        return format!("{}\n{:11}{bounds}", head.trim_end(), "");
    }
    let mut line = format!("{head} {}", padded(&bounds, 24));
    // The gauge is the first thing to go on a narrow screen.
    if width >= 118
        && let Some(limit) = limit
    {
        line.push_str(&gauge(&metric.finding, limit));
    }
    line.trim_end().to_owned()
}
