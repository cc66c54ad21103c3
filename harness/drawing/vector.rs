//! A picture of lines and areas with the file that it came from: SVG 2 as far as paper
//! shows it, read whole, so that whoever draws it cannot fail. It renders nothing.

use std::fmt;
use std::sync::Arc;
use usvg::roxmltree::{self, Document, Node};
use usvg::{BlendMode, Group, Options, Tree};

/// Elements and texts of a file at most: a logo has far fewer.
const MOST_NODES: u32 = 100_000;
/// Elements within each other at most.
const DEEPEST: usize = 128;

/// Elements that paper does not show, with what to do about each.
const NOT_DRAWN: [(&str, &str); 7] = [
    ("text", "turn the letters into paths"),
    ("image", "use a PNG for the whole logo"),
    ("foreignObject", "draw it with paths"),
    ("filter", "leave the effect out"),
    ("mask", "cut with a clip path"),
    ("pattern", "fill with a colour or a gradient"),
    ("script", "leave it out"),
];

/// An SVG that can be drawn.
#[derive(Clone)]
pub struct Vector {
    text: Arc<str>,
    tree: Arc<Tree>,
}

/// What keeps an SVG from being drawn, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {what}")]
pub struct NotDrawn {
    /// Line, the first is 1.
    pub line: u32,
    /// Column, the first is 1.
    pub column: u32,
    /// What is wrong there, and what to do.
    pub what: String,
}

impl Vector {
    /// Reads the text of an SVG.
    ///
    /// # Errors
    /// The first place that is no SVG, or that could not be drawn as it is meant.
    pub fn new(text: &str) -> Result<Self, NotDrawn> {
        let options = roxmltree::ParsingOptions {
            // Drawing programs write one.
            allow_dtd: true,
            nodes_limit: MOST_NODES,
            ..Default::default()
        };
        let document = Document::parse_with_options(text, options).map_err(|fault| {
            let place = fault.pos();
            NotDrawn {
                line: place.row,
                column: place.col,
                what: format!("this is no sound SVG: {fault}"),
            }
        })?;
        let root = document.root_element();
        let at = |node: Node<'_, '_>, what: String| {
            let place = document.text_pos_at(node.range().start);
            NotDrawn {
                line: place.row,
                column: place.col,
                what,
            }
        };
        let not_drawn = document
            .descendants()
            .find_map(|node| Some((node, why(node)?)));
        if let Some((node, why)) = not_drawn {
            return Err(at(node, why));
        }
        let tree = Tree::from_xmltree(&document, &Options::default());
        let tree =
            tree.map_err(|fault| at(root, format!("this is no SVG that can be drawn: {fault}")))?;
        if !tree.root().has_children() {
            return Err(at(root, "nothing in this SVG is visible".to_owned()));
        }
        if mixes(tree.root()) {
            let node = document.descendants().find(|node| says_how_to_mix(*node));
            let what = "paper mixes no colours (mix-blend-mode): leave it out".to_owned();
            return Err(at(node.unwrap_or(root), what));
        }
        Ok(Self {
            text: text.into(),
            tree: Arc::new(tree),
        })
    }

    /// The text of its file.
    pub(crate) fn text(&self) -> &str {
        &self.text
    }

    /// What it consists of.
    pub(super) fn tree(&self) -> &Tree {
        &self.tree
    }

    /// As large as it fits into `room`, its shape kept.
    pub(crate) fn fitted(&self, room: (f64, f64)) -> (f64, f64) {
        let size = self.tree.size();
        let (width, height) = (f64::from(size.width()), f64::from(size.height()));
        let factor = (room.0 / width).min(room.1 / height);
        (width * factor, height * factor)
    }
}

/// Why this node cannot be drawn as it is meant; nothing where it can.
fn why(node: Node<'_, '_>) -> Option<String> {
    if !node.is_element() {
        return None;
    }
    if node.ancestors().filter(Node::is_element).count() > DEEPEST {
        return Some(format!(
            "more than {DEEPEST} elements stand within each other here"
        ));
    }
    let name = node.tag_name().name();
    let known = NOT_DRAWN.iter().find(|(other, _)| *other == name);
    if let Some((_, instead)) = known {
        return Some(format!("paper shows no <{name}> of an SVG: {instead}"));
    }
    None
}

/// Whether a colour of this group or of one in it is mixed with what lies under it.
fn mixes(group: &Group) -> bool {
    group.blend_mode() != BlendMode::Normal
        || group.children().iter().any(|node| match node {
            usvg::Node::Group(group) => mixes(group),
            _ => false,
        })
}

