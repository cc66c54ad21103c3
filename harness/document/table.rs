//! A table of a file as its reader sees it: values are taken by key and type,
//! faults and places are noted on the way, and what nobody took is a fault.

use super::{Demand, Entry, Fault, Kind, Node, Place, Reader, Tree, nearest};
use crate::units::{Dimension, Quantity, parse_si, show};
use std::cell::{Cell, RefCell};

/// A table being read. Values that cannot be had are noted as faults and come
/// back as `None`, so that reading goes on to the last key.
#[derive(Debug)]
pub struct Table<'a> {
    reader: &'a Reader,
    place: Place,
    path: String,
    entries: &'a [Entry],
    taken: Vec<Cell<bool>>,
    known: RefCell<Vec<String>>,
}

impl<'a> Table<'a> {
    /// The table of a whole file.
    pub fn of(tree: &'a Tree, reader: &'a Reader) -> Self {
        let entries: &[Entry] = match &tree.root.kind {
            Kind::Table(entries) => entries,
            _ => &[],
        };
        Self::new(reader, tree.root.place.clone(), String::new(), entries)
    }

    pub(super) fn new(
        reader: &'a Reader,
        place: Place,
        path: String,
        entries: &'a [Entry],
    ) -> Self {
        reader.places.borrow_mut().note(path.clone(), place.clone());
        Self {
            reader,
            place,
            path,
            entries,
            taken: vec![Cell::new(false); entries.len()],
            known: RefCell::default(),
        }
    }

