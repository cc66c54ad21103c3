//! The one integration binary: house rules and the command as its users meet
//! it.

#![allow(clippy::print_stdout, reason = "a skipped test says so")]

mod arrays;
mod command;
mod damage;
mod endurance;
mod floors;
mod guardian;
mod hardships;
mod influence;
mod inspect;
mod inspect_records;
mod lots;
mod ngspice;
mod noisy;
mod pages;
mod ports;
mod prove;
mod python;
mod records;
mod runs;
mod seals;
mod signal;
mod substitution;
