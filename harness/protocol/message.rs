//! One program message into its units: headers by the path rule, parameters by
//! type (IEEE 488.2 clause 7, SCPI-1999 volume 1, clause 6). It knows no
//! command.

use super::error::ErrorCode;
use super::mnemonic::split_suffix;
use super::parameter::{Parameter, read_parameter};

/// The most bytes of one program message.
pub const LONGEST_MESSAGE: usize = 65_536;

/// The most units of one program message.
pub const MOST_UNITS: usize = 64;

/// The most parameters of one unit.
pub const MOST_PARAMETERS: usize = 8192;

/// The most nodes of a header, path included.
const DEEPEST_PATH: usize = 12;

/// The most characters of a mnemonic (IEEE 488.2 clause 7.6.1).
const LONGEST_MNEMONIC: usize = 12;

/// One mnemonic of a header with its numeric suffix.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Node {
    /// In capitals, without the suffix.
    pub word: String,
    /// The number behind it, where there is one.
    pub suffix: Option<u32>,
}

/// A header with its whole path.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Header {
    /// Whether it began with `*`.
    pub starred: bool,
    /// From the root.
    pub nodes: Vec<Node>,
    /// Whether it ended in `?`.
    pub query: bool,
}

/// One program message unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// What is wanted.
    pub header: Header,
    /// With what.
    pub parameters: Vec<Parameter>,
}

/// White space of a program message: ASCII 0 to 9 and 11 to 32.
pub(super) const fn is_white(byte: u8) -> bool {
    byte <= 32 && byte != b'\n'
}

/// The units of `message`, a line without its ending. The first fault ends the
/// list: what stands before it is sound and is obeyed, the rest is discarded.
pub fn units(message: &[u8]) -> Vec<Result<Unit, ErrorCode>> {
    let mut found = Vec::new();
    if message.len() > LONGEST_MESSAGE {
        return vec![Err(ErrorCode::TooMuchData)];
    }
    let message = message.strip_suffix(b"\n").unwrap_or(message);
    let mut reader = Reader {
        rest: message,
        path: Vec::new(),
    };
    while let Some(unit) = reader.next_unit() {
        let fault = unit.is_err();
        found.push(unit);
        if fault {
            break;
        }
        if found.len() == MOST_UNITS && !reader.rest.is_empty() {
            found.push(Err(ErrorCode::TooMuchData));
            break;
        }
    }
    found
}

struct Reader<'a> {
    rest: &'a [u8],
    /// The path that the next header without a leading colon starts from.
    path: Vec<Node>,
}

impl Reader<'_> {
    fn skip_white(&mut self) {
        while let Some((&first, rest)) = self.rest.split_first()
            && is_white(first)
        {
            self.rest = rest;
        }
    }

    /// Takes one byte when it is `wanted`.
    fn take(&mut self, wanted: u8) -> bool {
        let taken = self.rest.first() == Some(&wanted);
        if taken {
            self.rest = &self.rest[1..];
        }
        taken
    }

    fn next_unit(&mut self) -> Option<Result<Unit, ErrorCode>> {
        loop {
            self.skip_white();
            if self.rest.is_empty() {
                return None;
            }
            // Empty units are allowed between separators.
            if !self.take(b';') {
                return Some(self.unit());
            }
        }
    }

    fn unit(&mut self) -> Result<Unit, ErrorCode> {
        let header = self.header()?;
        let separated = self.rest.first().is_some_and(|&b| is_white(b));
        self.skip_white();
        let mut parameters = Vec::new();
        if !self.rest.is_empty() && !self.take(b';') {
            if !separated {
                return Err(wrong_byte(self.rest[0], ErrorCode::HeaderSeparator));
            }
            self.parameters(&mut parameters)?;
        }
        Ok(Unit { header, parameters })
    }

    fn parameters(&mut self, parameters: &mut Vec<Parameter>) -> Result<(), ErrorCode> {
        loop {
            if parameters.len() == MOST_PARAMETERS {
                return Err(ErrorCode::TooMuchData);
            }
            self.skip_white();
            let (parameter, length) = read_parameter(self.rest)?;
            parameters.push(parameter);
            self.rest = &self.rest[length..];
            self.skip_white();
            if self.rest.is_empty() || self.take(b';') {
                return Ok(());
            }
            if !self.take(b',') {
                return Err(wrong_byte(self.rest[0], ErrorCode::InvalidSeparator));
            }
        }
    }

    fn header(&mut self) -> Result<Header, ErrorCode> {
        if self.take(b'*') {
            let node = self.node()?;
            let query = self.take(b'?');
            // Starred commands leave the path as it is.
            return Ok(Header {
                starred: true,
                nodes: vec![node],
                query,
            });
        }
        let mut nodes = std::mem::take(&mut self.path);
        if self.take(b':') {
            nodes.clear();
        }
        loop {
            nodes.push(self.node()?);
            if nodes.len() > DEEPEST_PATH {
                return Err(ErrorCode::UndefinedHeader);
            }
            if !self.take(b':') {
                break;
            }
        }
        self.path = nodes[..nodes.len() - 1].to_vec();
        let query = self.take(b'?');
        Ok(Header {
            starred: false,
            nodes,
            query,
        })
    }

    fn node(&mut self) -> Result<Node, ErrorCode> {
        let part = |b: &&u8| b.is_ascii_alphanumeric() || **b == b'_';
        let length = self.rest.iter().take_while(part).count();
        let (word, rest) = self.rest.split_at(length);
        if !word.first().is_some_and(u8::is_ascii_alphabetic) {
            let byte = word.first().or(rest.first()).copied().unwrap_or(b' ');
            return Err(wrong_byte(byte, ErrorCode::CommandHeader));
        }
        if length > LONGEST_MNEMONIC {
            return Err(ErrorCode::MnemonicTooLong);
        }
        self.rest = rest;
        let word = String::from_utf8_lossy(word).to_ascii_uppercase();
        let (stem, suffix) = split_suffix(&word);
        Ok(Node {
            word: stem.to_owned(),
            suffix,
        })
    }
}

/// A byte no message may hold outside strings and blocks is named as that.
pub(super) const fn wrong_byte(byte: u8, otherwise: ErrorCode) -> ErrorCode {
    if byte >= 127 || byte == b'\n' {
        ErrorCode::InvalidCharacter
    } else {
        otherwise
    }
}
