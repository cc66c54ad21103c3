//! What a proof comes to in sentences and cells, shared by terminal and report
//! so that both say the same. No layout.

use super::escape::{Moved, Nearest};
use super::{Conclusion, DefectFinding, Detection, PlanProof, Rejection, ScenarioFinding, Tight};
use crate::report::words::show_span;
use crate::units::show;

/// What it comes to, in a few words.
pub fn headline(proof: &PlanProof) -> String {
    match proof.conclusion {
        Conclusion::NothingEscapes => "Nothing escapes".to_owned(),
        Conclusion::Inconclusive => "Not decided".to_owned(),
        Conclusion::Escapes => {
            let escaping = proof.defects.iter().filter(|d| d.escaped > 0).count();
            match escaping {
                1 => "1 defect escapes".to_owned(),
                many => format!("{many} defects escape"),
            }
        }
    }
}

/// The same as a sentence with its numbers.
pub fn conclusion(proof: &PlanProof) -> String {
    let all = proof.defects.len();
    let detected = proof
        .defects
        .iter()
        .filter(|d| d.tried > 0 && d.detected == d.tried)
        .count();
    let inconclusive = proof.defects.iter().filter(|d| d.inconclusive > 0).count();
    if all == 0 {
        return "no known defect can be planted in this board".to_owned();
    }
    let mut text = match (detected == all, all) {
        (true, 1) => "the defect was detected in every board that carried it".to_owned(),
        (true, _) => {
            format!("each of {all} known defects was detected in every board that carried it")
        }
        (false, _) => format!("{detected} of {all} known defects were detected in every board"),
    };
    if inconclusive > 0 {
        text.push_str(&format!("; {inconclusive} left boards inconclusive"));
    }
    text
}

/// A defect that escapes: where it passed, what it came nearest to, what it
/// moved.
pub fn escape_lines(defect: &DefectFinding) -> Vec<String> {
    let mut lines = vec![format!(
        "{}: passed in {} of {} ({})",
        defect.name, defect.escaped, defect.tried, defect.what
    )];
    let Some(escape) = &defect.escape else {
        return lines;
    };
    lines.push(match &escape.nearest {
        Some(nearest) => of_nearest(nearest),
        None => "no reading came nearer to its limit than good boards' do".to_owned(),
    });
    lines.push(match &escape.moved {
        Some(moved) => of_moved(moved),
        None if escape.comparable => {
            "no reading differs from good boards' by more than their spread".to_owned()
        }
        None => "too few good boards to say what it moves".to_owned(),
    });
    lines
}

fn of_nearest(nearest: &Nearest) -> String {
    let Nearest {
        place,
        dimension,
        finding,
        limit,
        ..
    } = nearest;
    format!(
        "nearest to a limit: {} {}, limit {}; {} of the way there from good boards",
        place.words(),
        finding.show(*dimension),
        limit.show(*dimension),
        percent(nearest.way.max(0.0))
    )
}

fn of_moved(moved: &Moved) -> String {
    let dimension = moved.dimension;
    let limit = moved.limit.as_ref().map_or_else(
        || "the plan sets no limit on it".to_owned(),
        |limit| format!("limit {}", limit.show(dimension)),
    );
    format!(
        "moved most: {} {}, good boards {}; {limit}",
        moved.place.words(),
        show(moved.mean, dimension),
        show(moved.good, dimension)
    )
}

/// What left boards of a defect inconclusive.
pub fn inconclusive_lines(defect: &DefectFinding) -> Vec<String> {
    let mut lines = vec![format!(
        "{}: inconclusive in {} of {} ({})",
        defect.name, defect.inconclusive, defect.tried, defect.what
    )];
    let reasons = defect.inconclusive_by.iter().take(2);
    lines.extend(reasons.map(|reason| format!("by {}", reason.what)));
    lines
}

/// False rejects in one sentence.
pub fn good_sentence(proof: &PlanProof) -> String {
    let good = &proof.good;
    let Some(share) = &good.not_accepted else {
        return "No good board was tried.".to_owned();
    };
    let count = match (good.rejected, good.inconclusive) {
        (0, 0) => "none was rejected".to_owned(),
        (rejected, 0) => format!("{rejected} rejected"),
        (0, inconclusive) => format!("{inconclusive} inconclusive"),
        (rejected, inconclusive) => format!("{rejected} rejected, {inconclusive} inconclusive"),
    };
    let boards = if good.tried == 1 { "board" } else { "boards" };
    format!(
        "Of {} good {boards} {count}: {} (exact 95 % interval {} to {}).",
        good.tried,
        percent(share.share),
        percent(share.interval.lower),
        percent(share.interval.upper)
    )
}

