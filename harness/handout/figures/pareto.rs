//! What boards failed by as bars, the most frequent first, with the cumulated
//! share beside each.

use crate::comparison::LotSummary;
use crate::drawing::typeface::fitted;
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Picture};
use crate::handout::lot_words::failing_rows;

const WIDTH: f64 = 511.0;
const FROM: f64 = 168.0;
const TO: f64 = 400.0;
const ROW: f64 = 15.0;
const HEAD: f64 = 18.0;
/// Bars drawn; the table holds all.
const MOST: usize = 13;

pub(in crate::handout) fn picture(found: &LotSummary) -> Picture {
    let rows = failing_rows(found);
    let shown = rows.len().min(MOST);
    let height = HEAD + ROW * shown as f64 + 18.0;
    let mut drawing = Drawing::new(WIDTH, height);
    let boards = found.first_pass.of.max(1);
    // The scale ends at the longest bar, on a whole number of boards.
    let longest = found
        .failing
        .iter()
        .map(|f| f.boards)
        .max()
        .unwrap_or(0)
        .max(1);
    let x = |count: f64| FROM + count / longest as f64 * (TO - FROM);
    drawing.write((FROM, 10.0), 6.5, false, Anchor::Start, GREY, "boards");
    drawing.write(
        (WIDTH, 10.0),
        6.5,
        false,
        Anchor::End,
        GREY,
        "cumulated proportion of failures",
    );
    let mut words = format!("Of {boards} boards:");
    for (index, (row, failing)) in rows.iter().zip(&found.failing).take(MOST).enumerate() {
        let y = HEAD + ROW * index as f64;
        let label = fitted(&row[0], 7.5, false, FROM - 8.0);
        drawing.write((0.0, y + 9.0), 7.5, false, Anchor::Start, BLACK, label);
        let end = x(failing.boards as f64);
        drawing.block((FROM, y + 2.0), (end - FROM, 9.5), GREY);
        drawing.frame((FROM, y + 2.0), (end - FROM, 9.5), BLACK, 0.8);
        let mut count = failing.boards.to_string();
        if failing.undecided > 0 {
            count.push_str(&format!(" and {} inconclusive", failing.undecided));
        }
        drawing.write((end + 4.0, y + 9.0), 7.5, true, Anchor::Start, BLACK, count);
        drawing.write((WIDTH, y + 9.0), 7.5, false, Anchor::End, BLACK, &row[3]);
        words.push_str(&format!(" {} {};", row[0], failing.boards));
    }
    let floor = HEAD + ROW * shown as f64 + 2.0;
    drawing.line(&[(FROM, floor), (TO, floor)], BLACK, 0.8);
    let step = longest.div_ceil(5);
    for tick in (0..=longest).step_by(step) {
        let x = x(tick as f64);
        drawing.line(&[(x, HEAD), (x, floor + 3.0)], PALE, 0.3);
        drawing.line(&[(x, floor), (x, floor + 3.0)], BLACK, 0.6);
        drawing.write(
            (x, floor + 10.0),
            6.5,
            false,
            Anchor::Middle,
            BLACK,
            tick.to_string(),
        );
    }
    Picture { drawing, words }
}
