//! What is written into the store: lines, and bytes packed by whoever comes
//! first. It knows no file and no queue.

use crate::digest::Hashed;
use crate::record::Line;
use std::cell::RefCell;
use std::sync::{Arc, OnceLock};

/// How hard captures are packed: they are wanted on disk before the next step
/// more than they are wanted small.
const LEVEL: i32 = 1;

/// Something to be written.
#[derive(Debug)]
pub(super) enum Item {
    /// A line with its text.
    Line {
        /// The line.
        line: Box<Line>,
        /// Its text, as it is stored.
        text: String,
    },
    /// Bytes under their digest.
    Blob(Arc<Blob>),
}

impl Item {
    pub(super) fn blob(bytes: Hashed) -> Self {
        Self::Blob(Arc::new(Blob {
            bytes,
            packed: OnceLock::new(),
        }))
    }

    pub(super) fn size(&self) -> usize {
        match self {
            Self::Line { text, .. } => text.len(),
            Self::Blob(blob) => blob.bytes.bytes().len(),
        }
    }
}

/// Bytes to be kept, packed once by whoever comes first.
#[derive(Debug)]
pub(super) struct Blob {
    pub(super) bytes: Hashed,
    packed: OnceLock<Result<Vec<u8>, String>>,
}

impl Blob {
    /// The bytes as they are stored; waits where another thread packs them.
    pub(super) fn packed(&self) -> Result<&[u8], String> {
        thread_local! {
            /// Made once a thread: it has hundreds of kilobytes.
            static PACKER: RefCell<Option<zstd::bulk::Compressor<'static>>> =
                const { RefCell::new(None) };
        }
        let pack = || {
            PACKER.with_borrow_mut(|packer| {
                let packer = match packer {
                    Some(packer) => packer,
                    None => packer.insert(zstd::bulk::Compressor::new(LEVEL)?),
                };
                packer.compress(self.bytes.bytes())
            })
        };
        let packed = self.packed.get_or_init(|| {
            let packed: std::io::Result<Vec<u8>> = pack();
            packed.map_err(|fault| fault.to_string())
        });
        packed.as_deref().map_err(Clone::clone)
    }
}
