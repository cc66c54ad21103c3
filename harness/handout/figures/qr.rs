//! A few words as a QR code (ISO/IEC 18004). It decides only how
//! large a module is.

use crate::drawing::{BLACK, Drawing, Picture};
use qrcode::{Color, QrCode};

/// The code of `text` in a square of `side`, four quiet modules inside.
pub(in crate::handout) fn qr(text: &str, side: f64) -> Picture {
    let mut drawing = Drawing::new(side, side);
    let words = format!("QR code: {text}");
    // Names and digests are far shorter than what a code can hold.
    let Ok(code) = QrCode::new(text.as_bytes()) else {
        return Picture { drawing, words };
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
    Picture { drawing, words }
}