    /// Where its header stands.
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// Its dotted path in the file.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The reader behind it.
    pub fn reader(&self) -> &'a Reader {
        self.reader
    }

    /// Whether `key` is written, taken or not.
    pub fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|entry| entry.key == key)
    }

    /// Where the value of `key` stands, or else the header.
    pub fn place_of(&self, key: &str) -> Place {
        self.entries
            .iter()
            .find(|entry| entry.key == key)
            .map_or_else(|| self.place.clone(), |entry| entry.node.place.clone())
    }

    /// Notes a fault.
    pub fn fault(&self, fault: Fault) {
        self.reader.fault(fault);
    }

    /// Checks `format = 1`.
    pub fn format(&self) {
        self.format_up_to(1);
    }

    /// Checks that `format` is from 1 to `newest`, and gives it; `newest` where
    /// it is missing or unknown, which is a fault.
    pub fn format_up_to(&self, newest: i64) -> i64 {
        let (place, message) = match self.take("format") {
            Some(node) => match node.kind {
                Kind::Integer(Some(format)) if (1..=newest).contains(&format) => return format,
                _ => (&node.place, "this format is not known here"),
            },
            None => (&self.place, "`format` is missing"),
        };
        let formats = match newest {
            1 => "`format = 1`".to_owned(),
            _ => format!("`format = {newest}`, or an older one from 1"),
        };
        self.fault(
            Fault::error(place, message)
                .expected(formats)
                .hint(format!("write `format = {newest}` at the top of the file")),
        );
        newest
    }

    /// Marks every key that is not taken yet as known and gives them out, for
    /// tables whose keys are names.
    pub fn rest(&self) -> Vec<&'a Entry> {
        let mut rest = Vec::new();
        for (entry, taken) in self.entries.iter().zip(&self.taken) {
            if !taken.replace(true) {
                rest.push(entry);
            }
        }
        rest
    }

    /// Takes the raw value of `key`.
    pub fn take(&self, key: &str) -> Option<&'a Node> {
        self.known.borrow_mut().push(key.to_owned());
        let index = self.entries.iter().position(|entry| entry.key == key)?;
        self.taken[index].set(true);
        let node = &self.entries[index].node;
        self.reader
            .places
            .borrow_mut()
            .note(self.path_of(key), node.place.clone());
        Some(node)
    }

    pub(super) fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    pub(super) fn required(&self, key: &str, expected: &str) -> Option<&'a Node> {
        let node = self.take(key);
        if node.is_none() {
            self.missing(key, expected);
        }
        node
    }

    /// Notes that `key` is missing.
    pub fn missing(&self, key: &str, expected: &str) {
        self.fault(Fault::error(&self.place, format!("`{key}` is missing")).expected(expected));
    }

    pub(super) fn wrong(&self, node: &Node, expected: &str) {
        self.fault(
            Fault::error(&node.place, format!("this is {}", node.kind.noun())).expected(expected),
        );
    }

    /// A required quantity.
    pub fn quantity<Q: Quantity>(&self, key: &str, demand: Demand) -> Option<Q> {
        let node = self.required(key, &quantity_example(Q::DIMENSION))?;
        self.quantity_in(node, demand)
    }

    /// A quantity that may be left out.
    pub fn optional_quantity<Q: Quantity>(&self, key: &str, demand: Demand) -> Option<Q> {
        self.quantity_in(self.take(key)?, demand)
    }

    /// A quantity with a default.
    pub fn quantity_or<Q: Quantity>(&self, key: &str, demand: Demand, default: Q) -> Q {
        self.optional_quantity(key, demand).unwrap_or(default)
    }

    /// A list of quantities that may be left out.
    pub fn quantities<Q: Quantity>(&self, key: &str, demand: Demand) -> Option<Vec<Q>> {
        let node = self.take(key)?;
        let items = self.list_in(node, "a list of quantities")?;
        items
            .iter()
            .map(|item| self.quantity_in(item, demand))
            .collect()
    }

    /// A quantity of a dimension known only at run time, in SI units.
    pub fn optional_si(&self, key: &str, dimension: Dimension, demand: Demand) -> Option<f64> {
        self.si_in(self.take(key)?, dimension, demand)
    }

    fn quantity_in<Q: Quantity>(&self, node: &Node, demand: Demand) -> Option<Q> {
        Q::from_si(self.si_in(node, Q::DIMENSION, demand)?)
    }

    /// The quantity that `node` is, in SI units.
    pub fn si_in(&self, node: &Node, dimension: Dimension, demand: Demand) -> Option<f64> {
        let expected = quantity_example(dimension);
        let bare = match &node.kind {
            Kind::Integer(Some(number)) => Some(*number as f64),
            Kind::Float(number) => Some(*number),
            _ => None,
        };
        let pure = matches!(dimension, Dimension::Ratio | Dimension::Count);
        let si = match (&node.kind, bare) {
            (Kind::String(text), _) => match parse_si(text, dimension) {
                Ok(si) => si,
                Err(unit) => {
                    self.fault(Fault::error(&node.place, unit.to_string()).expected(expected));
                    return None;
                }
            },
            (_, Some(number)) if pure && number.is_finite() => number,
            (_, Some(number)) if number.is_finite() => {
                self.fault(
                    Fault::error(&node.place, "a number without a unit")
                        .expected(expected)
                        .hint("write the number and its unit in quotes"),
                );
                return None;
            }
            _ => {
                self.wrong(node, &expected);
                return None;
            }
        };
        let unmet = demand.unmet(si, dimension).or_else(|| {
            (dimension == Dimension::Count && libm::floor(si) != si)
                .then(|| "a whole number".to_owned())
        });
        match unmet {
            None => Some(si),
            Some(expected) => {
                self.fault(
                    Fault::error(
                        &node.place,
                        format!("{} is out of range", show(si, dimension)),
                    )
                    .expected(expected),
                );
                None
            }
        }
    }

    /// A required text without control characters.
    pub fn string(&self, key: &str) -> Option<String> {
        let node = self.required(key, "a text in quotes")?;
        self.string_in(node)
    }

    /// Such a text that may be left out.
    pub fn optional_string(&self, key: &str) -> Option<String> {
        self.string_in(self.take(key)?)
    }

    fn string_in(&self, node: &Node) -> Option<String> {
        let text = self.any_text_in(node)?;
        let fault = if text.trim().is_empty() {
            "this text is empty"
        } else if text.chars().any(char::is_control) {
            "this text has control characters in it"
        } else if text.chars().count() > 400 {
            "this text is longer than 400 characters"
        } else {
            return Some(text.to_owned());
        };
        self.fault(Fault::error(&node.place, fault).expected("a plain text of one line"));
        None
    }

    /// A required text, control characters and all.
    pub fn any_text(&self, key: &str) -> Option<&'a str> {
        let node = self.required(key, "a text in quotes")?;
        self.any_text_in(node)
    }

    /// The text that `node` is.
    pub fn any_text_in<'n>(&self, node: &'n Node) -> Option<&'n str> {
        match &node.kind {
            Kind::String(text) => Some(text),
            _ => {
                self.wrong(node, "a text in quotes");
                None
            }
        }
    }

    /// A list of texts, control characters and all.
    pub fn any_texts(&self, key: &str) -> Option<Vec<&'a str>> {
        let node = self.required(key, "a list of texts")?;
        let items = self.list_in(node, "a list of texts")?;
        items.iter().map(|item| self.any_text_in(item)).collect()
    }

    pub(super) fn list_in<'n>(&self, node: &'n Node, expected: &str) -> Option<&'n [Node]> {
        match &node.kind {
            Kind::Array(items) => Some(items),
            _ => {
                self.wrong(node, expected);
                None
            }
        }
    }

    /// Reports every key that nobody took.
    pub fn finish(&self) {
        let known = self.known.borrow();
        for (entry, taken) in self.entries.iter().zip(&self.taken) {
            if taken.get() {
                continue;
            }
            let near = nearest(&entry.key, known.iter().map(String::as_str));
            self.fault(
                Fault::error(
                    &entry.key_place,
                    format!("`{}` is not a key here", entry.key.escape_debug()),
                )
                .expected(list_of(&known))
                .maybe_hint(near.map(|word| format!("did you mean `{word}`?"))),
            );
        }
    }
}

fn quantity_example(dimension: Dimension) -> String {
    format!("{} such as {}", dimension.noun(), dimension.example())
}

fn list_of(known: &[String]) -> String {
    if known.is_empty() {
        return "nothing".to_owned();
    }
    let quoted: Vec<String> = known.iter().map(|key| format!("`{key}`")).collect();
    quoted.join(", ")
}
