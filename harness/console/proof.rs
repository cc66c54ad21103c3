//! A proof of a plan on a terminal: a first screen that answers whether the plan
//! would detect it, then how, and what each scenario is worth. It counts and
//! judges nothing.

use super::fold::folded;
use super::row::padded;
use super::table::table_within;
use crate::ident::harmless;
use crate::proof::{
    Cell, Conclusion, PlanProof, Setting, conclusion, detection_cells, escape_lines, good_sentence,
    headline, inconclusive_lines, leaning, missing, tight_cells, warnings, without,
};
use crate::report::words::counted;
use crate::units::{Dimension, Quantity as _, show};
use anstyle::{AnsiColor, Style};
use unicode_width::UnicodeWidthStr;

/// Lines of the first screen.
const SCREEN: usize = 40;
/// Widest name of a scenario above its column; longer ones are numbered.
const WIDEST: usize = 12;
/// Rows of what rejected good boards, and of tight limits.
const MOST_ROWS: usize = 6;

/// The whole of it in lines of `room` columns, the first screen to be read alone.
pub fn told(proof: &PlanProof, setting: &Setting, room: usize) -> String {
    let (first, untold) = first_screen(proof, setting, room);
    first + &details(proof, setting, room, &untold)
}

/// The answer, the matrix and the false rejects on one screen; what escapes is
/// told at such length as fits, the rest of it is handed back.
fn first_screen(proof: &PlanProof, setting: &Setting, room: usize) -> (String, Vec<Vec<String>>) {
    let mut out = String::new();
    lines(&mut out, &setting.bench_sentence(), room);
    let of_what = format!(
        "{}: {}, each in {}; {}; seed {}.",
        setting.plan,
        counted(proof.defects.len() as u64, "known defect"),
        counted(setting.each as u64, "board"),
        counted(proof.good.wanted as u64, "good board"),
        setting.seed.0
    );
    lines(&mut out, &of_what, room);
    if setting.board_of_demo {
        lines(&mut out, &setting.board_sentence(), room);
    }
    out.push('\n');
    let style = style(proof.conclusion);
    let head = headline(proof).to_uppercase();
    let answer = format!("{head}: {}.", conclusion(proof));
    let styled = folded_lines(&answer, room).replacen(&head, &format!("{style}{head}{style:#}"), 1);
    out.push_str(&styled);
    let mut rest = String::new();
    for text in missing(proof).into_iter().chain(warnings(proof)) {
        lines(&mut rest, &text, room);
    }
    rest.push('\n');
    rest.push_str(&matrix(proof, room));
    rest.push('\n');
    lines(&mut rest, &good_sentence(proof), room);
    let spare = SCREEN.saturating_sub(out.lines().count() + rest.lines().count());
    let untold = at_length(&mut out, proof, room, spare);
    (out + &rest, untold)
}

/// Escapes first, then what was inconclusive, in at most `spare` lines but one;
/// what there was no room for.
fn at_length(out: &mut String, proof: &PlanProof, room: usize, spare: usize) -> Vec<Vec<String>> {
    let escaping = proof.defects.iter().filter(|d| d.escaped > 0);
    let unsure = proof.defects.iter();
    let unsure = unsure.filter(|d| d.escaped == 0 && d.inconclusive > 0);
    let escaping = escaping.map(escape_lines);
    let mut all: Vec<Vec<String>> = escaping.chain(unsure.map(inconclusive_lines)).collect();
    let (mut left, mut told) = (spare, 0);
    for sentences in &all {
        let mut text = String::new();
        paragraph(&mut text, sentences, room);
        // One is kept for what is not told.
        let last = usize::from(told + 1 < all.len());
        let needed = text.lines().count() + last;
        if needed > left {
            break;
        }
        left -= needed - last;
        told += 1;
        out.push_str(&text);
    }
    let untold = all.split_off(told);
    match untold.len() {
        0 => {}
        rest if told == 0 => lines(out, &format!("  {rest}: see below"), room),
        rest => lines(out, &format!("  and {rest} more: see below"), room),
    }
    untold
}

/// A sentence and what belongs to it.
fn paragraph(out: &mut String, sentences: &[String], room: usize) {
    for (index, sentence) in sentences.iter().enumerate() {
        let indent = if index == 0 { "  " } else { "      " };
        lines(out, &format!("{indent}{sentence}"), room);
    }
}

fn style(conclusion: Conclusion) -> Style {
    let colour = match conclusion {
        Conclusion::NothingEscapes => AnsiColor::Green,
        Conclusion::Inconclusive => AnsiColor::Yellow,
        Conclusion::Escapes => AnsiColor::Red,
    };
    Style::new().bold().fg_color(Some(colour.into()))
}

