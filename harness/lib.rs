//! Bufferstop tests track boosters: it commands a bench over serial ports,
//! provokes load, overload, short and polarity reversal, and judges what it
//! measured against declared limits.
//!
//! The modules stand in floors. A module imports only modules declared above
//! it; `tests/floors.rs` holds that law and names each breach. Read in this
//! order: this file, [`event`], `runner::order`, `scenarios::overload`,
//! `judgement::decide`.

// Floor 0, words: what everything else is written in.
pub mod clock;
pub mod digest;
pub mod ident;
pub mod seed;
pub mod units;

// Floor 1, science: samples to numbers, numbers to verdicts. No clock, file,
// task, chance or log.
pub mod judgement;
pub mod measurement;
pub mod statistics;
pub mod template;
pub mod track;
pub mod waveform;

// Floor 2, intent: text to checked values, with every fault collected.
pub mod document;

pub mod catalogue;
pub mod model_board;
pub mod profile;

pub mod bench_file;
pub mod plan;

// Floor 3, facts: what happened, what it means, what is kept.
pub mod evaluate;
pub mod event;
pub mod observation;
pub mod record;
pub mod report;

// Floor 4, language and world: lines without a wire, boards without a bench.
pub mod physics;
pub mod protocol;

pub mod model_instruments;

// ---- the I/O line: below it nothing waits, reads or writes ----

// Floor 5, hands.
pub mod link;
#[rustfmt::skip] // In the order of the floor's law, not of the alphabet.
pub mod instruments;
pub mod model_bench;

pub mod bench;
pub mod store;

// Floor 6, procedure.
pub mod runner;
pub mod scenarios;

// Floor 7, faces.
pub mod cli;
pub mod console;
