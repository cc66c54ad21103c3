//! The last line of an inspection: how the signal stands to the rules, and why
//! no more can be told where that is so. It lists no rule.

use super::value::style;
use crate::inspection::{Inspection, RuleRow, Standing};
use std::fmt::Write as _;

pub(super) fn conclusion(text: &mut String, inspection: &Inspection) {
    let (standing, words) = match inspection.standing() {
        None if inspection.trip.is_some() => (
            Standing::Inconclusive,
            "NOTHING TO JUDGE: no rule of these standards speaks of a trip".to_owned(),
        ),
        None => (
            Standing::Inconclusive,
            "NOTHING TO JUDGE: no half-bit of a track signal was found".to_owned(),
        ),
        Some(Standing::Within) => (
            Standing::Within,
            format!("WITHIN: all {} rules are met", inspection.rows.len()),
        ),
        Some(Standing::Inconclusive) => (Standing::Inconclusive, inconclusive(inspection)),
        Some(Standing::Violation) => {
            let broken = inspection.rows.iter();
            let broken = broken.filter(|row| row.standing == Standing::Violation);
            let broken: Vec<&str> = broken.map(|row| row.what.as_str()).collect();
            let words = format!(
                "VIOLATION: {} of {} rules {} broken: {}{}",
                broken.len(),
                inspection.rows.len(),
                if broken.len() == 1 { "is" } else { "are" },
                broken.join(", "),
                left_open(inspection)
            );
            (Standing::Violation, words)
        }
    };
    let style = style(standing).bold();
    let _ = writeln!(text, "{style}{words}{style:#} ({})", inspection.rules);
}

/// What cannot be told beside what is broken, and why.
fn left_open(inspection: &Inspection) -> String {
    let rows = inspection.rows.iter();
    let open = rows.filter(|row| row.standing == Standing::Inconclusive);
    let open: Vec<&RuleRow> = open.collect();
    let told = open.iter().find(|row| row.note.is_some());
    let Some(first) = told.or(open.first()) else {
        return String::new();
    };
    let others = match open.len() - 1 {
        0 => " is".to_owned(),
        more => format!(" and {more} more are"),
    };
    let why = first.note.as_ref();
    let why = why.map_or(String::new(), |note| format!(", since {note}"));
    format!("; '{}'{others} inconclusive{why}", first.what)
}

/// What cannot be told and why, in one sentence.
fn inconclusive(inspection: &Inspection) -> String {
    let rows = inspection.rows.iter();
    let (met, open): (Vec<&RuleRow>, Vec<&RuleRow>) =
        rows.partition(|row| row.standing == Standing::Within);
    let (met, all) = (met.len(), inspection.rows.len());
    let coarse = open.iter().find_map(|row| Some((row, row.note.as_ref()?)));
    match (coarse, open.as_slice()) {
        (Some((row, note)), [_]) => format!(
            "INCONCLUSIVE: {met} of {all} rules are met; '{}' cannot be judged, since {note}",
            row.what
        ),
        (Some((row, note)), _) => format!(
            "INCONCLUSIVE: {met} of {all} rules are met; '{}' and {} more cannot be judged, since {note}",
            row.what,
            open.len() - 1
        ),
        (None, _) => {
            let open: Vec<&str> = open.iter().map(|row| row.what.as_str()).collect();
            format!(
                "INCONCLUSIVE: {met} of {all} rules are met; nearer to the limit than U: {}",
                open.join(", ")
            )
        }
    }
}
