//! The one integration binary: house rules and the command as its users meet
//! it.

mod command;
mod floors;
mod python;
mod runs;
