//! The figures that the documents quote, measured again: `cargo bench`. Each
//! comparison alternates its two sides in one run and prints medians and
//! ratios, since machines are noisy; nothing here passes or fails.
//!
//! `cargo bench -- exchange short demo help signal lot lots store inspect dump giga`
//! runs only what is named.

#![allow(clippy::print_stdout, reason = "figures are printed")]

mod command;
mod dump;
mod exchange;
mod inspect;
mod lot;
mod lots;
mod short;
mod signal;
mod store;

/// A part with its name on the command line.
type Part = (&'static str, fn());

const PARTS: [Part; 11] = [
    ("exchange", exchange::run),
    ("short", short::run),
    ("demo", command::demo),
    ("help", command::help),
    ("signal", signal::run),
    ("lot", lot::run),
    ("lots", lots::run),
    ("store", store::run),
    ("inspect", inspect::run),
    ("dump", dump::run),
    ("giga", inspect::giga),
];

fn main() {
    // Cargo passes `--bench`; everything else names a part.
    let wanted: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    for (name, run) in PARTS {
        if wanted.is_empty() || wanted.iter().any(|word| word == name) {
            println!("== {name}");
            run();
        }
    }
}

/// The median of some times or ratios.
fn median(mut values: Vec<f64>) -> f64 {
    assert!(!values.is_empty(), "nothing was measured");
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}
