//! One page: a key, what it means and an example. Which there are is said elsewhere.

/// One key of a kind of file.
#[derive(Clone, Copy, Debug)]
pub struct Page {
    /// Its dotted path; a word in capitals stands for any name.
    pub key: &'static str,
    /// What it means and what holds without it.
    pub says: &'static str,
    /// How a file writes it.
    pub example: &'static str,
}

/// A page of `key`.
pub(super) const fn page(key: &'static str, says: &'static str, example: &'static str) -> Page {
    Page { key, says, example }
}
