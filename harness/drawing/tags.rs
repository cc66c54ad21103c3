//! The logical structure of a PDF (ISO 32000-1, 14.7 and 14.8): which role each
//! stretch of a page plays, gathered while the pages are drawn, and an outline
//! of the headings. It draws nothing.

use super::{Item, Role};
use krilla::destination::XyzDestination;
use krilla::geom::Point;
use krilla::outline::{Outline, OutlineNode};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Node, SpanTag, TableHeaderScope, Tag, TagGroup, TagKind,
    TagTree,
};
use std::num::NonZeroU16;

/// The structure so far.
#[derive(Default)]
pub(super) struct Tags {
    done: Vec<Node>,
    /// Roles that have begun, the innermost last.
    open: Vec<(Role, TagGroup)>,
    /// Whether the surface gathers content for the innermost role.
    gathering: bool,
    /// Text and place of each heading.
    headings: Vec<(String, usize, Point)>,
}

impl Tags {
    pub(super) fn begin(&mut self, surface: &mut Surface<'_>, role: &Role) {
        self.rest(surface);
        self.open.push((role.clone(), TagGroup::new(kind(role))));
    }

    pub(super) fn end(&mut self, surface: &mut Surface<'_>) {
        self.rest(surface);
        let Some((_, group)) = self.open.pop() else {
            return;
        };
        match self.open.last_mut() {
            Some((_, parent)) => parent.push(group),
            None => self.done.push(group.into()),
        }
    }

    /// Prepares for an item that is drawn next on that page.
    pub(super) fn draw(&mut self, surface: &mut Surface<'_>, page: usize, item: &Item) {
        if let (Some((Role::Heading(_), _)), Item::Text(drawn)) = (self.open.last(), item) {
            let place = Point::from_xy(drawn.at.0 as f32, (drawn.at.1 - drawn.size) as f32);
            self.headings.push((drawn.text.clone(), page, place));
        }
        if self.gathering {
            return;
        }
        self.gathering = true;
        let ornament = ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout));
        match self.open.last_mut() {
            None => {
                surface.start_tagged(ornament);
            }
            Some((Role::Figure(_), group)) => group.push(surface.start_tagged(ContentTag::Other)),
            Some((_, group)) => {
                group.push(surface.start_tagged(ContentTag::Span(SpanTag::empty())));
            }
        }
    }

    /// No role goes on over a page's end.
    pub(super) fn end_page(&mut self, surface: &mut Surface<'_>) {
        while !self.open.is_empty() {
            self.end(surface);
        }
        self.rest(surface);
    }

    fn rest(&mut self, surface: &mut Surface<'_>) {
        if self.gathering {
            surface.end_tagged();
            self.gathering = false;
        }
    }

    pub(super) fn finish(self) -> (TagTree, Outline) {
        let mut tree = TagTree::new().with_lang(Some("en".to_owned()));
        for node in self.done {
            tree.push(node);
        }
        let mut outline = Outline::new();
        for (text, page, place) in self.headings {
            outline.push_child(OutlineNode::new(text, XyzDestination::new(page, place)));
        }
        (tree, outline)
    }
}

fn kind(role: &Role) -> TagKind {
    match role {
        Role::Heading(level) => {
            let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
            Tag::Hn(level, None).into()
        }
        Role::Paragraph => Tag::P.into(),
        Role::Table => Tag::Table.into(),
        Role::Row => Tag::TR.into(),
        Role::Header => Tag::TH(TableHeaderScope::Column).into(),
        Role::Cell => Tag::TD.into(),
        Role::Figure(words) => Tag::Figure(Some(words.clone())).into(),
    }
}
