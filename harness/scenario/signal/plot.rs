//! How long the half-bits of a track signal were, drawn as a histogram with
//! what S-9.1 allows. Nothing is judged here.

use super::evaluate::half_bit_histogram;
use super::seen::{Seen, SignalTake};
use crate::drawing::axes::{Axes, Scale, THIRD};
use crate::drawing::{BLACK, Picture};
use crate::scenario::figure::Recorded;
use crate::track::POWER_STATION;
use crate::units::Quantity;

/// The scale (us): from below the shortest half of a 1 to beyond an ordinary
/// half of a 0; stretched zeros are counted in words.
const SHOWN: (u32, u32) = (50, 110);

/// The figures of what was seen.
pub(in crate::scenario) fn figures(seen: &Seen, recorded: &Recorded<'_>) -> Vec<Picture> {
    let takes = seen.takes.iter();
    takes
        .filter_map(|take| histogram(recorded.scenario, take))
        .collect()
}

/// Half-bits by whole microseconds; `None` where there are none.
fn histogram(scenario: &str, seen: &SignalTake) -> Option<Picture> {
    let bins = half_bit_histogram(&seen.take.capture);
    let shown = |&&(us, _): &&(u32, u64)| (SHOWN.0..=SHOWN.1).contains(&us);
    let most = bins.iter().filter(shown).map(|bin| bin.1).max()?;
    let all: u64 = bins.iter().map(|bin| bin.1).sum();
    let inside: u64 = bins.iter().filter(shown).map(|bin| bin.1).sum();
    let title = format!("{scenario}: half-bits, {}", seen.loading.words());
    let (one, zero) = (POWER_STATION.one, POWER_STATION.zero);
    let limits = [one.0, one.1, zero.0].map(|limit| limit.seconds().si() * 1e6);
    let mut axes = Axes::sized(
        THIRD,
        &title,
        (
            "from crossing to crossing / us",
            Scale::exactly(f64::from(SHOWN.0), f64::from(SHOWN.1)),
        ),
        ("half-bits", Scale::over([most as f64], true)),
    );
    for &(us, count) in bins.iter().filter(shown) {
        let (left, right) = (f64::from(us) - 0.4, f64::from(us) + 0.4);
        let (left, right) = (axes.x(left), axes.x(right));
        let (foot, top) = (axes.y(0.0), axes.y(count as f64));
        let bar = [(left, foot), (left, top), (right, top), (right, foot)];
        axes.drawing.shape(&bar, BLACK);
    }
    for (row, (limit, word)) in limits.iter().zip(["1 from", "1 to", "0 from"]).enumerate() {
        axes.upright(*limit, &format!("{word} {limit} us"), row, true);
    }
    let words = format!(
        "{title}: {all} half-bits, {} of them longer or shorter than the scale; dashed: \
         the bounds of NMRA S-9.1:2020 table 1 for halves of a 1 and a 0.",
        all - inside
    );
    Some(axes.picture(words))
}
