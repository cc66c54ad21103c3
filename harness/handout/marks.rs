//! Where a fault current began and was interrupted, found again with the levels
//! of the plan kept in the record. Only for plots: no number here is judged.

use crate::document::Source;
use crate::plan::{Plan, Settings, parse};
use crate::record::Record;
use crate::units::Quantity;
use crate::waveform::{Baseline, Episode, Trace, episodes};

/// The longest chain of plans looked for.
const LONGEST_CHAIN: usize = 4;

/// The plan in the record's files, whichever way its chain was written down.
pub(super) fn plan(record: &Record) -> Option<Plan> {
    let files = &record.started.files;
    let sources = |count: usize| files[..count].iter().map(|f| Source::new(&f.name, &f.text));
    (1..=files.len().min(LONGEST_CHAIN)).find_map(|count| {
        let forward: Vec<Source> = sources(count).collect();
        let backward: Vec<Source> = sources(count).rev().collect();
        [forward, backward]
            .iter()
            .find_map(|chain| parse(chain).ok())
            .map(|(plan, _)| plan)
            .filter(|plan| plan.name == record.started.plan)
    })
}

/// Magnitudes that begin and end an episode in a scenario.
pub(super) fn levels(plan: &Plan, scenario: &str) -> (f64, f64) {
    let ratings = &plan.ratings;
    let off = 0.05 * ratings.rated_current.si();
    match plan.scenario(scenario).map(|s| &s.settings) {
        Some(Settings::Overload(overload)) => (overload.onset_level.si(), overload.off_level.si()),
        Some(Settings::Short(short)) => (short.onset_level.si(), off),
        Some(Settings::Reversal(reversal)) => (reversal.onset_level.si(), off),
        _ => (ratings.trip_current.si(), off),
    }
}

/// The first episode of `trace`, its noise kept out of the off level.
pub(super) fn first_episode(trace: &Trace, (onset, off): (f64, f64)) -> Option<Episode> {
    /// Longer than a half-bit of a one, 58 us (NMRA S-9.1:2020 table 1).
    const QUIET: f64 = 60e-6;
    let calm = Baseline::of(trace, trace.first(), 0.95 * trace.first().min(0.0));
    let noise = calm.map_or(0.0, |base| base.noise + base.mean.abs());
    let off = off.max(4.0 * noise + trace.zero_u());
    let quiet = QUIET + trace.period();
    episodes(trace, onset, off, quiet, 0).into_iter().next()
}
