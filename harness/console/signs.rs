//! Units and relations in the signs of print where the terminal can show them,
//! and in ASCII elsewhere. It asks no terminal: the command says once what it has
//! found.

use crate::units::typeset;
use std::sync::atomic::{AtomicBool, Ordering};

/// Whether the person's terminal shows more than ASCII.
static SHOWN: AtomicBool = AtomicBool::new(false);

/// From here on signs of print are shown, or not.
pub fn show_signs(shown: bool) {
    SHOWN.store(shown, Ordering::Relaxed);
}

/// `text` as the terminal can show it.
pub(super) fn in_signs(text: &str) -> String {
    if SHOWN.load(Ordering::Relaxed) {
        typeset(text).into_owned()
    } else {
        text.to_owned()
    }
}

/// Whether a locale, by the variables that state it, writes UTF-8: the first of
/// `LC_ALL`, `LC_CTYPE` and `LANG` that is set and not empty decides (POSIX.1-2017,
/// 8.2).
///
/// ```
/// use bufferstop::console::writes_utf8;
/// assert!(writes_utf8([None, Some("en_GB.UTF-8"), Some("C")]));
/// assert!(!writes_utf8([Some("C"), Some("en_GB.UTF-8"), None]));
/// assert!(!writes_utf8([Some(""), None, None]));
/// ```
pub fn writes_utf8(variables: [Option<&str>; 3]) -> bool {
    let mut set = variables
        .into_iter()
        .flatten()
        .filter(|text| !text.is_empty());
    set.next().is_some_and(|locale| {
        let locale = locale.to_ascii_lowercase();
        locale.ends_with("utf-8") || locale.ends_with("utf8")
    })
}
