//! Checks of the served model bench with a world of canned lines.
