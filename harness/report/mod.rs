//! What a record looks like as bytes: a file a form, each a pure function of the
//! record, and [`FORMATS`] lists them. It writes no file and judges nothing.

mod bundle;
mod bundle_check;
mod format;
mod formats;
mod junit;
mod metrics;
mod record_json;
mod summary;
mod table;
pub(crate) mod words;
mod xml;

pub use crate::drawing::plain::{plain, plain_lines};
pub use bundle::{Bytes, bundle};
pub use bundle_check::{BundleFault, Whole, check_bundle};
pub use format::{Format, Made, Rows, RowsFault};
pub use formats::{FORMATS, files};
pub use junit::junit;
pub use record_json::{JsonFault, from_json, json, json_with_later};
pub use summary::{notes, summary};

#[cfg(test)]
mod tests;
