//! A device's command table: headers in the standard's notation to values of
//! the device's own. It runs nothing.

use super::error::ErrorCode;
use super::message::{Header, Node};
use super::mnemonic::Mnemonic;

/// One node of a declared header.
#[derive(Clone, Debug)]
struct Step {
    mnemonic: Mnemonic,
    optional: bool,
    /// Whether a numeric suffix selects an instance.
    numbered: bool,
}

#[derive(Clone, Debug)]
struct Entry<C> {
    starred: bool,
    steps: Vec<Step>,
    command: bool,
    query: bool,
    value: C,
}

/// A header found in the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Match<C> {
    /// What the device calls it.
    pub value: C,
    /// Whether it was asked as a query.
    pub query: bool,
    /// The instance named by the header's numbered node; 1 where none is.
    pub instance: u32,
}

/// A table of headers.
///
/// The notation is the standard's: `[SOURce]:VOLTage[:LEVel]`, capitals being
/// the short form and brackets optional nodes. `?` at the end declares a query
/// alone, `[?]` both forms, `#` behind a mnemonic a numeric suffix.
///
/// ```
/// use bufferstop::protocol::{CommandTree, units};
/// let tree = CommandTree::new(&[("[SOURce]:VOLTage[:LEVel][?]", 'v')]);
/// let unit = units(b"volt?").remove(0).unwrap();
/// let found = tree.find(&unit.header).unwrap();
/// assert_eq!((found.value, found.query), ('v', true));
/// ```
#[derive(Clone, Debug)]
pub struct CommandTree<C> {
    entries: Vec<Entry<C>>,
}

impl<C: Copy> CommandTree<C> {
    /// Reads the declarations.
    ///
    /// # Panics
    /// When one is malformed: a command table is part of the program.
    pub fn new(declarations: &[(&str, C)]) -> Self {
        let entries = declarations
            .iter()
            .map(|&(notation, value)| declare(notation, value))
            .collect();
        Self { entries }
    }

    /// What `header` means here.
    ///
    /// # Errors
    /// -113 for a header that is not here, -114 for an instance on a node that
    /// has none.
    pub fn find(&self, header: &Header) -> Result<Match<C>, ErrorCode> {
        let mut refused = ErrorCode::UndefinedHeader;
        for entry in &self.entries {
            let form = if header.query {
                entry.query
            } else {
                entry.command
            };
            if !form || entry.starred != header.starred {
                continue;
            }
            match walk(&entry.steps, &header.nodes) {
                Some(Ok(instance)) => {
                    return Ok(Match {
                        value: entry.value,
                        query: header.query,
                        instance,
                    });
                }
                Some(Err(code)) => refused = code,
                None => {}
            }
        }
        Err(refused)
    }
}

/// Whether `nodes` spell `steps`; the instance, or why it cannot be one.
fn walk(steps: &[Step], nodes: &[Node]) -> Option<Result<u32, ErrorCode>> {
    let Some((step, later)) = steps.split_first() else {
        return nodes.is_empty().then_some(Ok(1));
    };
    if let Some((node, rest)) = nodes.split_first()
        && step.mnemonic.matches(&node.word)
        && let Some(found) = walk(later, rest)
    {
        return Some(match (node.suffix, step.numbered) {
            (Some(0), _) => Err(ErrorCode::HeaderSuffix),
            (Some(number), true) => found.map(|_| number),
            (None | Some(1), _) => found,
            (Some(_), false) => Err(ErrorCode::HeaderSuffix),
        });
    }
    if step.optional {
        walk(later, nodes)
    } else {
        None
    }
}

fn declare<C>(notation: &str, value: C) -> Entry<C> {
    let (header, command, query) = if let Some(header) = notation.strip_suffix("[?]") {
        (header, true, true)
    } else if let Some(header) = notation.strip_suffix('?') {
        (header, false, true)
    } else {
        (notation, true, false)
    };
    let (header, starred) = match header.strip_prefix('*') {
        Some(header) => (header, true),
        None => (header, false),
    };
    let mut steps = Vec::new();
    // Brackets hold whole nodes, so they can be read off either side of one.
    let mut depth = 0_u32;
    for raw in header.split(':') {
        let name = raw.trim_matches(['[', ']']);
        let opened = raw.starts_with('[');
        let optional = depth > 0 || opened;
        let name_opens_next = raw.ends_with('[');
        if opened {
            depth += 1;
        }
        if raw.trim_end_matches('[').ends_with(']') {
            assert!(depth > 0, "'{notation}' closes what it did not open");
            depth -= 1;
        }
        if name_opens_next {
            depth += 1;
        }
        let (word, numbered) = match name.strip_suffix('#') {
            Some(word) => (word, true),
            None => (name, false),
        };
        steps.push(Step {
            mnemonic: Mnemonic::declare(word),
            optional,
            numbered,
        });
    }
    assert!(depth == 0, "'{notation}' leaves a bracket open");
    assert!(
        steps.iter().any(|step| !step.optional),
        "'{notation}' could be nothing at all"
    );
    Entry {
        starred,
        steps,
        command,
        query,
        value,
    }
}
