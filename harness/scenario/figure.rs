//! What the figures of scenarios share: the metrics of a record beside what was
//! seen, and a waveform with the instants that its metric was read at. No
//! instant is looked for here, and nothing is judged.

use super::take::Take;
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{BLACK, Picture};
use crate::judgement::Limit;
use crate::measurement::{Landmark, Metric};
use crate::units::{Dimension, show};
use crate::waveform::{Signal, Trace};

/// A metric as it was recorded, and the limit it was judged against.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Judged<'a> {
    /// The metric.
    pub metric: &'a Metric,
    /// The limit; `None` where it was only recorded.
    pub limit: Option<&'a Limit>,
}

/// One scenario of a record, to be drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Recorded<'a> {
    /// The scenario's name.
    pub scenario: &'a str,
    /// Its metrics.
    pub metrics: &'a [Judged<'a>],
    /// Its captures, in the order in which they were taken.
    pub takes: &'a [&'a Take],
}

impl<'a> Recorded<'a> {
    /// The metric `key` at `at`.
    pub(super) fn metric(&self, key: &str, at: &str) -> Option<&'a Judged<'a>> {
        let mut metrics = self.metrics.iter();
        metrics.find(|judged| judged.metric.key == key && judged.metric.at == at)
    }

    /// The take that decided the metric, where the record says which.
    pub(super) fn decided(&self, judged: Option<&Judged<'_>>) -> Option<&'a Take> {
        let evidence = judged?.metric.evidence.as_ref()?;
        self.takes.get(evidence.take as usize).copied()
    }
}

/// What is marked, in the order in which a fault goes.
const SHOWN: [Landmark; 6] = [
    Landmark::WatchedFrom,
    Landmark::Closing,
    Landmark::Onset,
    Landmark::Reversal,
    Landmark::Interruption,
    Landmark::WatchedUntil,
];

/// The instants to draw, in seconds from the trigger, the earliest first.
fn instants(judged: Option<&Judged<'_>>) -> Vec<(Landmark, f64)> {
    let evidence = judged.and_then(|judged| judged.metric.evidence.as_ref());
    let mark = |what| Some((what, evidence?.mark(what)?.value));
    SHOWN.into_iter().filter_map(mark).collect()
}

/// A waveform over time, smallest and largest of each column joined, with the
/// instants that `judged` was read at.
pub(super) fn waveform(
    title: &str,
    take: &Take,
    signal: Signal,
    judged: Option<&Judged<'_>>,
) -> Option<Picture> {
    let trace = Trace::of(&take.capture, signal)?;
    let instants = instants(judged);
    let begun = instants.first().map(|first| first.1);
    let limit = judged.and_then(|judged| judged.limit?.upper);
    let limit = begun.zip(limit).map(|(begun, limit)| begun + limit);
    let (mut from, mut to) = (trace.first(), trace.last());
    if let Some(begun) = begun {
        // The fault fills the plot, whatever the capture's length.
        let later = instants.iter().map(|instant| instant.1).chain(limit);
        let span = later.fold(0.0, |span: f64, at| span.max(at - begun));
        if span > 0.0 {
            from = from.max(begun - 0.15 * span);
            to = to.min(begun + 1.25 * span);
        }
    }
    let (factor, unit) = if to - from < 2e-3 {
        (1e6, "us")
    } else {
        (1e3, "ms")
    };
    let seen = trace.window(from, to).iter().copied();
    let up = Scale::over(seen, true);
    let unit_up = match signal.dimension() {
        Dimension::Voltage => "V",
        _ => "A",
    };
    let label = format!("{} / {unit_up}", signal.words());
    let across = Scale::exactly(from * factor, to * factor);
    let mut axes = Axes::sized(
        THIRD,
        title,
        (&format!("time from trigger / {unit}"), across),
        (&label, up),
    );
    let columns = axes.columns();
    let width = (to - from) / columns as f64;
    let mut line = Vec::with_capacity(2 * columns);
    for column in 0..columns {
        let begin = from + width * column as f64;
        let values = trace.window(begin, begin + width);
        let low = values.iter().copied().fold(f64::INFINITY, f64::min);
        let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        if low <= high {
            let x = axes.x((begin + width / 2.0) * factor);
            line.push((x, axes.y(low)));
            line.push((x, axes.y(high)));
        }
    }
    axes.drawing.line(&line, BLACK, 0.7);
    let mut marked = Vec::new();
    let drawn = instants.iter().map(|&(what, at)| (at, what.words(), false));
    let drawn = drawn.chain(limit.map(|at| (at, "limit", true)));
    for (row, (at, word, dashed)) in drawn.enumerate() {
        let first = begun.filter(|_| row > 0);
        let label = first.map_or_else(
            || word.to_owned(),
            |begun| format!("{word} {}", show(at - begun, Dimension::Time)),
        );
        if at <= to * (1.0 + 1e-9) {
            axes.upright(at * factor, &label, row, dashed);
        }
        marked.push(label);
    }
    let first = instants.first().map(|(what, _)| what.words());
    let drawn = format!("{title}: {} over time", signal.words());
    Some(axes.picture(sentence(&drawn, first, &marked)))
}

/// A figure's caption: what is drawn, and what is marked in it. All but the first
/// mark carry their distance from it.
fn sentence(drawn: &str, first: Option<&str>, marked: &[String]) -> String {
    let mut letters = drawn.chars();
    let capital = letters.next().map(|letter| letter.to_uppercase());
    let mut words: String = capital.into_iter().flatten().chain(letters).collect();
    let (begun, rest) = marked.split_first().unzip();
    if let (Some(begun), Some(first)) = (begun, first) {
        words.push_str(&format!("; marked: {begun}"));
        let rest = rest.unwrap_or_default();
        words.extend(rest.iter().map(|label| format!(", {label} after {first}")));
    }
    words.push('.');
    words
}
