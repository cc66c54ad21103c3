//! A drawing as inline SVG. Text is escaped here and nowhere else.

use super::{Anchor, Drawing, Ink, Item};
use crate::drawing::plain::plain;
use crate::units::typeset;
use base64::prelude::{BASE64_STANDARD, Engine as _};
use std::fmt::Write as _;

/// `text` for a page: units in the signs of print, control and direction
/// characters shown, markup escaped.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    escape_markup(&mut out, &plain(&typeset(text)));
    out
}

/// Adds `text` to a page with its markup escaped and nothing else changed.
pub(crate) fn escape_markup(out: &mut String, text: &str) {
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
    }
}

/// The drawing with its words for people who cannot see it.
pub(crate) fn svg(drawing: &Drawing, words: &str) -> String {
    let (width, height) = (drawing.width, drawing.height);
    let mut out = format!(
        "<svg role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {width:.1} {height:.1}\" width=\"{width:.1}\" height=\"{height:.1}\">",
        escape(words)
    );
    for item in &drawing.items {
        push(&mut out, item);
    }
    out.push_str("</svg>");
    out
}

fn push(out: &mut String, item: &Item) {
    // Writing to a string cannot fail.
    let _ = match item {
        // The whole picture has its words already.
        Item::Begin(_) | Item::End => Ok(()),
        Item::Line {
            points,
            ink,
            width,
            dashed,
        } => {
            let dash = if *dashed {
                " stroke-dasharray=\"3 2\""
            } else {
                ""
            };
            write!(
                out,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width:.2}\"{dash}/>",
                list(points),
                colour(*ink)
            )
        }
        Item::Shape { points, ink } => write!(
            out,
            "<polygon points=\"{}\" fill=\"{}\"/>",
            list(points),
            colour(*ink)
        ),
        Item::Image { at, size, raster } => write!(
            out,
            "<image x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" href=\"data:image/png;base64,{}\"/>",
            at.0,
            at.1,
            size.0,
            size.1,
            BASE64_STANDARD.encode(raster.png())
        ),
        Item::Vector { at, size, vector } => write!(
            out,
            "<image x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{:.1}\" href=\"data:image/svg+xml;base64,{}\"/>",
            at.0,
            at.1,
            size.0,
            size.1,
            BASE64_STANDARD.encode(vector.text())
        ),
        Item::Text(drawn) => {
            let anchor = match drawn.anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            let weight = if drawn.bold {
                " font-weight=\"bold\""
            } else {
                ""
            };
            write!(
                out,
                "<text x=\"{:.2}\" y=\"{:.2}\" font-size=\"{}\" text-anchor=\"{anchor}\" fill=\"{}\"{weight}>{}</text>",
                drawn.at.0,
                drawn.at.1,
                drawn.size,
                colour(drawn.ink),
                escape(&drawn.text)
            )
        }
    };
}

fn list(points: &[(f64, f64)]) -> String {
    let points: Vec<String> = points
        .iter()
        .map(|p| format!("{:.2},{:.2}", p.0, p.1))
        .collect();
    points.join(" ")
}

fn colour([red, green, blue]: Ink) -> String {
    format!("#{red:02x}{green:02x}{blue:02x}")
}
