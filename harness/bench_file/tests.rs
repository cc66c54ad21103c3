//! Tests follow.