/// What was asked for and not tried; `None` where all was.
pub fn missing(proof: &PlanProof) -> Option<String> {
    if proof.complete {
        return None;
    }
    let wanted: usize = proof.defects.iter().map(|d| d.wanted).sum();
    let tried: usize = proof.defects.iter().map(|d| d.tried).sum();
    let mut text = format!(
        "Ended early: {} of {wanted} boards with a defect and {} of {} good boards were not tried",
        wanted.saturating_sub(tried),
        proof.good.wanted.saturating_sub(proof.good.tried),
        proof.good.wanted
    );
    let never = proof.defects.iter().filter(|defect| defect.tried == 0);
    let never: Vec<&str> = never.map(|defect| defect.name.as_str()).collect();
    if !never.is_empty() {
        text.push_str(&format!("; never planted: {}", never.join(", ")));
    }
    text.push('.');
    Some(text)
}

/// What makes the rest worth little.
pub fn warnings(proof: &PlanProof) -> Vec<String> {
    let good = &proof.good;
    let mut all = Vec::new();
    if good.tried > 0 && good.accepted == 0 {
        all.push(
            "No good board was accepted: model board, bench and plan do not fit each other, and what was detected \
             says nothing."
                .to_owned(),
        );
    } else if 2 * good.accepted < good.tried {
        all.push(
            "Most good boards were not accepted: boards with a defect may have failed for the same reasons."
                .to_owned(),
        );
    }
    all
}

/// Defects that one scenario alone detects; `None` where there is none.
pub fn leaning(proof: &PlanProof) -> Option<String> {
    let named = proof.scenarios.iter().filter_map(|scenario| {
        let own = proof.defects.iter();
        let own = own.filter(|d| d.only.as_ref() == Some(&scenario.name));
        let own: Vec<&str> = own.map(|defect| defect.name.as_str()).collect();
        (!own.is_empty()).then(|| format!("{} ({})", scenario.name, own.join(", ")))
    });
    let named: Vec<String> = named.collect();
    (!named.is_empty()).then(|| format!("Detected by one scenario alone: {}.", named.join("; ")))
}

/// How a defect was detected first: `3/3`, the limit, how far beyond it, how
/// clearly it was detected.
pub fn detection_cells(defect: &DefectFinding) -> [String; 4] {
    let boards = format!("{}/{}", defect.detected, defect.tried);
    let none = || "-".to_owned();
    let Some(first) = defect.first.first() else {
        return [boards, none(), none(), none()];
    };
    let mut place = first.place.words();
    if defect.first.len() > 1 {
        place.push_str(&format!(" ({} of {})", first.boards, defect.detected));
    }
    [boards, place, beyond(first), clearly(defect)]
}

/// By how much the limit was passed: `2.1 ms`, `at least 40 ms`.
fn beyond(detection: &Detection) -> String {
    let span = show_span(detection.least, detection.dimension);
    match detection.bound {
        true => format!("at least {span}"),
        false => span,
    }
}

fn clearly(defect: &DefectFinding) -> String {
    match defect.clearly {
        // More says nothing more.
        Some(way) if way >= 100.0 => "over 100".to_owned(),
        Some(way) => format!("{way:.1}"),
        None => "yes/no".to_owned(),
    }
}

/// What would escape without a scenario: in how many words fit a cell, and the
/// defects by name.
pub fn without(scenario: &ScenarioFinding) -> (String, Vec<String>) {
    let escaping = scenario.without.iter().filter(|lost| lost.escaped > 0);
    let escaping: Vec<String> = escaping.map(|lost| lost.defect.clone()).collect();
    let unsure = scenario.without.len() - escaping.len();
    let mut text = match escaping.len() {
        0 => "nothing".to_owned(),
        many => many.to_string(),
    };
    if unsure > 0 {
        text.push_str(&format!(", {unsure} inconclusive"));
    }
    (text, escaping)
}

/// A limit near to good boards: where, the limit, their mean, the room in
/// standard deviations.
pub fn tight_cells(tight: &Tight) -> [String; 4] {
    [
        tight.place.words(),
        tight.limit.show(tight.dimension),
        show(tight.mean, tight.dimension),
        match tight.deviations {
            // More says nothing more.
            many if many >= 100.0 => "over 100".to_owned(),
            few => format!("{few:.1}"),
        },
    ]
}

impl Rejection {
    /// Its row: what, boards rejected, boards inconclusive.
    pub fn cells(&self) -> Vec<String> {
        vec![
            self.what.clone(),
            self.rejected.to_string(),
            self.inconclusive.to_string(),
        ]
    }
}

/// `3.6 %`.
pub fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}