/// Whether this element itself says how to mix its colours; a style sheet may say it too.
fn says_how_to_mix(node: Node<'_, '_>) -> bool {
    node.attributes().any(|attribute| {
        let (key, value) = (attribute.name(), attribute.value());
        let unusual = |value: &str| !value.trim_start_matches([' ', ':']).starts_with("normal");
        match key {
            "mix-blend-mode" => unusual(value),
            "style" => value.split("mix-blend-mode").skip(1).any(unusual),
            _ => false,
        }
    })
}

impl PartialEq for Vector {
    fn eq(&self, other: &Self) -> bool {
        self.text == other.text
    }
}

impl Eq for Vector {}

impl fmt::Debug for Vector {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.tree.size();
        write!(f, "Vector({} x {})", size.width(), size.height())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn svg(inside: &str) -> String {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 40 10\">\n  {inside}\n</svg>\n"
        )
    }

    #[test]
    fn it_keeps_its_shape() {
        let vector = Vector::new(&svg("<circle cx=\"5\" cy=\"5\" r=\"4\"/>")).expect("an SVG");
        assert_eq!(vector.fitted((100.0, 50.0)), (100.0, 25.0));
        assert_eq!(vector.fitted((100.0, 10.0)), (40.0, 10.0));
    }

    #[test]
    fn what_cannot_be_drawn_is_named_at_its_place() {
        let deep = "<g>".repeat(200) + "<path d=\"M0 0H9V9z\"/>" + &"</g>".repeat(200);
        for (inside, line, column, what) in [
            ("<text>ABC</text>", 2, 3, "letters into paths"),
            ("<g><image href=\"a.png\"/></g>", 2, 6, "PNG for the whole"),
            (
                "<path d=\"M0 0H9V9z\" style=\"mix-blend-mode:multiply\"/>",
                2,
                3,
                "mix-blend-mode",
            ),
            (
                "<style>.m{mix-blend-mode:multiply}</style><path class=\"m\" d=\"M0 0H9V9z\"/>",
                1,
                1,
                "mix-blend-mode",
            ),
            ("<defs><mask id=\"m\"/></defs>", 2, 9, "clip path"),
            ("<path d=\"M0 0\"", 3, 1, "no sound SVG"),
            ("", 1, 1, "nothing in this SVG is visible"),
            (deep.as_str(), 2, 384, "within each other"),
        ] {
            let found = Vector::new(&svg(inside)).expect_err(inside);
            assert_eq!(
                (found.line, found.column),
                (line, column),
                "{inside}: {found}"
            );
            assert!(found.what.contains(what), "{inside}: {found}");
        }
        for text in [
            "",
            "<html/>",
            "no markup",
            "<svg xmlns=\"http://www.w3.org/2000/svg\"/>",
        ] {
            let found = Vector::new(text).expect_err(text);
            assert_eq!(found.line, 1, "{text}: {found}");
        }
    }

    #[test]
    fn what_only_states_the_usual_is_drawn() {
        // Drawing programs write these; SVG 2 and CSS Compositing 1 say "normal" is the
        // value where nothing is said.
        for style in ["mix-blend-mode:normal", "fill:#000;mix-blend-mode : normal"] {
            let path = format!("<g style=\"{style}\"><path d=\"M0 0H9V9z\"/></g>");
            assert!(Vector::new(&svg(&path)).is_ok(), "{style}");
        }
    }

    #[test]
    fn no_file_makes_it_swell_or_break() {
        // Entities that grow by tens (CWE-776), and elements that use themselves.
        let mut swells = "<!DOCTYPE svg [<!ENTITY a0 \"xxxxxxxxxx\">".to_owned();
        for n in 1..12 {
            let last = format!("&a{};", n - 1).repeat(10);
            swells.push_str(&format!("<!ENTITY a{n} \"{last}\">"));
        }
        swells.push_str("]><svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9\" height=\"9\"><title>&a11;</title></svg>");
        assert!(Vector::new(&swells).is_err());
        let turns = svg("<g id=\"a\"><use href=\"#b\"/></g><g id=\"b\"><use href=\"#a\"/></g>");
        assert!(Vector::new(&turns).is_err());
        let nested = "<g>".repeat(50_000) + &"</g>".repeat(50_000);
        assert!(Vector::new(&svg(&nested)).is_err());
        let whole = svg("<path fill=\"url(#g)\" d=\"M0 0H9V9z\"/><linearGradient id=\"g\"/>");
        for length in 0..whole.len() {
            // Whatever is cut off, it ends.
            let _ = Vector::new(&whole[..length]);
        }
    }
}
