//! A picture of lines and areas onto a page of PDF, its curves as curves. It decides
//! nothing about what can be drawn: the reader did.

use super::vector::Vector;
use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{
    Fill, FillRule, LineCap, LineJoin, LinearGradient, Paint, RadialGradient, SpreadMethod, Stop,
    Stroke, StrokeDash,
};
use krilla::surface::Surface;
use usvg::tiny_skia_path::{self, PathSegment};
use usvg::{ClipPath, Group, Node, Opacity};

/// Draws it with its corner at `at`, as large as `size`.
pub(super) fn draw(surface: &mut Surface<'_>, vector: &Vector, at: (f64, f64), size: (f64, f64)) {
    let tree = vector.tree();
    let (wide, high) = (tree.size().width(), tree.size().height());
    let scale = (size.0 as f32 / wide, size.1 as f32 / high);
    let place = Transform::from_row(scale.0, 0.0, 0.0, scale.1, at.0 as f32, at.1 as f32);
    surface.push_transform(&place);
    // What lies outside of the picture is not shown (SVG 2, 8.2).
    let mut frame = PathBuilder::new();
    frame.move_to(0.0, 0.0);
    frame.line_to(wide, 0.0);
    frame.line_to(wide, high);
    frame.line_to(0.0, high);
    frame.close();
    if let Some(frame) = frame.finish() {
        surface.push_clip_path(&frame, &FillRule::NonZero);
        group(surface, tree.root());
        surface.pop();
    }
    surface.pop();
}

fn group(surface: &mut Surface<'_>, drawn: &Group) {
    surface.push_transform(&turned(drawn.transform()));
    let mut pushed = 1;
    if let Some(clip) = drawn.clip_path() {
        pushed += cut(surface, clip);
    }
    if drawn.opacity() != Opacity::ONE {
        surface.push_opacity(part(drawn.opacity()));
        surface.push_isolated();
        pushed += 2;
    }
    for node in drawn.children() {
        match node {
            Node::Group(inner) => group(surface, inner),
            Node::Path(path) if path.is_visible() => outline(surface, path),
            // The reader lets none of these through.
            Node::Path(_) | Node::Image(_) | Node::Text(_) => {}
        }
    }
    for _ in 0..pushed {
        surface.pop();
    }
}

/// Cuts what follows to a clip path; how many states that pushed.
fn cut(surface: &mut Surface<'_>, clip: &ClipPath) -> usize {
    let outer = clip.clip_path().map_or(0, |outer| cut(surface, outer));
    let mut builder = PathBuilder::new();
    // Without any shape in it nothing is shown (CSS Masking 1, 6).
    builder.move_to(0.0, 0.0);
    builder.line_to(0.0, 0.0);
    builder.close();
    let mut rule = FillRule::NonZero;
    gathered(&mut builder, &mut rule, clip.root(), clip.transform());
    let Some(path) = builder.finish() else {
        return outer;
    };
    surface.push_clip_path(&path, &rule);
    outer + 1
}

/// The shapes of a clip path as one.
fn gathered(
    builder: &mut PathBuilder,
    rule: &mut FillRule,
    from: &Group,
    above: tiny_skia_path::Transform,
) {
    let above = above.pre_concat(from.transform());
    for node in from.children() {
        match node {
            Node::Group(inner) => gathered(builder, rule, inner, above),
            Node::Path(path) => {
                *rule = path.fill().map_or(*rule, |fill| filled_by(fill.rule()));
                if let Some(moved) = path.data().clone().transform(above) {
                    segments(builder, &moved);
                }
            }
            Node::Image(_) | Node::Text(_) => {}
        }
    }
}

fn outline(surface: &mut Surface<'_>, path: &usvg::Path) {
    let mut builder = PathBuilder::new();
    segments(&mut builder, path.data());
    let Some(data) = builder.finish() else {
        return;
    };
    let (fill, stroke) = (path.fill().and_then(area), path.stroke().and_then(line));
    match path.paint_order() {
        usvg::PaintOrder::FillAndStroke => onto(surface, &data, fill, stroke),
        usvg::PaintOrder::StrokeAndFill => {
            onto(surface, &data, None, stroke);
            onto(surface, &data, fill, None);
        }
    }
}

