//! The command that reads captures.