/// Defects down, scenarios across, marks that need no colour.
fn matrix(proof: &PlanProof, room: usize) -> String {
    let widest = |texts: &[String]| texts.iter().map(|t| t.width()).max().unwrap_or(0);
    let names: Vec<String> = proof.scenarios.iter().map(|s| harmless(&s.name)).collect();
    let defects = proof.defects.iter();
    let labels: Vec<String> = defects.clone().map(|d| d.name.clone()).collect();
    let counts = defects
        .clone()
        .map(|d| format!("{}/{}", d.detected, d.tried));
    let counts: Vec<String> = counts.collect();
    let marks: Vec<Vec<String>> = defects
        .map(|d| d.cells.iter().map(|cell| mark(*cell, d.tried)).collect())
        .collect();
    let (label, end) = (widest(&labels), widest(&counts).max("detected".len()));
    let least = marks.iter().map(|row| widest(row)).max().unwrap_or(0);
    let wide: usize = names.iter().map(|name| name.width().max(least) + 1).sum();
    let numbered = label + wide + 1 + end > room || names.iter().any(|name| name.width() > WIDEST);
    let heads: Vec<String> = match numbered {
        true => (1..=names.len()).map(|number| number.to_string()).collect(),
        false => names.clone(),
    };
    let widths: Vec<usize> = heads.iter().map(|head| head.width().max(least)).collect();
    let mut out = String::new();
    let mut line = |name: &str, cells: &[String], last: &str| {
        let mut text = padded(name, label);
        for (cell, width) in cells.iter().zip(&widths) {
            let before = (width - cell.width().min(*width)) / 2;
            text.push(' ');
            text.push_str(&padded(&format!("{}{cell}", " ".repeat(before)), *width));
        }
        let text = format!("{text} {last:>end$}");
        out.push_str(text.trim_end());
        out.push('\n');
    };
    line("", &heads, "detected");
    for ((name, marks), count) in labels.iter().zip(&marks).zip(&counts) {
        line(name, marks, count);
    }
    if numbered {
        let pairs = names.iter().enumerate();
        let pairs: Vec<String> = pairs
            .map(|(at, name)| format!("{} {name}", at + 1))
            .collect();
        lines(&mut out, &pairs.join(", "), room);
    }
    lines(&mut out, LEGEND, room);
    out
}

const LEGEND: &str = "\u{25CF} detected first  \u{25CB} detected too  ? inconclusive  \u{B7} passed  (with a number: in so many boards)";

fn mark(cell: Cell, tried: usize) -> String {
    let (mark, boards) = match cell {
        Cell {
            detected: 0,
            inconclusive: 0,
            ..
        } => return "\u{B7}".to_owned(),
        Cell {
            detected: 0,
            inconclusive,
            ..
        } => ('?', inconclusive),
        Cell {
            first: 0, detected, ..
        } => ('\u{25CB}', detected),
        Cell { detected, .. } => ('\u{25CF}', detected),
    };
    if boards == tried {
        mark.to_string()
    } else {
        format!("{mark}{boards}")
    }
}

/// How each defect was detected, what each scenario is worth, what rejects good
/// boards or nearly does; first of all what had no room before.
fn details(proof: &PlanProof, setting: &Setting, room: usize, untold: &[Vec<String>]) -> String {
    let mut out = String::from("\n");
    for sentences in untold {
        paragraph(&mut out, sentences, room);
    }
    if !untold.is_empty() {
        out.push('\n');
    }
    detected(&mut out, proof, room);
    if let Some(text) = leaning(proof) {
        lines(&mut out, &text, room);
    }
    out.push('\n');
    worth(&mut out, proof, room);
    let rejections = proof.good.by.iter().take(MOST_ROWS);
    let rows: Vec<Vec<String>> = rejections.map(|rejection| rejection.cells()).collect();
    if !rows.is_empty() {
        let headings = [
            "good boards were kept from passing by",
            ">rejected",
            ">inconclusive",
        ];
        out.push('\n');
        out.push_str(&table_within(&headings, &rows, room));
    }
    let tight = proof.good.tightest.iter().take(MOST_ROWS);
    let rows: Vec<Vec<String>> = tight.map(|tight| tight_cells(tight).to_vec()).collect();
    if !rows.is_empty() {
        let headings = [
            "limits nearest to good boards",
            "limit",
            ">their mean",
            ">room / sd",
        ];
        out.push('\n');
        out.push_str(&table_within(&headings, &rows, room));
    }
    if !setting.board_of_demo {
        out.push('\n');
        lines(&mut out, &setting.board_sentence(), room);
    }
    if !setting.left_out.is_empty() {
        let all = setting.left_out.iter();
        let all: Vec<String> = all.map(|l| format!("{} ({})", l.defect, l.why)).collect();
        lines(&mut out, &format!("Not planted: {}.", all.join(", ")), room);
    }
    out
}

