//! From TOML text to checked values: every fault of a file is collected with
//! its place, what was expected and a hint. It reads no file; the caller
//! hands in the text, and what the keys mean is said by the modules above.

mod fault;
mod kinds;
mod reader;
mod render;
mod source;
mod table;
mod tree;
mod words;

pub use fault::{Fault, Faults, Severity};
pub use reader::{Demand, Reader};
pub use render::render;
pub use source::{LARGEST_FILE, NotText, Place, Places, Source};
pub use table::Table;
pub use tree::{Entry, Kind, Node, Tree};
pub use words::nearest;

#[cfg(test)]
mod tests;
