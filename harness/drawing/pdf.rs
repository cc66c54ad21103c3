//! Drawings as pages of a tagged PDF whose metadata are given, so that the same
//! input gives the same bytes. It lays nothing out.

use super::tags::Tags;
use super::typeface::face;
use super::{Anchor, Drawing, Ink, Item, Text, outlines};
use crate::drawing::plain::plain;
use jiff::Timestamp;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::metadata::{DateTime, Metadata};
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Document, SerializeSettings};

/// Why no PDF came out: a bug here, never the input.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the document cannot be written as PDF: {0}")]
pub struct PdfFault(pub String);

/// What a PDF says of itself.
pub(crate) struct About<'a> {
    pub(crate) title: String,
    /// The version of the program.
    pub(crate) version: &'a str,
    /// What tells this document from others.
    pub(crate) identity: &'a str,
    /// Written then: a time of the input, never of the clock.
    pub(crate) at: Timestamp,
}

pub(crate) fn write(about: &About<'_>, pages: &[Drawing]) -> Result<Vec<u8>, PdfFault> {
    let told = |what: &str| PdfFault(what.to_owned());
    let fonts = [false, true].map(|bold| Font::new(face(bold).bytes.into(), 0));
    let [Some(regular), Some(bold)] = fonts else {
        return Err(told("the embedded font cannot be read"));
    };
    let mut document = Document::new_with(SerializeSettings {
        enable_tagging: true,
        ..SerializeSettings::default()
    });
    document.set_metadata(metadata(about));
    let mut tags = Tags::default();
    for (number, drawing) in pages.iter().enumerate() {
        let settings = PageSettings::from_wh(drawing.width as f32, drawing.height as f32)
            .ok_or_else(|| told("the page has no size"))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for item in &drawing.items {
            match item {
                Item::Begin(role) => tags.begin(&mut surface, role),
                Item::End => tags.end(&mut surface),
                item => {
                    tags.draw(&mut surface, number, item);
                    draw(&mut surface, item, [&regular, &bold]);
                }
            }
        }
        tags.end_page(&mut surface);
        surface.finish();
        page.finish();
    }
    let (tree, outline) = tags.finish();
    document.set_tag_tree(tree);
    document.set_outline(outline);
    document
        .finish()
        .map_err(|fault| PdfFault(format!("{fault:?}")))
}

fn metadata(about: &About<'_>) -> Metadata {
    let part = |format: &str| -> u16 {
        let text = about.at.strftime(format).to_string();
        text.parse().unwrap_or(0)
    };
    let small = |format: &str| u8::try_from(part(format)).unwrap_or(0);
    let date = DateTime::new(part("%Y"))
        .month(small("%m"))
        .day(small("%d"))
        .hour(small("%H"))
        .minute(small("%M"))
        .second(small("%S"))
        .utc_offset_hour(0)
        .utc_offset_minute(0);
    Metadata::new()
        .title(about.title.clone())
        .creator(format!("bufferstop {}", plain(about.version)))
        .language("en".to_owned())
        .document_id(about.identity.to_owned())
        .creation_date(date)
}

fn draw(surface: &mut Surface<'_>, item: &Item, fonts: [&Font; 2]) {
    match item {
        Item::Begin(_) | Item::End => {}
        Item::Line {
            points,
            ink,
            width,
            dashed,
        } => {
            let Some(path) = path(points, false) else {
                return;
            };
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: colour(*ink).into(),
                width: *width as f32,
                dash: dashed.then(|| StrokeDash {
                    array: vec![3.0, 2.0],
                    offset: 0.0,
                }),
                ..Stroke::default()
            }));
            surface.draw_path(&path);
        }
        Item::Shape { points, ink } => {
            let Some(path) = path(points, true) else {
                return;
            };
            fill(surface, *ink);
            surface.draw_path(&path);
        }
        Item::Text(text) => write_text(surface, text, fonts),
        Item::Image { at, size, raster } => {
            let Some(room) = Size::from_wh(size.0 as f32, size.1 as f32) else {
                return;
            };
            let (width, height) = raster.pixels();
            let image = Image::from_rgba8(raster.rgba().to_vec(), width, height);
            surface.push_transform(&Transform::from_translate(at.0 as f32, at.1 as f32));
            surface.draw_image(image, room);
            surface.pop();
        }
        Item::Vector { at, size, vector } => outlines::draw(surface, vector, *at, *size),
    }
}

fn write_text(surface: &mut Surface<'_>, drawn: &Text, fonts: [&Font; 2]) {
    fill(surface, drawn.ink);
    let mut text = plain(&drawn.text);
    let face = face(drawn.bold);
    let width = || face.width(&text) * drawn.size;
    let left = match drawn.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => width() / 2.0,
        Anchor::End => width(),
    };
    if text.is_empty() {
        return;
    }
    // Readers join what is drawn in one role: words end with a space.
    text.push(' ');
    let glyphs: Vec<KrillaGlyph> = text
        .char_indices()
        .map(|(from, c)| {
            let (glyph, advance) = face.glyph(c);
            let range = from..from + c.len_utf8();
            let glyph = GlyphId::new(glyph);
            KrillaGlyph::new(glyph, advance as f32, 0.0, 0.0, 0.0, range, None)
        })
        .collect();
    let start = Point::from_xy((drawn.at.0 - left) as f32, drawn.at.1 as f32);
    let font = fonts[usize::from(drawn.bold)].clone();
    surface.draw_glyphs(start, &glyphs, font, &text, drawn.size as f32, false);
}

fn fill(surface: &mut Surface<'_>, ink: Ink) {
    surface.set_stroke(None);
    surface.set_fill(Some(Fill {
        paint: colour(ink).into(),
        ..Fill::default()
    }));
}

fn colour([red, green, blue]: Ink) -> rgb::Color {
    rgb::Color::new(red, green, blue)
}

fn path(points: &[(f64, f64)], closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for (index, point) in points.iter().enumerate() {
        let (x, y) = (point.0 as f32, point.1 as f32);
        if index == 0 {
            builder.move_to(x, y);
        } else {
            builder.line_to(x, y);
        }
    }
    if closed {
        builder.close();
    }
    builder.finish()
}
