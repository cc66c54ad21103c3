//! Bufferstop tests track boosters: it commands a bench over serial ports,
//! provokes load, overload, short and polarity reversal, and judges what it
//! measured against declared limits.
//!
//! The modules stand in floors. A module imports only modules declared above
//! it; `tests/floors.rs` holds that law and names each breach. Read in this
//! order: this file, [`event`], `runner::order`, [`scenario::overload`],
//! `judgement::decide`.
//!
//! (A blank line or comment between two modules keeps the formatter from
//! sorting them: here the order carries meaning.)

// Floor 0, words: what everything else is written in.

// Quantities with their dimension in the type.
pub mod units;

// Names that come from people and files, checked once.
pub mod ident;

// Bench time in picoseconds, wall time behind a trait.
pub mod clock;

// The one source of chance.
pub mod seed;

// Content hashes.
pub mod digest;

// Checksums behind lines.
pub mod checksum;

// Floor 1, science: samples to numbers, numbers to verdicts. No clock, file,
// task, chance or log.

// What is known of a quantity: value, bound or reason.
pub mod measurement;

// What is known of many: lots, shifts, capability.
pub mod statistics;

// Samples, levels and instants.
pub mod waveform;

// Bits and packets of the track signal.
pub mod track;

// One examination of a fault current, with its marks.
pub mod interruption;

// Capture files from anywhere, push-based.
pub mod capture_file;

// What a capture from anywhere says of the signal in it.
pub mod inspection;

// Limits to verdicts.
pub mod judgement;

// Lines and words on pages, as SVG and PDF.
pub mod drawing;

// Command lines with named places.
pub mod template;

// Floor 2, intent: text to checked values, with every fault collected.

// TOML with positions.
pub mod document;

// Who issues papers, and what commands take where nothing is stated.
pub mod workshop;

// How to talk to a model of instrument.
pub mod profile;

// Model boards, their spread and their defects.
pub mod model_board;

// Instruments, wiring and envelope.
pub mod bench_file;

// Floor 3, scenarios: a room each.

// What each measures, how it is set, driven and evaluated.
pub mod scenario;

// Floor 4, intent.

// What to do, and the limits.
pub mod plan;

// What may be done to a board: the one place that knows what could flow.
pub mod envelope;

// The procedures of a plan without a bench: steps, times and faults.
pub mod preflight;

// Floor 5, facts: what happened, what it means, what is kept.

// What happened, in one order.
pub mod event;

// The fold of the events, and the chain over all of them.
pub mod record;

// Records beside each other: judged again, or lot against lot.
pub mod comparison;

// A record as bytes for others.
pub mod report;

// What a plan catches of known defects, and what escapes it.
pub mod proof;

// Records, lots and proofs as documents to hand out: HTML and PDF.
pub mod handout;

// Floor 6, language and world: lines without a wire, boards without a bench.

// SCPI-1999 with IEEE 488.2 replies, both ends.
pub mod protocol;

// The model board as a circuit.
pub mod physics;

// Instruments that answer lines.
pub mod model_instruments;

// ---- the I/O line: below it nothing waits, reads or writes ----

// Floor 7, hands.

// Work on several threads, its results in order.
pub mod parallel;

// One task owns one port.
pub mod link;

// Typed instruments over ports.
pub mod instruments;

// The model bench behind wires.
pub mod model_bench;

// The bench with its interlock, its clock and its way to safety.
pub mod bench;

// The database.
pub mod store;

// Floor 8, procedure.

// Order, executor, dispatcher.
pub mod runner;

// Floor 9, faces.

// What a terminal shows.
pub mod console;

// The command.
pub mod cli;
