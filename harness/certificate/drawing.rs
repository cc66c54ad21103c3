//! Lines, rectangles and text on a plane, y downwards, in points. A drawing
//! knows neither SVG nor PDF; both renderers draw exactly these.

/// Red, green, blue.
pub(super) type Ink = [u8; 3];

pub(super) const BLACK: Ink = [17, 17, 17];
pub(super) const GREY: Ink = [95, 95, 95];
pub(super) const PALE: Ink = [205, 205, 205];
pub(super) const TINT: Ink = [243, 243, 243];
pub(super) const WHITE: Ink = [255, 255, 255];

/// Which side of its place a text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Item {
    Line {
        points: Vec<(f64, f64)>,
        ink: Ink,
        width: f64,
        dashed: bool,
    },
    /// A filled outline.
    Shape { points: Vec<(f64, f64)>, ink: Ink },
    Text {
        at: (f64, f64),
        size: f64,
        bold: bool,
        anchor: Anchor,
        ink: Ink,
        text: String,
    },
}

/// A drawing with its size.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Drawing {
    pub(super) width: f64,
    pub(super) height: f64,
    pub(super) items: Vec<Item>,
}

impl Drawing {
    pub(super) fn new(width: f64, height: f64) -> Self {
        Self {
            width,
            height,
            items: Vec::new(),
        }
    }

    pub(super) fn line(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        self.items.push(Item::Line {
            points: points.to_vec(),
            ink,
            width,
            dashed: false,
        });
    }

    pub(super) fn dashed(&mut self, points: &[(f64, f64)], ink: Ink, width: f64) {
        self.items.push(Item::Line {
            points: points.to_vec(),
            ink,
            width,
            dashed: true,
        });
    }

    pub(super) fn shape(&mut self, points: &[(f64, f64)], ink: Ink) {
        self.items.push(Item::Shape {
            points: points.to_vec(),
            ink,
        });
    }

    /// A filled rectangle.
    pub(super) fn block(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), ink: Ink) {
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
    pub(super) fn frame(&mut self, (x, y): (f64, f64), (w, h): (f64, f64), ink: Ink, width: f64) {
        let corners = [(x, y), (x + w, y), (x + w, y + h), (x, y + h), (x, y)];
        self.line(&corners, ink, width);
    }

    pub(super) fn text(&mut self, at: (f64, f64), size: f64, text: impl Into<String>) {
        self.write(at, size, false, Anchor::Start, BLACK, text);
    }

    pub(super) fn write(
        &mut self,
        at: (f64, f64),
        size: f64,
        bold: bool,
        anchor: Anchor,
        ink: Ink,
        text: impl Into<String>,
    ) {
        self.items.push(Item::Text {
            at,
            size,
            bold,
            anchor,
            ink,
            text: text.into(),
        });
    }

    /// Puts another drawing with its corner at `(x, y)`.
    pub(super) fn place(&mut self, other: &Self, (x, y): (f64, f64)) {
        let moved = |points: &[(f64, f64)]| points.iter().map(|p| (p.0 + x, p.1 + y)).collect();
        for item in &other.items {
            let mut item = item.clone();
            match &mut item {
                Item::Line { points, .. } | Item::Shape { points, .. } => *points = moved(points),
                Item::Text { at, .. } => *at = (at.0 + x, at.1 + y),
            }
            self.items.push(item);
        }
    }
}
