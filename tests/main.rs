//! The one integration binary: house rules and the command as its users meet
//! it.

#![allow(clippy::print_stdout, reason = "a skipped test says so")]

mod agreement;
mod arrays;
mod beginnings;
mod by_hand;
mod command;
mod damage;
mod dialects;
mod endurance;
mod fault_bench;
mod floors;
mod foreign;
mod gaps;
mod guardian;
mod hardships;
mod influence;
mod inspect;
mod inspect_records;
mod inspect_verdicts;
mod interruption;
mod kept_store;
mod left_on;
mod liars;
mod lots;
mod marks;
mod models;
mod ngspice;
mod noisy;
mod pages;
mod partial;
mod ports;
mod prove;
mod python;
mod records;
mod runs;
mod seals;
mod shapes;
mod signal;
mod simulation;
mod strangers;
mod substitution;
mod tools;
mod trials;
mod words;
