//! The hash chain over all lines of a store, in their order. It finds what was
//! changed, removed or moved; a cut tail only with the help of a head that was
//! printed elsewhere.
//!
//! Each line's link is the SHA-256 of the link before (64 hexadecimal digits),
//! a line feed and the line's text, nothing after it; the link before the first
//! is 64 zeros. So anyone can redo it without this program:
//!
//! ```text
//! printf '%s\n%s' "$previous" "$text" | sha256sum
//! ```

use super::line::Line;
use crate::digest::Digest;
use crate::ident::RunId;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// How far ahead a line that belongs earlier is looked for.
const LOOK_AHEAD: usize = 1000;

/// The link before the first line.
pub fn start() -> Digest {
    "0".repeat(64)
        .parse()
        .expect("sixty-four zeros are a digest")
}

/// The link of a line with `text` after `previous`.
pub fn next(previous: &Digest, text: &str) -> Digest {
    Digest::of(format!("{previous}\n{text}").as_bytes())
}

/// A line as it stands in the store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stored {
    /// Its place, counted from one without gaps.
    pub position: u64,
    /// Its JSON text.
    pub text: String,
    /// Its link.
    pub link: String,
}

/// A line with the link before it: enough to redo its own link.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Linked {
    /// Its place in the chain.
    pub position: u64,
    /// The link of the line before it.
    pub previous: String,
    /// Its JSON text.
    pub text: String,
    /// Its link.
    pub link: String,
}

/// An intact chain in numbers.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Intact {
    /// Lines read.
    pub lines: u64,
    /// Link of the last one.
    pub head: Digest,
}

/// The first thing wrong with a chain.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ChainFault {
    /// A line's text and link do not belong together.
    #[error(
        "line {position} ({what}) does not follow from the line before it: it was changed, or what stood before it was removed"
    )]
    Altered {
        /// Its place.
        position: u64,
        /// The run and entry it says it is.
        what: String,
    },
    /// Places without lines.
    #[error("line {position} is missing: line {found} follows in its place")]
    Missing {
        /// The first empty place.
        position: u64,
        /// The place that follows.
        found: u64,
    },
    /// A run's entry is gone and the places were closed up.
    #[error("entry {sequence} of run {run} is missing before line {position}")]
    EntryMissing {
        /// The run.
        run: RunId,
        /// Number of the entry within the run.
        sequence: u64,
        /// Place of the line that follows the hole.
        position: u64,
    },
    /// Lines that changed places.
    #[error("lines were moved: what belongs at line {position} stands at line {found}")]
    Reordered {
        /// The place where the order breaks.
        position: u64,
        /// Where the line that belongs there was found.
        found: u64,
    },
    /// A text that follows in the chain but is no line.
    #[error("line {position} cannot be read: {what}")]
    Unreadable {
        /// Its place.
        position: u64,
        /// Why.
        what: String,
    },
    /// The given head is nowhere in the chain.
    #[error("the given head {head} is not in this store: its end was cut off, or it was rewritten")]
    HeadNotFound {
        /// The head that was asked for.
        head: Digest,
    },
}

/// Follows the chain through `lines` in order of their places.
///
/// With `head`, a link printed on a certificate, the chain must also contain
/// that link.
///
/// # Errors
/// The first [`ChainFault`], or the source's own error.
pub fn verify<E>(
    lines: impl IntoIterator<Item = Result<Stored, E>>,
    head: Option<Digest>,
) -> Result<Result<Intact, ChainFault>, E> {
    let mut lines = lines.into_iter();
    let mut walk = Walk::new(head);
    while let Some(stored) = lines.next() {
        let stored = stored?;
        if let Err(fault) = walk.step(&stored) {
            let ChainFault::Altered { position, .. } = fault else {
                return Ok(Err(fault));
            };
            // A moved line still follows from the one that was before it.
            for later in lines.by_ref().take(LOOK_AHEAD) {
                let later = later?;
                if next(&walk.link, &later.text).to_string() == later.link {
                    let found = later.position;
                    return Ok(Err(ChainFault::Reordered { position, found }));
                }
            }
            return Ok(Err(walk.hole(&stored).unwrap_or(fault)));
        }
    }
    Ok(walk.finish())
}

struct Walk {
    position: u64,
    link: Digest,
    wanted: Option<Digest>,
    seen: bool,
    /// Next entry number of each run that has not ended.
    sequences: BTreeMap<RunId, u64>,
}

impl Walk {
    fn new(wanted: Option<Digest>) -> Self {
        Self {
            position: 0,
            link: start(),
            wanted,
            seen: wanted.is_none_or(|head| head == start()),
            sequences: BTreeMap::new(),
        }
    }

    fn step(&mut self, stored: &Stored) -> Result<(), ChainFault> {
        let position = self.position + 1;
        if stored.position > position {
            let found = stored.position;
            return Err(ChainFault::Missing { position, found });
        }
        let link = next(&self.link, &stored.text);
        if stored.position < position || link.to_string() != stored.link {
            return Err(ChainFault::Altered {
                position,
                what: describe(&stored.text),
            });
        }
        let line = Line::parse(&stored.text).map_err(|fault| ChainFault::Unreadable {
            position,
            what: fault.to_string(),
        })?;
        if let Some(entry) = line.entry() {
            let wanted = self.sequences.entry(line.run.clone()).or_insert(1);
            if entry.sequence != *wanted {
                return Err(ChainFault::EntryMissing {
                    run: line.run,
                    sequence: *wanted,
                    position,
                });
            }
            *wanted += 1;
        }
        self.position = position;
        self.link = link;
        self.seen |= self.wanted == Some(link);
        Ok(())
    }

    /// What is missing before `stored`, where its own number tells.
    fn hole(&self, stored: &Stored) -> Option<ChainFault> {
        let line = Line::parse(&stored.text).ok()?;
        let sequence = self.sequences.get(&line.run).copied().unwrap_or(1);
        (line.entry()?.sequence > sequence).then_some(ChainFault::EntryMissing {
            run: line.run,
            sequence,
            position: self.position + 1,
        })
    }

    fn finish(self) -> Result<Intact, ChainFault> {
        match self.wanted {
            Some(head) if !self.seen => Err(ChainFault::HeadNotFound { head }),
            _ => Ok(Intact {
                lines: self.position,
                head: self.link,
            }),
        }
    }
}

/// The run and entry a text says it is, for the message.
fn describe(text: &str) -> String {
    match Line::parse(text) {
        Ok(line) => match line.entry() {
            Some(entry) => format!("run {}, entry {}", line.run, entry.sequence),
            None => format!("run {}, added later", line.run),
        },
        Err(_) => "not readable".to_owned(),
    }
}
