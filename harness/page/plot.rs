//! A capture as a picture: so many columns, each from the minimum to the maximum of the
//! samples in it, so that no spike is lost however many samples there are. It evaluates
//! nothing.

use super::markup::Markup;
use crate::drawing::axes::Scale;
use crate::units::{Dimension, Quantity as _, show, typeset};
use crate::waveform::{Capture, Channel};
use std::fmt::Display;

/// The picture, in its own units.
const WIDTH: f64 = 960.0;
const LEFT: f64 = 96.0;
const RIGHT: f64 = 12.0;
const PANEL: f64 = 190.0;
const TOP: f64 = 24.0;
const GAP: f64 = 30.0;
const LINE: f64 = 22.0;
const BOTTOM: f64 = 30.0;

/// Columns across.
const COLUMNS: usize = 852;

/// What of a capture is shown, in seconds of its own time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Window {
    pub(super) from: f64,
    pub(super) to: f64,
}

impl Window {
    /// All of it.
    pub(super) fn whole(capture: &Capture) -> Self {
        let from = capture.first.si();
        let last = capture.len().saturating_sub(1) as f64;
        Self {
            from,
            to: from + last * capture.period.si(),
        }
    }

    /// From here to there, no wider than the capture and no narrower than a few of its
    /// samples.
    pub(super) fn within(capture: &Capture, from: f64, to: f64) -> Self {
        let whole = Self::whole(capture);
        if !from.is_finite() || !to.is_finite() || from >= to {
            return whole;
        }
        let width = (to - from)
            .max(8.0 * capture.period.si())
            .min(whole.to - whole.from);
        let from = from.clamp(whole.from, whole.to - width);
        Self {
            from,
            to: from + width,
        }
    }
}

/// The picture of `capture` in `window`.
pub(super) fn drawn(capture: &Capture, window: Window) -> Markup {
    let mut panels = Vec::new();
    for dimension in [Dimension::Current, Dimension::Voltage] {
        let channels = capture.channels.iter();
        let of = channels.filter(|c| c.signal.dimension() == dimension);
        let of: Vec<&Channel> = of.collect();
        if !of.is_empty() {
            panels.push((dimension, of));
        }
    }
    let lines = capture.lines.len() as f64 * LINE;
    let height = TOP + panels.len() as f64 * (PANEL + GAP) + lines + BOTTOM;
    let mut out = Markup::default();
    out.put(
        "<svg class=\"plot\" role=\"img\" preserveAspectRatio=\"xMidYMin meet\" viewBox=\"0 0 960 {}\" data-left=\"{}\" data-right=\"{}\" data-from=\"{}\" data-to=\"{}\" aria-label=\"{}: {} to {}\">",
        &[
            &height,
            &(LEFT / WIDTH),
            &(1.0 - RIGHT / WIDTH),
            &window.from,
            &window.to,
            &capture.label,
            &shown(window.from, Dimension::Time),
            &shown(window.to, Dimension::Time),
        ],
    );
    let across = Scale::exactly(window.from, window.to);
    let mut top = TOP;
    let bottom = height - BOTTOM;
    for tick in across.ticks().0 {
        let x = place(across, tick);
        out.raw("<path class=\"grid\" d=\"M ")
            .numbers([x, TOP - 4.0]);
        out.raw("V ").numbers([bottom]).raw("\"/>");
        text(
            &mut out,
            "middle",
            (x, bottom + 18.0),
            &shown(tick, Dimension::Time),
        );
    }
    let mut series = 0;
    for (dimension, channels) in &panels {
        panel(
            &mut out,
            capture,
            window,
            (*dimension, channels),
            top,
            &mut series,
        );
        top += PANEL + GAP;
    }
    for track in &capture.lines {
        text(&mut out, "start", (4.0, top + 6.0), &track.line.words());
        let (first, last) = samples(capture, window);
        out.raw("<path class=\"logic\" d=\"");
        let level = |on: bool| if on { top - 4.0 } else { top + 8.0 };
        let x = |index: usize| place(across, capture.time(index as f64));
        let mut before = track.level(first);
        out.raw("M ").numbers([x(first).max(LEFT), level(before)]);
        let changes = track.changes.iter().map(|at| *at as usize);
        for change in thinned(changes.filter(|at| *at > first && *at <= last)) {
            let now = track.level(change);
            if now == before {
                // Others changed back and forth between: a stroke shows that.
                out.raw("L ").numbers([x(change), level(!now)]);
            } else {
                out.raw("H ").numbers([x(change)]);
            }
            out.raw("V ").numbers([level(now)]);
            before = now;
        }
        out.raw("H ").numbers([x(last)]).raw("\"/>");
        top += LINE;
    }
    out.raw("</svg>");
    out
}

/// At most a change a column.
fn thinned(changes: impl Iterator<Item = usize>) -> Vec<usize> {
    let all: Vec<usize> = changes.collect();
    let step = all.len().div_ceil(COLUMNS).max(1);
    all.into_iter().step_by(step).collect()
}