fn detected(out: &mut String, proof: &PlanProof, room: usize) {
    let rows = proof.defects.iter().map(|defect| {
        let mut row = vec![defect.name.clone()];
        row.extend(detection_cells(defect));
        row
    });
    let rows: Vec<Vec<String>> = rows.collect();
    let headings = [
        "defect",
        ">detected",
        "first by",
        ">beyond its limit",
        ">clearly",
    ];
    out.push_str(&table_within(&headings, &rows, room));
    lines(
        out,
        "clearly: the limit passed most, in the board where it is least clear; 1 is at the limit, 2 twice as far from good \
         boards.",
        room,
    );
}

fn worth(out: &mut String, proof: &PlanProof, room: usize) {
    let mut rows = Vec::new();
    for scenario in &proof.scenarios {
        let took = scenario
            .took
            .map_or("-".to_owned(), |took| show(took.si(), Dimension::Time));
        let (count, names) = without(scenario);
        rows.push(vec![
            scenario.name.clone(),
            took,
            scenario.detects.to_string(),
            scenario.first.to_string(),
            count,
        ]);
        if !names.is_empty() {
            rows.push(vec![format!("    {}", names.join(", "))]);
        }
    }
    let headings = [
        "scenario",
        ">bench time",
        ">defects detected",
        ">boards first",
        "without it escapes",
    ];
    out.push_str(&table_within(&headings, &rows, room));
}

fn lines(out: &mut String, text: &str, room: usize) {
    out.push_str(&folded_lines(text, room));
}

fn folded_lines(text: &str, room: usize) -> String {
    let mut out = String::new();
    for line in folded(&harmless(text), room, 2) {
        out.push_str(&line);
        out.push('\n');
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::Verdict;
    use crate::proof::{Asked, Outcome, Trial};
    use crate::seed::Seed;

    fn setting() -> Setting {
        Setting {
            plan: "an invented plan with a rather long name".into(),
            bench: "model".into(),
            bench_file: None,
            real: false,
            board: "invented".into(),
            board_of_demo: false,
            seed: Seed(1),
            each: 2,
            left_out: Vec::new(),
            files: Vec::new(),
        }
    }

    /// As many defects as asked for, of which the first `detected` fail in the
    /// scenario of their number.
    fn proof(defects: usize, detected: usize) -> PlanProof {
        let names = [
            "idle", "load", "overload", "short", "reversal", "sense", "signal", "loss", "inrush",
        ];
        let scenarios: Vec<String> = names.map(str::to_owned).to_vec();
        let trial = |defect: Option<usize>| Trial {
            defect: defect.map(|number| format!("wrong capacitor {number}")),
            scenarios: scenarios
                .iter()
                .enumerate()
                .map(|(at, name)| Outcome {
                    scenario: name.clone(),
                    verdict: match defect {
                        Some(d) if d < detected && d % names.len() == at => Verdict::Fail,
                        _ => Verdict::Pass,
                    },
                    metrics: Vec::new(),
                    troubles: Vec::new(),
                    took: None,
                })
                .collect(),
        };
        let mut trials: Vec<Trial> = (0..2 * defects).map(|n| trial(Some(n / 2))).collect();
        trials.push(trial(None));
        let asked = Asked {
            scenarios: scenarios.clone(),
            defects: (0..defects)
                .map(|n| {
                    (
                        format!("wrong capacitor {n}"),
                        "it has a wrong capacitor".into(),
                    )
                })
                .collect(),
            each: 2,
            good: 1,
        };
        PlanProof::of(&asked, &trials)
    }

    #[test]
    fn the_first_screen_is_one_screen_whatever_escapes() {
        for (defects, detected) in [(19, 19), (19, 18), (19, 15), (19, 0), (1, 0)] {
            let found = proof(defects, detected);
            for room in [100, 80, 60] {
                let (shown, _) = first_screen(&found, &setting(), room);
                let plain = anstream::adapter::strip_str(&shown).to_string();
                assert!(plain.lines().count() <= SCREEN, "{plain}");
                for line in plain.lines() {
                    assert!(line.width() <= room, "{room}:\n{plain}");
                }
                let answer = if detected == defects {
                    "NOTHING ESCAPES"
                } else {
                    "ESCAPE"
                };
                assert!(plain.contains(answer), "{plain}");
                // Every defect has its row, with how many boards were detected.
                for number in 0..defects {
                    let count = if number < detected { "2/2" } else { "0/2" };
                    let name = format!("wrong capacitor {number} ");
                    let row = plain
                        .lines()
                        .find(|l| l.starts_with(&name) && l.ends_with(count));
                    assert!(row.is_some(), "{name}:\n{plain}");
                }
            }
        }
        // Whatever had no room there is told further down, once.
        let whole = told(&proof(19, 0), &setting(), 100);
        assert_eq!(whole.matches(": passed in 2 of 2").count(), 19, "{whole}");
    }
}
