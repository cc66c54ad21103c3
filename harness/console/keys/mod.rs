//! What each key of a file means, with an example: the pages that `guide` shows for
//! them. It reads no file; that no key lacks its page is a test's matter.

mod bench;
mod board;
mod commands;
mod lot;
mod page;
mod plan;
mod profile;
mod workshop;

#[cfg(test)]
mod tests;

pub use page::Page;

use super::fold::{first_sentence, paragraph};
use std::fmt::Write as _;

/// A kind of file whose keys have pages.
#[derive(Clone, Copy, Debug)]
pub struct File {
    /// The word by which a topic begins.
    pub word: &'static str,
    /// What it is for.
    pub says: &'static str,
    /// Its pages.
    pub pages: &'static [&'static [Page]],
}

/// Every kind of file, by the word by which topics begin.
pub const FILES: &[File] = &[
    File {
        word: "plan",
        says: "what a board must withstand and show, and within which limits",
        pages: &[plan::PAGES],
    },
    File {
        word: "bench",
        says: "which instruments there are, how they are wired, and what may flow at most",
        pages: &[bench::PAGES],
    },
    File {
        word: "profile",
        says: "how to talk to one model of instrument: a file of its own, named by `profile` in \
               the bench file",
        pages: &[profile::PAGES, commands::PAGES],
    },
    File {
        word: "board",
        says: "what a model board is made of, how boards differ and which carry a defect",
        pages: &[board::PAGES],
    },
    File {
        word: "lot",
        says: "which boards were built together, and of which parts",
        pages: &[lot::PAGES],
    },
    File {
        word: "bufferstop",
        says: "who issues papers and what commands take where nothing else is stated, in the file \
               `bufferstop.toml` of a folder or one above it",
        pages: &[workshop::PAGES],
    },
];

impl File {
    /// The kind that `word` names.
    pub fn of(word: &str) -> Option<&'static Self> {
        FILES.iter().find(|file| file.word == word)
    }

    /// All its pages.
    pub fn all(&self) -> impl Iterator<Item = &'static Page> {
        self.pages.iter().copied().flatten()
    }

    /// The page of `key`, where its own or a general one is written.
    pub fn page(&self, key: &str) -> Option<&'static Page> {
        let exact = self.all().find(|page| page.key == key);
        exact.or_else(|| self.all().find(|page| stands_for(page.key, key)))
    }

    /// The pages of the keys of the table `key`, as `bench.wiring` is one; none
    /// where it is no table.
    pub fn within(&self, key: &str) -> Vec<&'static Page> {
        let depth = key.split('.').count();
        let inside = |page: &&Page| {
            let words: Vec<&str> = page.key.split('.').collect();
            words.len() > depth && stands_for(&words[..depth].join("."), key)
        };
        self.all().filter(inside).collect()
    }

    /// A page as a terminal of `room` columns shows it.
    pub fn shown(&self, page: &Page, room: usize) -> String {
        let mut out = format!("{}.{}\n\n", self.word, page.key);
        paragraph(&mut out, 2, page.says, room);
        out.push_str("\nIn a file\n\n");
        for line in page.example.lines() {
            let _ = writeln!(out, "  {line}");
        }
        out
    }

    /// Every key with its first sentence.
    pub fn overview(&self, room: usize) -> String {
        let mut out = format!("{}\n\n", self.word);
        paragraph(&mut out, 2, &format!("It says {}.", self.says), room);
        let pages: Vec<&Page> = self.all().collect();
        self.listed(&mut out, &pages, room);
        out
    }

    /// The keys of the table `key` alone, those of `pages`.
    pub fn table(&self, key: &str, pages: &[&Page], room: usize) -> String {
        let mut out = format!("{}.{key}\n", self.word);
        self.listed(&mut out, pages, room);
        out
    }

    fn listed(&self, out: &mut String, pages: &[&Page], room: usize) {
        out.push_str("\nKeys\n\n");
        for page in pages {
            let _ = writeln!(out, "  {}", page.key);
            paragraph(out, 6, first_sentence(page.says), room);
        }
        let example = pages.first().map_or("", |page| page.key);
        let word = self.word;
        let _ = write!(
            out,
            "\nA page on each:  bufferstop guide {word}.{example}\n"
        );
    }
}

/// Whether `general`, in which words in capitals stand for any, is a page for `key`.
fn stands_for(general: &str, key: &str) -> bool {
    let any = |word: &str| word.chars().all(|c| c.is_ascii_uppercase());
    let (mut words, mut own) = (general.split('.'), key.split('.'));
    loop {
        match (words.next(), own.next()) {
            (None, None) => return true,
            (Some(word), Some(own)) if any(word) || word == own => {}
            _ => return false,
        }
    }
}
