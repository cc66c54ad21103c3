//! One run as one file that stands alone: its record, every line with its
//! links in the chain, and the bytes of what was seen. It reads no store and
//! checks nothing; what it says can be redone without this program.

use crate::digest::Digest;
use crate::record::chain::Linked;
use crate::record::{Note, Record};
use base64::prelude::{BASE64_STANDARD, Engine as _};
use serde::Serialize;

/// Version of the shape of the file.
pub(super) const FORMAT: u32 = 1;

/// How the chain is redone by hand, kept in every file.
const HOW_TO_CHECK: &[&str] = &[
    "Each entry of `chain` is a line of the record store with its place, the link before it, its text and its own link.",
    "Its link is the SHA-256 of the link before it, a line feed and the text, with nothing after it. For line 0 of the list, with jq and coreutils:",
    "  jq -j '.chain[0] | .previous, \"\\n\", .text' FILE | sha256sum",
    "prints the value of .chain[0].link. Where two lines follow each other in the store (position n and n + 1), the link of the first is `previous` of the second; other runs may stand between.",
    "`closing_link` is the link of the run's last entry, as a certificate prints it.",
    "The bytes of an observation are base64 (RFC 4648); their SHA-256 is the digest that an `observed` entry of the chain names:",
    "  jq -r '.bytes[0].base64' FILE | base64 -d | sha256sum",
    "Or all of this at once: bufferstop records verify --file FILE",
    "A signature, where there is one, stands in `bytes` as signature.json. With openssl 3, its .statement in S, its .signature as bytes in G and the public key in K.pub:",
    "  openssl pkeyutl -verify -pubin -inkey K.pub -rawin -in S -sigfile G",
    "`record` is made from the entries of the chain and repeats what they say.",
];

/// Kept bytes with what they are.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bytes {
    /// `observation of SCENARIO` or the name of a document handed out.
    pub name: String,
    /// Their digest.
    pub digest: Digest,
    /// The bytes; `None` where they were not kept.
    pub bytes: Option<Vec<u8>>,
}

#[derive(Serialize)]
struct Document<'a> {
    format: u32,
    what: &'static str,
    how_to_check: &'static [&'static str],
    headline: String,
    closing_link: Option<Digest>,
    record: &'a Record,
    notes: &'a [Note],
    chain: &'a [Linked],
    bytes: Vec<Encoded<'a>>,
}

#[derive(Serialize)]
struct Encoded<'a> {
    name: &'a str,
    digest: &'a Digest,
    size: Option<usize>,
    base64: Option<String>,
}

/// The file's text.
pub fn bundle(
    record: &Record,
    notes: &[Note],
    chain: &[Linked],
    closing_link: Option<Digest>,
    bytes: &[Bytes],
) -> String {
    let encoded = |kept: &'_ Bytes| {
        kept.bytes
            .as_deref()
            .map(|bytes| BASE64_STANDARD.encode(bytes))
    };
    let document = Document {
        format: FORMAT,
        what: "one run, with everything its record rests on",
        how_to_check: HOW_TO_CHECK,
        headline: record.headline(),
        closing_link,
        record,
        notes,
        chain,
        bytes: bytes
            .iter()
            .map(|kept| Encoded {
                name: &kept.name,
                digest: &kept.digest,
                size: kept.bytes.as_ref().map(Vec::len),
                base64: encoded(kept),
            })
            .collect(),
    };
    super::record_json::text(&document)
}
