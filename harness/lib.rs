//! Bufferstop tests track boosters: it commands a bench over serial ports,
//! provokes load, overload, short and polarity reversal, and judges what it
//! measured against declared limits.
//!
//! The command `bufferstop` does all of it; each part is of use alone as well.
//!
//! # Analyse a capture
//!
//! A current of 3 A rises to 12 A and is cut off 8 ms later. The onset level is the
//! trip current; the trip time comes with its expanded uncertainty U (k = 2).
//!
//! ```
//! use bufferstop::inspection::CurrentListener;
//!
//! let (period, step, onset) = (10e-6, 1e-3, 4.0);
//! let mut listener = CurrentListener::new(0.0, period, step, onset);
//! for sample in 0..4000 {
//!     let time = f64::from(sample) * period;
//!     listener.push(match time {
//!         _ if time < 5e-3 => 3.0,
//!         _ if time < 13e-3 => 12.0,
//!         _ => 0.0,
//!     });
//! }
//! let trip = listener.finish();
//! let time = trip.trip_time.and_then(|found| found.estimate()).expect("it tripped");
//! assert!((time.value - 8e-3).abs() <= time.expanded());
//! assert!(time.expanded() < 2.0 * period);
//! ```
//!
//! # Judge a measurement
//!
//! Guarded acceptance (JCGM 106:2012, 8.3.2) passes what is inside a limit by its
//! expanded uncertainty. A current that never ended is a lower bound, not a missing
//! number.
//!
//! ```
//! use bufferstop::judgement::{DecisionRule, Limit, Verdict, decide};
//! use bufferstop::measurement::{Estimate, Finding};
//!
//! let limit = Limit {
//!     lower: None,
//!     upper: Some(25e-3),
//!     rule: DecisionRule::GuardedAcceptance { guard: 1.0 },
//!     source: "data sheet, section 5".to_owned(),
//! };
//! let verdict = |finding| decide(&finding, &limit).verdict;
//! // 24.8 ms and 24.0 ms, each with a standard uncertainty of 0.2 ms.
//! let close = Finding::Value(Estimate::new(24.8e-3, 0.2e-3));
//! let clear = Finding::Value(Estimate::new(24.0e-3, 0.2e-3));
//! let endless = Finding::Above(Estimate::new(198e-3, 0.2e-3));
//! assert_eq!(verdict(close), Verdict::Inconclusive);
//! assert_eq!(verdict(clear), Verdict::Pass);
//! assert_eq!(verdict(endless), Verdict::Fail);
//! ```
//!
//! # Run a plan on a model bench
//!
//! The same procedures as on real instruments, on a circuit that is computed; the
//! record is kept in a store and comes back.
//!
//! ```
//! use bufferstop::clock::SystemClock;
//! use bufferstop::ident::Role;
//! use bufferstop::judgement::Verdict;
//! use bufferstop::plan::demo;
//! use bufferstop::runner::{Entrant, Particulars, Rehearsal, Stop};
//! use bufferstop::seed::Seed;
//! use bufferstop::store::{Durability, Store};
//! use bufferstop::{bench_file, model_board, plan, profile};
//! # use std::error::Error;
//!
//! # fn main() -> Result<(), Box<dyn Error>> {
//! let (mut plan, _) = plan::parse(&[demo::plan()]).expect("the demo's plan is sound");
//! plan.leave_out(|scenario| scenario.name != "short");
//! let (bench, _) = bench_file::parse(&demo::bench()).expect("the demo's bench is sound");
//! let (board, _) = model_board::parse(&demo::board()).expect("its board is sound");
//! let profiles = Role::ALL
//!     .into_iter()
//!     .filter_map(|role| Some((role, profile::shipped(role.word())?)))
//!     .collect();
//!
//! let folder = tempfile::tempdir()?;
//! let store = Store::for_run(folder.path(), true, Durability::AtEnd, &SystemClock)?;
//! let (_raise, raised) = tokio::sync::watch::channel(false);
//! let rehearsal = Rehearsal {
//!     plan: &plan,
//!     bench: &bench,
//!     profiles: &profiles,
//!     files: &[],
//!     store: &store,
//!     clock: &SystemClock,
//!     threads: 1,
//!     stop: &Stop::new(raised),
//! };
//! let seed = Seed(1);
//! let entrant = Entrant {
//!     run: "example-1".parse()?,
//!     particulars: Particulars {
//!         serial: "EX-1".parse()?,
//!         lot: None,
//!         seed,
//!         operator: None,
//!         ambient: None,
//!         retest: None,
//!         only: None,
//!         without: Vec::new(),
//!         planted: Vec::new(),
//!     },
//!     board: board.draw(seed, 1),
//!     identity: board.identity.clone(),
//!     seed,
//! };
//! let mut verdicts = Vec::new();
//! rehearsal.perform(&[entrant], |_, finished| {
//!     verdicts.extend(finished.map(|finished| finished.record.verdict()));
//!     true
//! });
//! assert_eq!(verdicts, [Verdict::Pass]);
//! # Ok(())
//! # }
//! ```
//!
//! # How it is built
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

// A sitting at a bench: files, boards one after another, papers.
pub mod sitting;

// Floor 9, faces.

// What a terminal shows.
pub mod console;

// The page at the bench.
pub mod page;

// The command.
pub mod cli;
