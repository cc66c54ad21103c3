//! TOML text as a tree whose every node knows its place, and the laying of one
//! tree over another. It knows no key.

use super::{Fault, Faults, Place, Source};
use std::ops::Range;
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A key with its value.
#[derive(Clone, Debug)]
pub struct Entry {
    /// The key.
    pub key: String,
    /// Where the key stands.
    pub key_place: Place,
    /// Its value.
    pub node: Node,
}

/// A value and where it stands; a table stands at its header.
#[derive(Clone, Debug)]
pub struct Node {
    /// Where.
    pub place: Place,
    /// What.
    pub kind: Kind,
}

/// What a value is.
#[derive(Clone, Debug)]
pub enum Kind {
    /// A string.
    String(String),
    /// A whole number; `None` beyond 64 bits.
    Integer(Option<i64>),
    /// Another number; it may be infinite or not a number.
    Float(f64),
    /// True or false.
    Boolean(bool),
    /// A date or time, as written.
    Date(String),
    /// A list.
    Array(Vec<Node>),
    /// A table, its keys in the order in which they were written.
    Table(Vec<Entry>),
}

impl Kind {
    /// What it is called in a sentence.
    pub const fn noun(&self) -> &'static str {
        match self {
            Self::String(_) => "a string",
            Self::Integer(_) => "a whole number",
            Self::Float(_) => "a number",
            Self::Boolean(_) => "true or false",
            Self::Date(_) => "a date",
            Self::Array(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// A whole file.
#[derive(Clone, Debug)]
pub struct Tree {
    /// The table of everything.
    pub root: Node,
}

impl Tree {
    /// Reads `source`. A text that is no TOML gives its syntax faults alone:
    /// what it fails to say then would only be noise. A key written twice is
    /// reported and the first one kept.
    pub fn read(source: &Source, faults: &mut Faults) -> Option<Self> {
        let source = Arc::new(source.clone());
        if let Some(fault) = refused_outright(&source) {
            faults.push(fault);
            return None;
        }
        let (table, errors) = DeTable::parse_recoverable(&source.text);
        let mut readable = true;
        let mut last_line = 0;
        for error in &errors {
            let span = error.span().unwrap_or(0..0);
            let place = Place::new(&source, span);
            if error.message() == "duplicate key" {
                faults.push(
                    Fault::error(&place, "this key is written twice in one table")
                        .hint("keep one of them"),
                );
                continue;
            }
            readable = false;
            // One slip often breaks the rest of its line: say it once.
            let line = place.line_and_column().0;
            if line != last_line {
                faults.push(syntax_fault(&place, error.message()));
            }
            last_line = line;
        }
        readable.then(|| Self {
            root: Node {
                place: Place::new(&source, 0..0),
                kind: Kind::Table(entries(&source, table.get_ref())),
            },
        })
    }

    /// Lays `over` on top of this tree: tables are merged key by key, every
    /// other value is replaced, and tables in the lists named by `lists` are
    /// matched by their `name`, else by their `kind`; new ones come last.
    #[must_use]
    pub fn overlaid(self, over: Self, lists: &[&str]) -> Self {
        Self {
            root: overlaid(self.root, over.root, lists),
        }
    }
}

fn refused_outright(source: &Arc<Source>) -> Option<Fault> {
    let text = &source.text;
    let start = Place::new(source, 0..0);
    if text.starts_with('\u{feff}') {
        return Some(
            Fault::error(&start, "the file starts with a byte order mark")
                .expected("plain UTF-8 text")
                .hint("save it as UTF-8 without a mark"),
        );
    }
    let silent = text.lines().all(|line| {
        let line = line.trim();
        line.is_empty() || line.starts_with('#')
    });
    silent.then(|| {
        Fault::error(&start, "the file says nothing")
            .expected("a TOML file that begins with `format = 1`")
            .hint("is it the right file, and was it saved?")
    })
}

fn syntax_fault(place: &Place, message: &str) -> Fault {
    let (what, expected) = match message.split_once(", expected ") {
        Some((what, expected)) => (what, Some(expected)),
        None => (message, None),
    };
    let mut fault = Fault::error(place, format!("not TOML: {what}"));
    if place.span.start >= place.source.text.trim_end().len() {
        fault = fault.hint("the file ends here; was it saved whole?");
    }
    match expected {
        Some(expected) => fault.expected(expected),
        None => fault,
    }
}

fn entries(source: &Arc<Source>, table: &DeTable<'_>) -> Vec<Entry> {
    let mut entries: Vec<Entry> = table
        .iter()
        .map(|(key, value)| Entry {
            key: key.get_ref().to_string(),
            key_place: Place::new(source, key.span()),
            node: node(source, value),
        })
        .collect();
    entries.sort_by_key(|entry| entry.key_place.span.start);
    entries
}

/// The depth is bounded by the parser's own limit of 80.
fn node(source: &Arc<Source>, value: &Spanned<DeValue<'_>>) -> Node {
    let span: Range<usize> = value.span();
    let kind = match value.get_ref() {
        DeValue::String(text) => Kind::String(text.to_string()),
        DeValue::Integer(digits) => {
            Kind::Integer(i64::from_str_radix(digits.as_str(), digits.radix()).ok())
        }
        DeValue::Float(digits) => Kind::Float(digits.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(value) => Kind::Boolean(*value),
        DeValue::Datetime(date) => Kind::Date(date.to_string()),
        DeValue::Array(list) => Kind::Array(list.iter().map(|item| node(source, item)).collect()),
        DeValue::Table(table) => Kind::Table(entries(source, table)),
    };
    Node {
        place: Place::new(source, span),
        kind,
    }
}

fn overlaid(base: Node, over: Node, lists: &[&str]) -> Node {
    let (mut entries, new) = match (base.kind, over.kind) {
        (Kind::Table(entries), Kind::Table(new)) => (entries, new),
        (_, kind) => {
            return Node {
                place: over.place,
                kind,
            };
        }
    };
    for entry in new {
        let Some(old) = entries.iter_mut().find(|old| old.key == entry.key) else {
            entries.push(entry);
            continue;
        };
        let below = std::mem::replace(
            &mut old.node,
            Node {
                place: entry.node.place.clone(),
                kind: Kind::Boolean(false),
            },
        );
        old.node = if lists.contains(&old.key.as_str()) {
            merged_list(below, entry.node, lists)
        } else {
            overlaid(below, entry.node, lists)
        };
        old.key_place = entry.key_place;
    }
    Node {
        place: over.place,
        kind: Kind::Table(entries),
    }
}

fn merged_list(base: Node, over: Node, lists: &[&str]) -> Node {
    let (mut items, new) = match (base.kind, over.kind) {
        (Kind::Array(items), Kind::Array(new)) => (items, new),
        (_, kind) => {
            return Node {
                place: over.place,
                kind,
            };
        }
    };
    for item in new {
        let name = identity(&item);
        let found = items
            .iter()
            .position(|old| name.is_some() && identity(old) == name);
        match found {
            Some(at) => {
                let old = items[at].clone();
                items[at] = overlaid(old, item, lists);
            }
            None => items.push(item),
        }
    }
    Node {
        place: over.place,
        kind: Kind::Array(items),
    }
}

/// The `name`, else the `kind`, of a table in a list.
fn identity(node: &Node) -> Option<&str> {
    let Kind::Table(entries) = &node.kind else {
        return None;
    };
    let text = |key: &str| {
        entries
            .iter()
            .find(|entry| entry.key == key)
            .and_then(|entry| match &entry.node.kind {
                Kind::String(text) => Some(text.as_str()),
                _ => None,
            })
    };
    text("name").or_else(|| text("kind"))
}
