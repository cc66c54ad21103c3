//! Trip times over the current asked for, drawn with their limits. Nothing is
//! judged here.

use super::seen::{OverloadStep, Seen};
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{BLACK, Picture};
use crate::measurement::Finding;
use crate::scenario::figure::{Judged, Recorded};
use crate::units::{Dimension, Quantity, show};

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    time_over_current(&seen.steps, recorded)
        .into_iter()
        .collect()
}

/// Trip times over the current asked for, each with its limit.
fn time_over_current(steps: &[OverloadStep], recorded: &Recorded<'_>) -> Option<Picture> {
    let scenario = recorded.scenario;
    let found: Vec<(f64, &Judged<'_>)> = steps
        .iter()
        .filter_map(|step| {
            let at = format!("{} x", step.multiple);
            let judged = recorded.metric("trip_time", &at)?;
            Some((step.current.si(), judged))
        })
        .collect();
    let value = |judged: &Judged<'_>| match judged.metric.finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => Some(e.value * 1e3),
        Finding::Unknown { .. } => None,
    };
    let bounds = |judged: &Judged<'_>| {
        let limit = judged.limit;
        [limit.and_then(|l| l.lower), limit.and_then(|l| l.upper)].map(|b| b.map(|b| b * 1e3))
    };
    let times = found
        .iter()
        .flat_map(|(_, j)| value(j).into_iter().chain(bounds(j).into_iter().flatten()));
    let up = Scale::over(times, true);
    let across = Scale::over(found.iter().map(|f| f.0), false);
    if found.is_empty() {
        return None;
    }
    let title = format!("{scenario}: trip time over current");
    let mut axes = Axes::sized(
        THIRD,
        &title,
        ("current / A", across),
        ("trip time / ms (bars: limit, diamonds: measured)", up),
    );
    let mut words = format!("{title}.");
    for (current, judged) in found {
        let x = axes.x(current);
        for bound in bounds(judged).into_iter().flatten() {
            let y = axes.y(bound);
            axes.drawing.line(&[(x - 9.0, y), (x + 9.0, y)], BLACK, 1.4);
        }
        if let Some(value) = value(judged) {
            axes.diamond((current, value));
            let shown = judged.metric.finding.show(judged.metric.dimension);
            words.push_str(&format!(
                " {} at {}.",
                shown,
                show(current, Dimension::Current)
            ));
        }
    }
    Some(axes.picture(words))
}
