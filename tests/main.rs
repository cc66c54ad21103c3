//! The one integration binary: house rules and the command as its users meet
//! it.

mod floors;
