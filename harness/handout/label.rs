//! Labels for boards that passed, on sheets of A4: maker, serial number, scale
//! factor, family, rating, lot and a code. It decides which record may stand on a label, and nothing else
//! about it.

use super::certificate::code;
use super::figures::qr::qr;
use super::front::nominal;
use super::label_sheet::LabelSheet;
use crate::comparison::KeptFiles;
use crate::drawing::pdf::{self, About, PdfFault};
use crate::drawing::typeface::{fitted, shrunk};
use crate::drawing::{Anchor, BLACK, Drawing, GREY, PALE, Role, WHITE};
use crate::judgement::Verdict;
use crate::record::Record;
use crate::report::words;

/// A4 in points.
const PAGE: (f64, f64) = (595.0, 842.0);
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

/// Sheets of labels, one for each record that may have one, with their `maker`
/// where one is stated; where `specimen` is set each says so across its whole
/// width.
///
/// # Errors
/// A [`PdfFault`], which is a bug here.
pub fn labels(
    records: &[Record],
    sheet: &LabelSheet,
    maker: Option<&str>,
    specimen: bool,
) -> Result<Vec<u8>, PdfFault> {
    let size = sheet.points();
    let mut pages = Vec::new();
    let mut page = Drawing::new(PAGE.0, PAGE.1);
    let mut place = usize::from(sheet.skip) % sheet.places();
    let fit = |record: &&Record| may_have_label(record, specimen).is_ok();
    let mut last = jiff::Timestamp::UNIX_EPOCH;
    let mut count = 0_usize;
    for record in records.iter().filter(fit) {
        if place == sheet.places() {
            pages.push(std::mem::replace(&mut page, Drawing::new(PAGE.0, PAGE.1)));
            place = 0;
        }
        let corner = sheet.corner(place);
        page.place(&label(record, size, maker, specimen), corner);
        page.frame(corner, size, PALE, 0.3);
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

fn label(
    record: &Record,
    (width, height): (f64, f64),
    maker: Option<&str>,
    specimen: bool,
) -> Drawing {
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
    let rating = KeptFiles::of(started).plan().ok().map(|plan| {
        let ratings = plan.ratings;
        format!(
            "{}, supply {} to {}",
            nominal(ratings.rated_current),
            nominal(ratings.lowest_supply),
            nominal(ratings.highest_supply)
        )
    });
    let day = record.started_at.strftime("%Y-%m-%d");
    // On lines of their own: a long name of a lot must not cost the date.
    let lot = started.lot.as_ref().map(|lot| format!("lot {lot}"));
    let tested = format!("tested {day}");
    let lines = [
        (maker.map(str::to_owned), 8.0, true, BLACK),
        (Some(started.serial.to_string()), 13.0, true, BLACK),
        (scale, 9.0, true, BLACK),
        (Some(board), 7.5, false, GREY),
        (rating, 7.5, false, GREY),
        (lot, 7.5, false, GREY),
        (Some(tested), 7.5, false, GREY),
    ];
    // What has no room in their sizes shrinks alike.
    let wanted = lines
        .iter()
        .filter(|line| line.0.is_some())
        .map(|line| line.1 + 3.0);
    let shrink = ((height - 2.0 * inset - bar) / wanted.sum::<f64>()).min(1.0);
    label.as_role(Role::Paragraph, |label| {
        let mut y = inset;
        for (text, size, bold, ink) in lines {
            let Some(text) = text else { continue };
            let size = shrunk(&text, size * shrink, bold, room);
            y += size + 3.0 * shrink;
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::svg::svg;
    use crate::record::samples::{events, numbered, started, value};

    /// The day of the test stands whole on the smallest usual label, however long
    /// the lot's name is; the seal's code takes nearly half of the width.
    #[test]
    fn a_long_name_of_a_lot_leaves_the_day_whole() {
        let mut started = started("run-1", "GR-0042", false);
        started.lot = Some("GB-2026-11-second-delivery".parse().expect("a plain name"));
        let events = events(started, value(0.004, 1e-6));
        let record = Record::fold(&numbered(events)).expect("a whole run");
        // 48.5 mm by 25.4 mm.
        let drawn = svg(&label(&record, (137.5, 72.0), None, false), "a label");
        let day = record.started_at.strftime("%Y-%m-%d");
        assert!(drawn.contains(&format!("tested {day}<")), "{drawn}");
        assert!(drawn.contains("lot GB-2026-11"), "{drawn}");
    }
}
