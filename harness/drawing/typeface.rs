//! The embedded typeface: which glyph a character has and how wide it is
//! (OpenType 1.9, tables `cmap` format 4, `hhea`, `hmtx`, `head`). It shapes
//! nothing: text runs left to right, one glyph a character.

use crate::drawing::plain::plain;
use crate::units::typeset;
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// One weight of the typeface.
pub(crate) struct Typeface {
    pub(crate) bytes: &'static [u8],
    /// Glyph and advance in ems of each character it has.
    glyphs: BTreeMap<char, (u32, f64)>,
}

pub(crate) static REGULAR: LazyLock<Typeface> = LazyLock::new(|| {
    Typeface::read(include_bytes!(
        "../../fixtures/fonts/DejaVuSansCondensed.ttf"
    ))
});
pub(crate) static BOLD: LazyLock<Typeface> = LazyLock::new(|| {
    Typeface::read(include_bytes!(
        "../../fixtures/fonts/DejaVuSansCondensed-Bold.ttf"
    ))
});

/// The typeface of that weight.
pub(crate) fn face(bold: bool) -> &'static Typeface {
    if bold { &BOLD } else { &REGULAR }
}

impl Typeface {
    fn read(bytes: &'static [u8]) -> Self {
        let u16_at = |at: usize| u16::from_be_bytes([bytes[at], bytes[at + 1]]) as usize;
        let u32_at = |at: usize| (u16_at(at) << 16) | u16_at(at + 2);
        let table = |tag: &[u8; 4]| {
            let mut records = (0..u16_at(4)).map(|index| 12 + 16 * index);
            let record = records.find(|&at| &bytes[at..at + 4] == tag);
            u32_at(record.expect("the embedded font has its tables") + 8)
        };
        let (cmap, hmtx) = (table(b"cmap"), table(b"hmtx"));
        let per_em = u16_at(table(b"head") + 18) as f64;
        let metrics = u16_at(table(b"hhea") + 34);
        let advance = |glyph: usize| u16_at(hmtx + 4 * glyph.min(metrics - 1)) as f64 / per_em;
        let mut subtables = (0..u16_at(cmap + 2)).map(|i| cmap + u32_at(cmap + 4 + 8 * i + 4));
        let four = subtables
            .find(|&at| u16_at(at) == 4)
            .expect("the embedded font maps its characters");
        let twice = u16_at(four + 6);
        let mut glyphs = BTreeMap::new();
        for segment in (0..twice).step_by(2) {
            let end = u16_at(four + 14 + segment);
            let start = u16_at(four + 16 + twice + segment);
            let delta = u16_at(four + 16 + 2 * twice + segment);
            let offset_at = four + 16 + 3 * twice + segment;
            let offset = u16_at(offset_at);
            for code in start..=end.min(0xFFFE) {
                let glyph = if offset == 0 {
                    (code + delta) & 0xFFFF
                } else {
                    match u16_at(offset_at + offset + 2 * (code - start)) {
                        0 => 0,
                        glyph => (glyph + delta) & 0xFFFF,
                    }
                };
                if let (Some(c), true) = (char::from_u32(code as u32), glyph != 0) {
                    glyphs.insert(c, (glyph as u32, advance(glyph)));
                }
            }
        }
        Self { bytes, glyphs }
    }

    /// Glyph and advance in ems; a replacement for what it does not have.
    pub(crate) fn glyph(&self, c: char) -> (u32, f64) {
        let known = self.glyphs.get(&c).or_else(|| self.glyphs.get(&'\u{FFFD}'));
        known.copied().unwrap_or((0, 0.6))
    }

    /// The width of `text` in ems.
    pub(crate) fn width(&self, text: &str) -> f64 {
        text.chars().map(|c| self.glyph(c).1).sum()
    }
}

/// `text` cut with an ellipsis so that it is no wider than `room` points.
pub(crate) fn fitted(text: &str, size: f64, bold: bool, room: f64) -> String {
    let face = face(bold);
    let text = &*typeset(text);
    if face.width(text) * size <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    let mut used = face.glyph('\u{2026}').1 * size;
    for c in text.chars() {
        used += face.glyph(c).1 * size;
        if used > room {
            break;
        }
        kept.push(c);
    }
    kept.push('\u{2026}');
    kept
}

/// `text` in lines no wider than `room` points, broken at spaces; a word that
/// is wider than a line is broken too. Nothing is left out.
pub(crate) fn wrapped(text: &str, size: f64, bold: bool, room: f64) -> Vec<String> {
    let face = face(bold);
    // Shown as it is drawn, so that what is counted is what is seen.
    let text = plain(&typeset(text));
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut used = 0.0;
    for word in text.split(' ') {
        let width = face.width(word) * size;
        let space = face.glyph(' ').1 * size;
        if !line.is_empty() && used + space + width <= room {
            line.push(' ');
            line.push_str(word);
            used += space + width;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        used = 0.0;
        for c in word.chars() {
            let advance = face.glyph(c).1 * size;
            if used + advance > room && !line.is_empty() {
                lines.push(std::mem::take(&mut line));
                used = 0.0;
            }
            line.push(c);
            used += advance;
        }
    }
    lines.push(line);
    lines
}

/// The largest size, `size` at most and three quarters of it at least, in which
/// `text` is no wider than `room` points.
pub(crate) fn shrunk(text: &str, size: f64, bold: bool, room: f64) -> f64 {
    let width = face(bold).width(text) * size;
    if width <= room {
        size
    } else {
        size * (room / width).max(0.75)
    }
}
