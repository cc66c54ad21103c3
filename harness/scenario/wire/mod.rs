//! Format 1 of a stored observation: every field in its order, every variant
//! under its number. What is stored is said here alone, so the types that are
//! stored may be rearranged; nothing here keeps, compresses or names bytes.
//!
//! An observation is the number of its scenario, then that scenario's fields,
//! without names, gaps or lengths. The bytes of each are postcard's (its wire
//! format, version 1):
//!
//! | thing | bytes |
//! |---|---|
//! | `bool`, `Option` | 0 or 1, then what is there |
//! | `u8` | itself |
//! | `u32`, a count, a variant's number | groups of seven bits, lowest first, the top bit set in all but the last |
//! | `i16` | the same of `2 n`, of `-2 n - 1` where `n` is negative |
//! | `f64`, a quantity in SI units | eight bytes, lowest first (IEEE 754) |
//! | text | count of its bytes, then UTF-8 |
//! | a list | count of its items, then each |
//! | the bytes of a packet | text: upper-case hexadecimal pairs, a blank between |
//!
//! A number or a field once stored is never used otherwise. A new variant takes
//! the next number. Where a type gains a field that format 1 does not have, its
//! `Format1` is written out by hand and says what old bytes mean; where that is
//! not enough, there is a format 2 beside this one, and this one goes on being
//! read.

mod capture;
pub(super) mod form;

pub(crate) use form::WireFault;

#[cfg(test)]
mod tests;
