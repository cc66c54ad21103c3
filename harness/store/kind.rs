//! Which of the two stores a file is. It opens none.

/// Which of the two stores a file is. Model runs have one of their own, so
/// that none can ever stand among the records of real boards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Runs on real boards.
    Records,
    /// Runs on the embedded model bench.
    Model,
}

impl Kind {
    /// The file's name in the reports folder.
    pub const fn file_name(self) -> &'static str {
        match self {
            Self::Records => "records.sqlite",
            Self::Model => "model.sqlite",
        }
    }

    /// Whether `name` in the reports folder belongs to one of the stores: its file,
    /// its lock, or what the database keeps beside it. No board is called so.
    pub fn is_reserved(name: &str) -> bool {
        const BESIDE: [&str; 5] = ["", "-lock", "-wal", "-shm", "-journal"];
        let name = name.to_ascii_lowercase();
        [Self::Records, Self::Model]
            .iter()
            .filter_map(|kind| name.strip_prefix(kind.file_name()))
            .any(|ending| BESIDE.contains(&ending))
    }

    /// The words for it in messages.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Records => "records of boards",
            Self::Model => "records of the model bench",
        }
    }
}
