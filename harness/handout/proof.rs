//! The content of the report on what a plan detects: the answer, the matrix,
//! how each defect was detected, what each scenario is worth, false rejects. It
//! lays nothing out.

use super::block::{Block, Handout, Head, ROOMY};
use super::figures::matrix;
use crate::proof::{
    DefectFinding, PlanProof, Setting, conclusion, detection_cells, escape_lines, good_sentence,
    headline, inconclusive_lines, leaning, missing, tight_cells, warnings, without,
};
use crate::units::{Dimension, Quantity as _, show};

const CLEARLY: &str = "Beyond its limit: in the board where that was smallest. Clearly: of each board the limit that was passed most, as a multiple of the way from good boards to that limit; of those the smallest. 1 is at the limit, 2 twice as far away from good boards; yes/no where the limit asks for a count or an answer.";
const WORTH: &str = "Leaving a scenario out is judged from the same runs. A scenario that loses nothing may still find what nobody has planted.";
const TIGHT: &str = "Room: mean distance from good boards' readings to where they would no longer pass, the guard band taken off, in standard deviations of that distance. Below 4, rejections are to be expected in a large lot.";

/// What a plan detects; `at` is when that was tried.
pub fn plan_proof(found: &PlanProof, setting: &Setting, at: jiff::Timestamp) -> Handout {
    let mut frame = vec![sentence(&conclusion(found)), good_sentence(found)];
    frame.extend(missing(found));
    frame.extend(warnings(found));
    let mut blocks = vec![Block::framed(frame)];
    escapes(found, &mut blocks);
    blocks.push(Block::heading("Which scenario detects which defect"));
    blocks.extend(Block::pictures(1, matrix::pictures(found)));
    blocks.push(Block::text(matrix::LEGEND));
    blocks.push(Block::heading("How each defect was detected"));
    blocks.push(detected(found));
    blocks.push(Block::text(CLEARLY));
    blocks.extend(leaning(found).map(Block::Text));
    blocks.push(Block::heading("What each scenario is worth"));
    blocks.push(worth(found));
    blocks.push(Block::text(WORTH));
    good(found, &mut blocks);
    made_with(setting, &mut blocks);
    let about = format!("Plan {}", setting.plan);
    let head = Head {
        identity: format!("plan {}, seed {}", setting.plan, setting.seed.0),
        at,
        ..Head::of_many("What a plan detects", headline(found), about)
    };
    Handout {
        head,
        blocks,
        layout: &ROOMY,
    }
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    format!("{}{}.", first.unwrap_or_default(), letters.as_str())
}

fn escapes(found: &PlanProof, blocks: &mut Vec<Block>) {
    let told = |heading: &str, all: Vec<Vec<String>>, blocks: &mut Vec<Block>| {
        if !all.is_empty() {
            blocks.push(Block::heading(heading));
        }
        for lines in all {
            // It begins with the defect's name as files spell it.
            blocks.push(Block::framed(lines.first().cloned()));
            let rest = lines.iter().skip(1);
            blocks.extend(rest.map(|line| Block::Text(sentence(line))));
        }
    };
    let of = |chosen: fn(&DefectFinding) -> bool, words: fn(&DefectFinding) -> Vec<String>| {
        let defects = found.defects.iter().filter(|defect| chosen(defect));
        defects.map(words).collect::<Vec<_>>()
    };
    told("What escapes", of(|d| d.escaped > 0, escape_lines), blocks);
    let unsure = of(|d| d.escaped == 0 && d.inconclusive > 0, inconclusive_lines);
    told("What was inconclusive", unsure, blocks);
}

fn detected(found: &PlanProof) -> Block {
    let row = |defect: &DefectFinding| {
        let [boards, first, beyond, clearly] = detection_cells(defect);
        let limit = defect.first.first();
        let limit = limit.map_or("-".to_owned(), |c| c.limit.show(c.dimension));
        let name = defect.name.clone();
        vec![
            name,
            defect.what.clone(),
            boards,
            first,
            limit,
            beyond,
            clearly,
        ]
    };
    Block::table(
        "defect | what is wrong | >detected | first by | >limit | >beyond its limit | >clearly",
        found.defects.iter().map(row),
    )
}

fn worth(found: &PlanProof) -> Block {
    let rows = found.scenarios.iter().map(|scenario| {
        let took = scenario.took;
        let (count, names) = without(scenario);
        let names = names.join(", ");
        vec![
            scenario.name.clone(),
            took.map_or("-".to_owned(), |took| show(took.si(), Dimension::Time)),
            scenario.detects.to_string(),
            scenario.first.to_string(),
            if names.is_empty() {
                count
            } else {
                format!("{count}: {names}")
            },
        ]
    });
    Block::table(
        "scenario | >bench time a board | >defects detected | >boards detected first | without it escapes",
        rows,
    )
}

fn good(found: &PlanProof, blocks: &mut Vec<Block>) {
    let good = &found.good;
    if !good.by.is_empty() {
        blocks.push(Block::heading("What kept good boards from passing"));
        blocks.push(Block::table(
            "metric and limit | >rejected | >inconclusive",
            good.by.iter().map(|rejection| rejection.cells()),
        ));
    }
    if !good.tightest.is_empty() {
        blocks.push(Block::heading("Limits nearest to good boards"));
        let rows = good
            .tightest
            .iter()
            .map(|tight| tight_cells(tight).to_vec());
        blocks.push(Block::table(
            "metric | >limit | >their mean | >room / sd",
            rows,
        ));
        blocks.push(Block::text(TIGHT));
    }
}

fn made_with(setting: &Setting, blocks: &mut Vec<Block>) {
    blocks.push(Block::heading("Made with"));
    blocks.push(Block::Text(format!(
        "{} {} Seed {}, {} boards with each defect.",
        setting.bench_sentence(),
        setting.board_sentence(),
        setting.seed.0,
        setting.each
    )));
    if !setting.left_out.is_empty() {
        let all = setting.left_out.iter();
        let all: Vec<String> = all.map(|l| format!("{} ({})", l.defect, l.why)).collect();
        blocks.push(Block::Text(format!("Not planted: {}.", all.join(", "))));
    }
    let rows = setting.files.iter();
    let rows = rows.map(|file| vec![file.name.clone(), file.digest.to_string()]);
    blocks.push(Block::table("file | SHA-256", rows));
}
