//! Lines, rectangles and text on a plane, y downwards, in points. A drawing
//! knows neither SVG nor PDF; both renderers draw exactly these.

pub(crate) mod axes;
mod outlines;
pub(crate) mod pdf;
pub mod plain;
pub mod raster;
pub(crate) mod svg;
mod tags;
#[cfg(test)]
pub(crate) mod tests;
pub(crate) mod typeface;
pub mod vector;

use self::raster::Raster;
use self::vector::Vector;
use crate::units::typeset;

/// Red, green, blue.
pub(crate) type Ink = [u8; 3];

pub(crate) const BLACK: Ink = [17, 17, 17];
pub(crate) const GREY: Ink = [95, 95, 95];
pub(crate) const PALE: Ink = [205, 205, 205];
pub(crate) const TINT: Ink = [243, 243, 243];
pub(crate) const WHITE: Ink = [255, 255, 255];

/// Which side of its place a text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// What a stretch of a drawing is to somebody who cannot see it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// A heading: 1 is the document's, 2 a section's.
    Heading(u16),
    Paragraph,
    /// Rows only.
    Table,
    /// Header cells and cells only.
    Row,
    Header,
    Cell,
    /// A picture and the words that stand for it.
    Figure(String),
}

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Item {
    /// What follows, until the matching end, plays this role. What stands
    /// outside every role is ornament.
    Begin(Role),
    End,
    Line {
        points: Vec<(f64, f64)>,
        ink: Ink,
        width: f64,
        dashed: bool,
    },
    /// A filled outline.
    Shape {
        points: Vec<(f64, f64)>,
        ink: Ink,
    },
    Text(Text),
    /// An image in a rectangle, given by its corner and its size.
    Image {
        at: (f64, f64),
        size: (f64, f64),
        raster: Raster,
    },
    /// The same of lines and areas.
    Vector {
        at: (f64, f64),
        size: (f64, f64),
        vector: Vector,
    },
}

/// Words on one line.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Text {
    pub(crate) at: (f64, f64),
    pub(crate) size: f64,
    pub(crate) bold: bool,
    pub(crate) anchor: Anchor,
    pub(crate) ink: Ink,
    pub(crate) text: String,
}

/// A drawing with the words that stand for it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Picture {
    pub(crate) drawing: Drawing,
    pub(crate) words: String,
}

/// A drawing with its size.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Drawing {
    pub(crate) width: f64,
    pub(crate) height: f64,
    pub(crate) items: Vec<Item>,
}

impl Drawing {
    pub(crate) fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            items: Vec::new(),
        }
    }

    pub(crate) fn line(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        self.items.push(Item::Line {
            points: points.to_vec(),
            ink,
            width,
            dashed: false,
        });
    }

    pub(crate) fn dashed(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        self.items.push(Item::Line {
            points: points.to_vec(),
            ink,
            width,
            dashed: true,
        });
    }

    pub(crate) fn shape(&mut self, points: &[(f64, f64)], ink: Ink) {
        self.items.push(Item::Shape {
            points: points.to_vec(),
            ink,
        });
    }

    /// A filled rectangle.
    pub(crate) fn block(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), ink: Ink) {
        self.shape(
            &[
                (x, y),
                (x + width, y),
                (x + width, y + height),
                (x, y + height),
            ],
            ink,
        );
    }

    /// The outline of a rectangle.
    pub(crate) fn frame(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), ink: Ink, width: f64) {
        let corners = [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)];
        self.line(&corners, ink, width);
    }

    /// A filled diamond around a place.
    pub(crate) fn diamond(&mut self, (x, y): (f64, f64), half: f64) {
        let corners = [(x, y - half), (x + half, y), (x, y + half), (x - half, y)];
        self.shape(&corners, BLACK);
    }

    /// A filled square around a place.
    pub(crate) fn square(&mut self, (x, y): (f64, f64), half: f64, ink: Ink) {
        self.block((x - half, y - half), (2.0 * half, 2.0 * half), ink);
    }

    /// The outline of a square around a place.
    pub(crate) fn hollow(&mut self, (x, y): (f64, f64), half: f64, width: f64) {
        let corner = (x - half, y - half);
        self.frame(corner, (2.0 * half, 2.0 * half), BLACK, width);
    }

    /// A dot of eight corners.
    pub(crate) fn dot(&mut self, (x, y): (f64, f64), hollow: bool) {
        let ring = |radius: f64| -> Vec<(f64, f64)> {
            let corner = |index: u32| {
                let angle = std::f64::consts::TAU * (f64::from(index) + 0.5) / 8.0;
                (x + radius * libm::cos(angle), y + radius * libm::sin(angle))
            };
            (0..8).map(corner).collect()
        };
        self.shape(&ring(1.9), BLACK);
        if hollow {
            self.shape(&ring(1.15), WHITE);
        }
    }

    pub(crate) fn text(&mut self, at: (f64, f64), size: f64, text: impl Into<String>) {
        self.write(at, size, false, Anchor::Start, BLACK, text);
    }

    pub(crate) fn write(
        &mut self,
        at: (f64, f64),
        size: f64,
        bold: bool,
        anchor: Anchor,
        ink: Ink,
        text: impl Into<String>,
    ) {
        self.items.push(Item::Text(Text {
            at,
            size,
            bold,
            anchor,
            ink,
            text: typeset(&text.into()).into_owned(),
        }));
    }

    /// Draws something that plays a role.
    pub(crate) fn as_role<R>(&mut self, role: Role, draw: impl FnOnce(&mut Self) -> R) -> R {
        self.items.push(Item::Begin(role));
        let drawn = draw(self);
        self.items.push(Item::End);
        drawn
    }

    /// The same drawing, so many times as large.
    pub(crate) fn scaled(&self, factor: f64) -> Self {
        let larger = |points: &mut Vec<(f64, f64)>| {
            for point in points {
                *point = (point.0 * factor, point.1 * factor);
            }
        };
        let mut drawing = self.clone();
        (drawing.width, drawing.height) = (self.width * factor, self.height * factor);
        for item in &mut drawing.items {
            match item {
                Item::Line { points, width, .. } => {
                    larger(points);
                    *width *= factor;
                }
                Item::Shape { points, .. } => larger(points),
                Item::Text(text) => {
                    text.at = (text.at.0 * factor, text.at.1 * factor);
                    text.size *= factor;
                }
                Item::Image { at, size, .. } | Item::Vector { at, size, .. } => {
                    *at = (at.0 * factor, at.1 * factor);
                    *size = (size.0 * factor, size.1 * factor);
                }
                Item::Begin(_) | Item::End => {}
            }
        }
        drawing
    }

    /// Puts another drawing with its corner at `(x, y)`.
    pub(crate) fn place(&mut self, other: &Self, (x, y): (f64, f64)) {
        let moved = |points: &[(f64, f64)]| points.iter().map(|p| (p.0 + x, p.1 + y)).collect();
        for item in &other.items {
            let mut item = item.clone();
            match &mut item {
                Item::Line { points, .. } | Item::Shape { points, .. } => *points = moved(points),
                Item::Text(Text { at, .. }) | Item::Image { at, .. } | Item::Vector { at, .. } => {
                    *at = (at.0 + x, at.1 + y);
                }
                Item::Begin(_) | Item::End => {}
            }
            self.items.push(item);
        }
    }
}
