//! What forbids a run before anything is energised: another revision of the
//! board than the plan's, and instruments whose calibration no longer holds. It
//! touches no instrument.

use super::order::Order;
use crate::bench::Bench;
use crate::bench_file::Standing;
use crate::ident::harmless;
use crate::measurement::Blame;
use crate::scenario::Trouble;
use jiff::civil::Date;

/// The first thing that forbids it.
pub(super) fn unfit(order: &Order, bench: &Bench, today: Date) -> Option<Trouble> {
    another_revision(order, bench).or_else(|| uncalibrated(order, bench, today))
}

/// What is wrong where the board says that it is of another revision than the
/// plan's: its limits do not apply, and what the plan provokes might hurt it.
fn another_revision(order: &Order, bench: &Bench) -> Option<Trouble> {
    let planned = order.plan.revision.trim();
    let mut told = bench
        .identified()
        .iter()
        .filter_map(|i| i.revision.as_deref());
    let other = told.find(|told| *told != planned)?;
    let other = harmless(other);
    Some(Trouble {
        what: format!(
            "the board's console says revision {other}, the plan is for revision {planned}: \
             nothing was energised; take the right board or the right plan"
        ),
        blame: Blame::Operator,
    })
}

/// Why overdue calibrations are no hindrance, where there are such and the plan
/// says so.
pub(super) fn excused(order: &Order, bench: &Bench, today: Date) -> Option<String> {
    let reason = order.plan.overdue_calibration.as_ref()?;
    (!overdue(bench, today).is_empty()).then(|| reason.clone())
}

/// What is wrong where a calibration is overdue and the plan does not allow it:
/// nobody could sign what is measured.
fn uncalibrated(order: &Order, bench: &Bench, today: Date) -> Option<Trouble> {
    let told = overdue(bench, today);
    if told.is_empty() || order.plan.overdue_calibration.is_some() {
        return None;
    }
    Some(Trouble {
        what: format!(
            "calibration: {}: nothing was energised; have it calibrated, or state in the plan \
             why it may be used, as in `[plan] overdue_calibration = \"...\"`",
            told.join(", ")
        ),
        blame: Blame::Bench,
    })
}

/// Each calibration that is overdue, in words.
fn overdue(bench: &Bench, today: Date) -> Vec<String> {
    let calibrations = bench.file().calibrations(today);
    let overdue = calibrations.filter(|(_, standing)| matches!(standing, Standing::Overdue(_)));
    let told = overdue.filter_map(|(role, standing)| {
        let words = standing.words()?;
        Some(format!("the {role}'s is {words}"))
    });
    told.collect()
}
