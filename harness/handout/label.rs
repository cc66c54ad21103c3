//! Labels for boards that passed, on sheets of A4: serial number, scale factor
//! and a code. It decides which record may stand on a label, and nothing else
//! about it.

use super::certificate::code;
use super::figures::qr::qr;
use crate::comparison::KeptFiles;
use crate::drawing::pdf::{self, About, PdfFault};
use crate::drawing::typeface::{fitted, shrunk};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Role, WHITE};
use crate::judgement::Verdict;
use crate::record::Record;
use crate::report::words;

/// A4 in points.
const PAGE: (f64, f64) = (595.0, 842.0);
/// What most printers leave free.
const MARGIN: f64 = 24.0;

/// How labels stand on a sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Grid {
    /// Labels beside each other.
    pub columns: usize,
    /// Labels below each other.
    pub rows: usize,
    /// Places at the start of the first sheet that are used up.
    pub skip: usize,
}

/// Why a record gets no label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoLabel {
    /// It was on the model bench.
    #[error("it was run on the model bench, where no real board is measured")]
    Model,
    /// Only one scenario was run.
    #[error("its last run is a diagnosis, which accepts nothing")]
    Diagnosis,
    /// It did not pass.
    #[error("its last run did not pass")]
    NotPassed,
    /// It stays on the bench.
    #[error("it is the check standard of its lot")]
    CheckStandard,
}

/// Whether a board's last whole run lets it have a label; a `specimen` may
/// come from the model bench, but must have passed all the same.
///
/// # Errors
/// Why not.
pub fn may_have_label(record: &Record, specimen: bool) -> Result<(), NoLabel> {
    if record.started.model && !specimen {
        return Err(NoLabel::Model);
    }
    if record.started.only.is_some() {
        return Err(NoLabel::Diagnosis);
    }
    if record.is_open() || record.verdict() != Verdict::Pass {
        return Err(NoLabel::NotPassed);
    }
    let lot = KeptFiles::of(&record.started).lot();
    if lot.and_then(|lot| lot.check_standard).as_ref() == Some(&record.started.serial) {
        return Err(NoLabel::CheckStandard);
    }
    Ok(())
}

/// Sheets of labels, one for each record that may have one; where `specimen`
/// is set each says so across its whole width.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn labels(records: &[Record], grid: Grid, specimen: bool) -> Result<Vec<u8>, PdfFault> {
    let (columns, rows) = (grid.columns.max(1), grid.rows.max(1));
    let size = (
        (PAGE.0 - 2.0 * MARGIN) / columns as f64,
        (PAGE.1 - 2.0 * MARGIN) / rows as f64,
    );
    let mut pages = Vec::new();
    let mut page = Drawing::new(PAGE.0, PAGE.1);
    let mut place = grid.skip % (columns * rows);
    let fit = |record: &&Record| may_have_label(record, specimen).is_ok();
    let mut last = jiff::Timestamp::UNIX_EPOCH;
    let mut count = 0_usize;
    for record in records.iter().filter(fit) {
        if place == columns * rows {
            pages.push(std::mem::replace(&mut page, Drawing::new(PAGE.0, PAGE.1)));
            place = 0;
        }
        let x = MARGIN + size.0 * (place % columns) as f64;
        let y = MARGIN + size.1 * (place / columns) as f64;
        page.place(&label(record, size, specimen), (x, y));
        page.frame((x, y), size, PALE, 0.3);
        last = last.max(record.started_at);
        place += 1;
        count += 1;
    }
    pages.push(page);
    let specimen = if specimen {
        "Specimen labels"
    } else {
        "Labels"
    };
    let about = About {
        title: format!("{specimen}: {count} boards"),
        version: env!("CARGO_PKG_VERSION"),
        identity: "labels",
        at: last,
    };
    pdf::write(&about, &pages)
}

fn label(record: &Record, (width, height): (f64, f64), specimen: bool) -> Drawing {
    let mut label = Drawing::new(width, height);
    let started = &record.started;
    let inset = 6.0;
    let bar = if specimen { 12.0 } else { 0.0 };
    let side = (height - 2.0 * inset - bar).min(width * 0.42);
    let drawn = qr(&code(record), side);
    label.as_role(Role::Figure(drawn.words), |label| {
        label.place(&drawn.drawing, (width - inset - side, inset));
    });
    let room = width - side - 3.0 * inset;
    let board = format!("{}, rev. {}", started.family, started.revision);
    let scale = words::scale_factor(record).map(|scale| format!("sense {}", words::found(scale)));
    let tested = record.started_at.strftime("tested %Y-%m-%d").to_string();
    let lines = [
        (Some(started.serial.to_string()), 13.0, true, BLACK),
        (scale, 9.0, true, BLACK),
        (Some(board), 7.5, false, GREY),
        (Some(tested), 7.5, false, GREY),
    ];
    label.as_role(Role::Paragraph, |label| {
        let mut y = inset;
        for (text, size, bold, ink) in lines {
            let Some(text) = text else { continue };
            let size = shrunk(&text, size, bold, room);
            y += size + 3.0;
            let text = fitted(&text, size, bold, room);
            label.write((inset, y), size, bold, Anchor::Start, ink, text);
        }
    });
    if specimen {
        label.block((0.0, height - bar), (width, bar), BLACK);
        let text = if started.model {
            "SPECIMEN, model bench: not for a board"
        } else {
            "SPECIMEN: not for a board"
        };
        let size = shrunk(text, 8.0, true, width - 4.0);
        label.as_role(Role::Paragraph, |label| {
            let at = (width / 2.0, height - 3.5);
            label.write(at, size, true, Anchor::Middle, WHITE, text);
        });
    }
    label
}
