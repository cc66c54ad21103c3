//! What the runs of a proof were made with, in words: plan, bench, model board,
//! seed. It keeps names and digests; the texts are the user's files.

use crate::digest::Digest;
use crate::seed::Seed;
use serde::Serialize;

/// What the runs were made with.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Setting {
    /// The plan's name.
    pub plan: String,
    /// The bench's name.
    pub bench: String,
    /// The file it was built from; `None` for the demo's.
    pub bench_file: Option<String>,
    /// Whether that file describes a bench with ports.
    pub real: bool,
    /// The model board's name.
    pub board: String,
    /// Whether that is the demo's, for want of another.
    pub board_of_demo: bool,
    /// Seed of spread, errors and noise.
    pub seed: Seed,
    /// Boards with each defect.
    pub each: usize,
    /// Known defects that were not planted, with the reason.
    pub left_out: Vec<LeftOut>,
    /// Every file read.
    pub files: Vec<FileDigest>,
}

/// A known defect that was not planted.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The defect.
    pub defect: String,
    /// Why.
    pub why: String,
}

/// A file that was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct FileDigest {
    /// Its name.
    pub name: String,
    /// Of its bytes.
    pub digest: Digest,
}

impl Setting {
    /// That no real bench was touched.
    pub fn bench_sentence(&self) -> String {
        let built = match (&self.bench_file, self.real) {
            (None, _) => "the embedded model bench of the demo".to_owned(),
            (Some(file), false) => format!("the embedded model bench of {file}"),
            (Some(file), true) => format!("an embedded model bench built from {file}"),
        };
        format!("Model boards on {built}: no port is opened, no record is kept.")
    }

    /// What the boards were.
    pub fn board_sentence(&self) -> String {
        let mut text = format!("Model board: {}", self.board);
        if self.board_of_demo {
            text.push_str(", the demo's (--model-board FILE takes yours)");
        }
        text.push('.');
        text
    }
}