fn onto(surface: &mut Surface<'_>, data: &Path, fill: Option<Fill>, stroke: Option<Stroke>) {
    // With neither, a surface fills with black.
    if fill.is_some() || stroke.is_some() {
        surface.set_fill(fill);
        surface.set_stroke(stroke);
        surface.draw_path(data);
    }
}

fn segments(builder: &mut PathBuilder, path: &tiny_skia_path::Path) {
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(p) => builder.move_to(p.x, p.y),
            PathSegment::LineTo(p) => builder.line_to(p.x, p.y),
            PathSegment::QuadTo(a, p) => builder.quad_to(a.x, a.y, p.x, p.y),
            PathSegment::CubicTo(a, b, p) => builder.cubic_to(a.x, a.y, b.x, b.y, p.x, p.y),
            PathSegment::Close => builder.close(),
        }
    }
}

fn area(fill: &usvg::Fill) -> Option<Fill> {
    Some(Fill {
        paint: paint(fill.paint())?,
        opacity: part(fill.opacity()),
        rule: filled_by(fill.rule()),
    })
}

fn line(stroke: &usvg::Stroke) -> Option<Stroke> {
    Some(Stroke {
        paint: paint(stroke.paint())?,
        width: stroke.width().get(),
        miter_limit: stroke.miterlimit().get(),
        line_cap: match stroke.linecap() {
            usvg::LineCap::Butt => LineCap::Butt,
            usvg::LineCap::Round => LineCap::Round,
            usvg::LineCap::Square => LineCap::Square,
        },
        line_join: match stroke.linejoin() {
            usvg::LineJoin::Miter | usvg::LineJoin::MiterClip => LineJoin::Miter,
            usvg::LineJoin::Round => LineJoin::Round,
            usvg::LineJoin::Bevel => LineJoin::Bevel,
        },
        opacity: part(stroke.opacity()),
        dash: stroke.dasharray().map(|array| StrokeDash {
            array: array.to_vec(),
            offset: stroke.dashoffset(),
        }),
    })
}

/// Nothing for a pattern, of which the reader lets none through.
fn paint(paint: &usvg::Paint) -> Option<Paint> {
    Some(match paint {
        usvg::Paint::Color(c) => rgb::Color::new(c.red, c.green, c.blue).into(),
        usvg::Paint::LinearGradient(found) => LinearGradient {
            x1: found.x1(),
            y1: found.y1(),
            x2: found.x2(),
            y2: found.y2(),
            transform: turned(found.transform()),
            spread_method: spread(found.spread_method()),
            stops: found.stops().iter().map(stop).collect(),
            anti_alias: false,
        }
        .into(),
        usvg::Paint::RadialGradient(found) => RadialGradient {
            cx: found.cx(),
            cy: found.cy(),
            cr: found.r().get(),
            fx: found.fx(),
            fy: found.fy(),
            fr: 0.0,
            transform: turned(found.transform()),
            spread_method: spread(found.spread_method()),
            stops: found.stops().iter().map(stop).collect(),
            anti_alias: false,
        }
        .into(),
        usvg::Paint::Pattern(_) => return None,
    })
}

fn stop(stop: &usvg::Stop) -> Stop {
    let colour = stop.color();
    Stop {
        offset: part(stop.offset()),
        color: rgb::Color::new(colour.red, colour.green, colour.blue).into(),
        opacity: part(stop.opacity()),
    }
}

const fn spread(method: usvg::SpreadMethod) -> SpreadMethod {
    match method {
        usvg::SpreadMethod::Pad => SpreadMethod::Pad,
        usvg::SpreadMethod::Reflect => SpreadMethod::Reflect,
        usvg::SpreadMethod::Repeat => SpreadMethod::Repeat,
    }
}

const fn filled_by(rule: usvg::FillRule) -> FillRule {
    match rule {
        usvg::FillRule::NonZero => FillRule::NonZero,
        usvg::FillRule::EvenOdd => FillRule::EvenOdd,
    }
}

/// A number from 0 to 1, which the reader's type promises.
fn part(found: usvg::NormalizedF32) -> NormalizedF32 {
    NormalizedF32::new(found.get()).unwrap_or(NormalizedF32::ONE)
}

fn turned(t: tiny_skia_path::Transform) -> Transform {
    Transform::from_row(t.sx, t.ky, t.kx, t.sy, t.tx, t.ty)
}
