//! The kinds of value a table gives besides quantities and texts: parsed
//! texts, numbers, words and further tables. What they mean is the caller's.

use super::{Fault, Kind, Node, Table, nearest};
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::str::FromStr;

impl<'a> Table<'a> {
    /// A required text that is parsed further.
    pub fn parsed<T: FromStr<Err: Display>>(&self, key: &str, expected: &str) -> Option<T> {
        let node = self.required(key, expected)?;
        self.parsed_in(node, expected)
    }

    /// Such a text that may be left out.
    pub fn optional_parsed<T: FromStr<Err: Display>>(
        &self,
        key: &str,
        expected: &str,
    ) -> Option<T> {
        self.parsed_in(self.take(key)?, expected)
    }

    fn parsed_in<T: FromStr<Err: Display>>(&self, node: &Node, expected: &str) -> Option<T> {
        let text = match &node.kind {
            Kind::String(text) | Kind::Date(text) => text,
            _ => {
                self.wrong(node, expected);
                return None;
            }
        };
        match text.parse() {
            Ok(value) => Some(value),
            Err(reason) => {
                self.fault(Fault::error(&node.place, reason.to_string()).expected(expected));
                None
            }
        }
    }

    /// True or false, with a default.
    pub fn boolean_or(&self, key: &str, default: bool) -> bool {
        self.optional_boolean(key).unwrap_or(default)
    }

    /// True or false, if written.
    pub fn optional_boolean(&self, key: &str) -> Option<bool> {
        let node = self.take(key)?;
        match node.kind {
            Kind::Boolean(value) => Some(value),
            _ => {
                self.wrong(node, "true or false");
                None
            }
        }
    }

    /// A required whole number in `range`.
    pub fn integer(&self, key: &str, range: RangeInclusive<i64>) -> Option<i64> {
        let node = self.required(key, &integer_range(&range))?;
        self.integer_in(node, range)
    }

    /// Such a number that may be left out.
    pub fn optional_integer(&self, key: &str, range: RangeInclusive<i64>) -> Option<i64> {
        self.integer_in(self.take(key)?, range)
    }

    /// The whole number that `node` is.
    pub fn integer_in(&self, node: &Node, range: RangeInclusive<i64>) -> Option<i64> {
        match node.kind {
            Kind::Integer(Some(number)) if range.contains(&number) => Some(number),
            Kind::Integer(_) => {
                self.fault(
                    Fault::error(&node.place, "this number is out of range")
                        .expected(integer_range(&range)),
                );
                None
            }
            _ => {
                self.wrong(node, &integer_range(&range));
                None
            }
        }
    }

    /// A required word of a list.
    pub fn word<T: Copy>(&self, key: &str, words: &[(&'static str, T)]) -> Option<T> {
        let node = self.required(key, &one_of(words))?;
        self.word_in(node, words)
    }

    /// Such a word that may be left out.
    pub fn optional_word<T: Copy>(&self, key: &str, words: &[(&'static str, T)]) -> Option<T> {
        self.word_in(self.take(key)?, words)
    }

    /// A list of such words, none twice, that may be left out.
    pub fn words<T: Copy + PartialEq>(
        &self,
        key: &str,
        words: &[(&'static str, T)],
    ) -> Option<Vec<T>> {
        let node = self.take(key)?;
        let items = self.list_in(node, &format!("a list of: {}", one_of(words)))?;
        let mut found: Vec<T> = Vec::new();
        for item in items {
            let Some(value) = self.word_in(item, words) else {
                continue;
            };
            if found.contains(&value) {
                self.fault(Fault::error(&item.place, "this is in the list already"));
            } else {
                found.push(value);
            }
        }
        if items.is_empty() {
            self.fault(Fault::error(&node.place, "the list is empty").expected(one_of(words)));
        }
        Some(found)
    }

    fn word_in<T: Copy>(&self, node: &Node, words: &[(&'static str, T)]) -> Option<T> {
        let text = self.any_text_in(node)?;
        if let Some(&(_, value)) = words.iter().find(|(word, _)| *word == text) {
            return Some(value);
        }
        let near = nearest(text, words.iter().map(|(word, _)| *word));
        self.fault(
            Fault::error(
                &node.place,
                format!("'{}' is not known here", text.escape_debug()),
            )
            .expected(one_of(words))
            .maybe_hint(near.map(|word| format!("did you mean \"{word}\"?"))),
        );
        None
    }

    /// A required table.
    pub fn table(&self, key: &str) -> Option<Table<'a>> {
        let node = self.required(key, &format!("a table `[{}]`", self.path_of(key)))?;
        self.table_in(key, node)
    }

    /// A table that may be left out.
    pub fn optional_table(&self, key: &str) -> Option<Table<'a>> {
        self.table_in(key, self.take(key)?)
    }

    /// The table that `node`, found under `key`, is.
    pub fn table_in(&self, key: &str, node: &'a Node) -> Option<Table<'a>> {
        match &node.kind {
            Kind::Table(entries) => Some(Self::new(
                self.reader(),
                node.place.clone(),
                self.path_of(key),
                entries,
            )),
            _ => {
                self.wrong(node, "a table");
                None
            }
        }
    }

    /// The tables of a list `[[key]]`, none where it is not written.
    pub fn tables(&self, key: &str) -> Vec<Table<'a>> {
        let Some(node) = self.take(key) else {
            return Vec::new();
        };
        let expected = format!("tables `[[{}]]`", self.path_of(key));
        let items = self.list_in(node, &expected).unwrap_or_default();
        items
            .iter()
            .enumerate()
            .filter_map(|(index, item)| self.table_in(&format!("{key}.{index}"), item))
            .collect()
    }
}

fn integer_range(range: &RangeInclusive<i64>) -> String {
    format!("a whole number from {} to {}", range.start(), range.end())
}

fn one_of<T>(words: &[(&'static str, T)]) -> String {
    words
        .iter()
        .map(|(word, _)| format!("\"{word}\""))
        .collect::<Vec<_>>()
        .join(", ")
}