/// One frame with its channels.
fn panel(
    out: &mut Markup,
    capture: &Capture,
    window: Window,
    (dimension, channels): (Dimension, &[&Channel]),
    top: f64,
    series: &mut usize,
) {
    let across = Scale::exactly(window.from, window.to);
    let (first, last) = samples(capture, window);
    let traces: Vec<(&Channel, Vec<Column>)> = channels
        .iter()
        .map(|channel| (*channel, columns(channel, first, last)))
        .collect();
    let ends = traces.iter().flat_map(|(_, trace)| trace);
    let up = Scale::over(ends.flat_map(|column| [column.low, column.high]), true);
    let y = |value: f64| top + PANEL * (1.0 - up.share(value));
    for tick in up.ticks().0 {
        out.raw("<path class=\"grid\" d=\"M ")
            .numbers([LEFT, y(tick)]);
        out.raw("H ").numbers([WIDTH - RIGHT]).raw("\"/>");
        text(
            out,
            "end",
            (LEFT - 8.0, y(tick) + 4.0),
            &shown(tick, dimension),
        );
    }
    let mut named = LEFT;
    for (place_in_panel, (channel, trace)) in traces.iter().enumerate() {
        let class = *series % 5;
        *series += 1;
        let name = channel.signal.words();
        out.put(
            "<text class=\"name s{} k{}\" x=\"{}\" y=\"{}\">{}</text>",
            &[&class, &place_in_panel, &named, &(top - 8.0), &name],
        );
        named += 12.0 + 7.6 * name.len() as f64;
        out.put(
            "<path class=\"trace s{} k{}\" d=\"",
            &[&class, &place_in_panel],
        );
        for (index, column) in trace.iter().enumerate() {
            let x = place(across, capture.time(column.at));
            out.raw(if index == 0 { "M " } else { "L " });
            out.numbers([x, y(column.first)]);
            if column.low < column.high {
                out.raw("V ").numbers([y(column.low)]);
                out.raw("V ").numbers([y(column.high)]);
                out.raw("V ").numbers([y(column.last)]);
            }
        }
        out.raw("\"/>");
    }
}

fn text(out: &mut Markup, anchor: &'static str, (x, y): (f64, f64), words: &dyn Display) {
    out.put(
        "<text class=\"tick\" text-anchor=\"{}\" x=\"{}\" y=\"{}\">{}</text>",
        &[&anchor, &format!("{x:.1}"), &format!("{y:.1}"), words],
    );
}

fn place(across: Scale, time: f64) -> f64 {
    LEFT + across.share(time) * (WIDTH - LEFT - RIGHT)
}

/// The first and the last sample of a window.
fn samples(capture: &Capture, window: Window) -> (usize, usize) {
    let index = |time: f64| (time - capture.first.si()) / capture.period.si();
    let most = capture.len().saturating_sub(1);
    // Saturating: a time before the first sample is the first.
    let first = (index(window.from).floor() as usize).min(most);
    let last = (index(window.to).ceil() as usize).clamp(first, most);
    (first, last)
}

/// What the samples of a column come to.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Column {
    /// Its place, in samples.
    at: f64,
    first: f64,
    low: f64,
    high: f64,
    last: f64,
}

/// The samples from `first` to `last` in as many columns as have room.
fn columns(channel: &Channel, first: usize, last: usize) -> Vec<Column> {
    let value = |code: i16| f64::from(code) * channel.scale + channel.offset;
    let end = (last + 1).min(channel.codes.len());
    let Some(codes) = channel.codes.get(first..end) else {
        return Vec::new();
    };
    let size = codes.len().div_ceil(COLUMNS).max(1);
    let column = |(index, part): (usize, &[i16])| {
        let (low, high) = part.iter().fold((i16::MAX, i16::MIN), |(low, high), code| {
            (low.min(*code), high.max(*code))
        });
        let ends = [value(low), value(high)];
        Column {
            at: (first + index * size) as f64,
            first: value(part[0]),
            low: ends[0].min(ends[1]),
            high: ends[0].max(ends[1]),
            last: value(part[part.len() - 1]),
        }
    };
    codes.chunks(size).enumerate().map(column).collect()
}

/// A value of a scale: without the zeros that only a measured one needs.
fn shown(si: f64, dimension: Dimension) -> String {
    let text = show(si, dimension);
    let (number, unit) = text.split_once(' ').unwrap_or((&text, ""));
    let number = match number.contains('.') {
        true => number.trim_end_matches('0').trim_end_matches('.'),
        false => number,
    };
    typeset(format!("{number} {unit}").trim_end()).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::samples::observation;

    fn capture(codes: Vec<i16>) -> Capture {
        let mut capture = observation(5).takes()[0].capture.clone();
        capture.lines.clear();
        capture.channels[0].codes = codes;
        capture
    }

    #[test]
    fn a_spike_of_one_sample_is_seen_among_a_million() {
        let mut codes = vec![0_i16; 1_000_000];
        codes[654_321] = 30_000;
        let capture = capture(codes);
        let found = columns(&capture.channels[0], 0, 999_999);
        assert!(found.len() <= COLUMNS);
        let channel = &capture.channels[0];
        let spike = 30_000.0 * channel.scale + channel.offset;
        assert!(found.iter().any(|column| column.high == spike));
        let size = drawn(&capture, Window::whole(&capture)).as_str().len();
        assert!(size < 100_000, "{size} bytes");
    }

    #[test]
    fn a_window_stays_within_the_capture() {
        let capture = capture(vec![0; 1000]);
        let whole = Window::whole(&capture);
        assert_eq!(Window::within(&capture, f64::NAN, 1.0), whole);
        assert_eq!(Window::within(&capture, 1.0, -1.0), whole);
        assert_eq!(Window::within(&capture, -1e9, 1e9), whole);
        let near = Window::within(&capture, whole.to, whole.to + 1e-9);
        assert!(near.to <= whole.to + 1e-15 && near.from < near.to);
        let (first, last) = samples(&capture, near);
        assert!(last - first >= 7, "{first} to {last}");
    }
}
