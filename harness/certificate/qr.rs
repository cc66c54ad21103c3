//! Serial number and digest as a QR code (ISO/IEC 18004). It decides only how
//! large a module is.

use crate::drawing::{BLACK, Drawing};
use crate::record::Record;
use qrcode::{Color, QrCode};

/// What the code says.
pub(super) fn text(record: &Record) -> String {
    let digest = record.ended.as_ref().map(|ended| ended.measurement);
    let digest = digest.map_or_else(|| "none".to_owned(), |digest| digest.to_string());
    // A code is read without the page around it.
    let model = if record.started.model { "MODEL " } else { "" };
    format!("{model}{} {digest}", record.started.serial)
}

/// The code in a square of `side`, four quiet modules inside.
pub(super) fn qr(record: &Record, side: f64) -> Drawing {
    let mut drawing = Drawing::new(side, side);
    // Names and digests are far shorter than what a code can hold.
    let Ok(code) = QrCode::new(text(record).as_bytes()) else {
        return drawing;
    };
    let width = code.width();
    let module = side / (width + 8) as f64;
    let place = |at: usize| (at + 4) as f64 * module;
    let dark: Vec<bool> = code.to_colors().iter().map(|c| *c == Color::Dark).collect();
    for (y, row) in dark.chunks(width).enumerate() {
        let mut x = 0;
        while x < width {
            let run = row[x..].iter().take_while(|dark| **dark).count();
            if run > 0 {
                drawing.block((place(x), place(y)), (run as f64 * module, module), BLACK);
            }
            x += run.max(1);
        }
    }
    drawing
}
