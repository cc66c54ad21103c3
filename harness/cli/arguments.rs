//! The command line as typed. Names, files and numbers are turned into checked
//! values later, by the command that needs them.

mod accept;
mod new;
mod records;
mod serve;

pub(super) use accept::*;
pub(super) use new::*;
pub(super) use records::*;
pub(super) use serve::*;

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Acceptance tests for model-railway track boosters.
#[derive(Debug, Parser)]
#[command(
    name = "bufferstop",
    version,
    propagate_version = true,
    max_term_width = 100
)]
#[command(
    after_help = "Start with:  bufferstop demo\n\nExit status: 0 pass, 1 a board failed, 2 not judged, \
64 wrong usage,\n65 a faulty file, 69 bench not available, 70 a bug here, 74 records could not\nbe written."
)]
pub(super) struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Command,

    /// Print JSON on standard output (JSON lines where it streams); everything
    /// else goes to standard error.
    #[arg(long, global = true)]
    pub(super) json: bool,

    /// Say on standard error what happens: `info` ports, instruments and what is let
    /// in, `debug` also what goes over the wires, blocks shortened, `trace` all.
    #[arg(
        long,
        global = true,
        value_name = "LEVEL",
        env = "BUFFERSTOP_LOG",
        hide_env = true
    )]
    pub(super) log: Option<String>,

    /// Keep every byte that goes over the wires, with its time, in this new file.
    #[arg(long, global = true, value_name = "FILE")]
    pub(super) trace: Option<PathBuf>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Accept a lot of 12 boards, two of them defective, on the model bench.
    #[command(
        after_help = "Example:  bufferstop demo --out /tmp/demo\n          bufferstop demo --substitute trip-filter"
    )]
    Demo(Demo),
    /// Run a plan on one board and keep its record.
    #[command(after_help = ACCEPT_AFTER)]
    Accept(Accept),
    /// Serve the page at the bench: run boards, watch and look them up from a
    /// browser.
    #[command(after_help = SERVE_AFTER)]
    Serve(Serve),
    /// Check plans, benches, profiles and model boards, and show what a plan
    /// will do.
    #[command(after_help = "Example:  bufferstop check plan.toml bench.toml")]
    Check(Check),
    /// Say what a scenario provokes and what a metric means.
    #[command(
        after_help = "Example:  bufferstop guide short\n          bufferstop guide short.trip_time"
    )]
    Guide(Guide),
    /// Compare two lots metric by metric, after a part was substituted.
    #[command(after_help = COMPARE_AFTER)]
    Compare(Compare),
    /// Plant every known defect in model boards and show which scenario of a
    /// plan detects it, what escapes, and how often a good board is rejected.
    #[command(after_help = PROVE_AFTER)]
    Prove(Prove),
    /// List ports, identify the instruments of a bench and say what it cannot
    /// do.
    #[command(after_help = "Example:  bufferstop bench bench.toml")]
    Bench(BenchArguments),
    /// Analyse a capture file of any scope or logic capture device: signal
    /// timing by S-9.1, packets, cutouts, a trip.
    #[command(after_help = INSPECT_AFTER)]
    Inspect(Inspect),
    /// Serve the model instruments on pseudo-terminals until stopped.
    #[command(after_help = MODEL_BENCH_AFTER)]
    ModelBench(ModelBench),
    /// Holds the ports when the program is killed; started by the program
    /// itself.
    #[command(hide = true)]
    Guardian,
    /// Print what a shell needs to complete commands and options.
    #[command(
        after_help = "Example:  bufferstop shell bash > \\\n              ~/.local/share/bash-completion/completions/bufferstop"
    )]
    Shell(ShellArguments),
    /// Print the manual for `man`.
    #[command(after_help = "Example:  bufferstop manual > bufferstop.1; man ./bufferstop.1")]
    Manual,
    /// Write a commented file to start from, of a few numbers.
    #[command(after_help = NEW_AFTER)]
    New(NewFile),
    /// Find and read records.
    #[command(subcommand)]
    Records(Records),
    /// Judge recorded captures again, under another plan; touches no
    /// instrument and no record.
    #[command(after_help = "Example:  bufferstop rejudge --lot GR-2026-03 --plan stricter.toml")]
    Rejudge(Rejudge),
}

const MODEL_BENCH_AFTER: &str = "\
Example:  bufferstop model-bench bench.toml --write served.toml

A line on standard input puts another board on: a serial number, or nothing
for the next one of the lot. What is measured there is a model's: every
verdict reads MODEL, whichever way it is reached.";

const ACCEPT_AFTER: &str = "\
Example:  bufferstop accept plan.toml --serial GR-0042 --bench bench.toml

CAUTION  This puts shorts and tens of amperes through the board. Hands out of
         the fixture, no jewellery, eye protection on: shorts arc, contacts
         weld, parts burst. Capacitors stay charged: wait and measure. The
         heat sink stays hot after a soak. Keep nothing near that burns, an
         extinguisher for electrical fires within reach, and an emergency stop
         and a supply fuse; a battery has its fuse at the terminal and is
         never charged here. Never unattended, never alone. This program is
         not a safety device. Neither output rail is ground. Mains work: for
         licensed people, under your local codes.";

const SERVE_AFTER: &str = "\
Example:  bufferstop serve bench-files
          bufferstop serve bench-files --listen 192.0.2.7 --name bench.example

The address that it prints opens the page. One page commands at a time, all
others watch, and any may stop. Closing a page ends no run. Nothing is energised
before the cautions of `bufferstop accept --help` are confirmed on the page and
the board is started there. Where others reach the server, use it in a network
that you trust: what goes over it is not encrypted.";

#[derive(Debug, Args)]
pub(super) struct Guide {
    /// A scenario, a metric as SCENARIO.METRIC, or a key of a file as in
    /// profile.line.echo; without it all scenarios.
    #[arg(value_name = "TOPIC")]
    pub(super) topic: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Seed of the lot and of the bench's noise.
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Folder for records and reports.
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub(super) out: PathBuf,
    /// Instead, accept two lots of 24 boards, the second with this part
    /// substituted, and compare them.
    #[arg(long, value_enum, value_name = "PART")]
    pub(super) substitute: Option<SubstitutedPart>,
}

/// Parts that the demo can substitute.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum SubstitutedPart {
    /// A current sensor from a second source, of 4 % less gain.
    CurrentSensor,
    /// A larger trip filter.
    TripFilter,
}

#[derive(Debug, Args)]
pub(super) struct Check {
    /// Plans, benches, profiles and model boards, in any order. A plan and a
    /// bench given together are also checked against each other.
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct ShellArguments {
    /// Which shell.
    #[arg(value_enum)]
    pub(super) shell: clap_complete::Shell,
}

#[derive(Debug, Args)]
pub(super) struct BenchArguments {
    /// The bench; without it the embedded model bench.
    #[arg(env = "BUFFERSTOP_BENCH")]
    pub(super) bench: Option<PathBuf>,
    /// Try every command of one instrument's profile with values that hurt nothing,
    /// and show each exchange: a role of the bench, or a profile's file with --port.
    #[arg(long = "try", value_name = "ROLE")]
    pub(super) tried: Option<String>,
    /// Where the instrument of that profile is: /dev/ttyUSB0 or host:5025.
    #[arg(long, value_name = "PORT", requires = "tried")]
    pub(super) port: Option<String>,
    /// Try without asking what switches something on: 1 V at 100 mA by a supply, 100 mA
    /// by a load, a contact for 10 ms, the track signal on the board's inputs by a drive.
    #[arg(long, requires = "tried")]
    pub(super) ready: bool,
    /// Folder with records, `reports` without it; `bufferstop.toml` may name another.
    /// Where the last run on that port left something on, nothing is tried.
    #[arg(long, value_name = "DIR", requires = "tried")]
    pub(super) out: Option<PathBuf>,
}

const PROVE_AFTER: &str = "\
Example:  bufferstop prove plan.toml --bench bench.toml \\
              --model-board board.toml --out proof
          bufferstop prove plan.toml --only-defect 'cold joint' \\
              --boards-per-defect 20

Always on model boards and an embedded model bench: of a bench file with ports
only the wiring, ranges and accuracies are used, and no port is opened.
Nothing enters a record store. A run takes half a second to a second of
processor time, so the defaults take about a minute on two cores.

Exit status: 0 nothing escapes, 1 a defect escapes, 2 ended early,
inconclusive, or no good board accepted either, 64 wrong usage, 65 a faulty
file.";

#[derive(Debug, Args)]
pub(super) struct Prove {
    /// The plan.
    pub(super) plan: PathBuf,
    /// The bench whose wiring the model bench is built from; without it the
    /// demo's.
    #[arg(long, value_name = "BENCH", env = "BUFFERSTOP_BENCH")]
    pub(super) bench: Option<PathBuf>,
    /// The model board; without it the bench's, or the demo's.
    #[arg(long, value_name = "FILE")]
    pub(super) model_board: Option<PathBuf>,
    /// Good boards, for how often one is falsely rejected.
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u64).range(1..=2000))]
    pub(super) boards: u64,
    /// Boards with each defect.
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..=100))]
    pub(super) boards_per_defect: u64,
    /// Seed of the boards' parts and of the bench's noise.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) seed: u64,
    /// Plant only this defect; may be given several times.
    #[arg(long, value_name = "NAME")]
    pub(super) only_defect: Vec<String>,
    /// Write proof.html and proof.pdf into this folder.
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
}

const INSPECT_AFTER: &str = "\
Example:  bufferstop inspect track.vcd --plot track.svg
          bufferstop inspect short.csv --current 'coil' --onset \"4 A\"
          bufferstop inspect codes.csv --no-header --rate \"2 MHz\" \\
              --scale \"0.2 V\"
          bufferstop inspect GR-0042 --select \"signal, no load\"
          bufferstop inspect GR-0042.json --select 3 --onset \"4 A\"

Reads value change dumps (IEEE 1364), tables (.csv, .tsv, .txt), .npy arrays
and sound files (.wav: PCM or float). Of a table it finds separator, decimal
comma, header lines, units ('time (us)', a line of units, words), rows that
are counted with their start and increment, and times of day; where two
readings are possible it asks by naming the option. A .npy file says neither
rate nor scale: give --rate, --scale and --offset, or a TOML file of the same
base name with 'format = 1', 'rate = \"1 MHz\"', 'scale = \"0.1 V\"' and perhaps
'offset = \"-12.8 V\"'; a sound file needs --scale.
Values x and z, a dump switched off, empty fields and what is not a number are
no readings: where they last, nothing is decided.
Of a run, from the store or out of a file that `records export` handed out, it
reads one capture: the node voltage, or with --onset the output current for a
trip; --column and --current name another signal.

Exit status: 0 every rule met, 1 a violation, 2 inconclusive or nothing to
judge, 64 wrong usage, 65 a faulty file.";

/// Which rules of S-9.1 the signal is checked against.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Audience {
    /// A power station's output, with packets and cutouts.
    Station,
    /// What a decoder must accept.
    Receiver,
}

#[derive(Debug, Args)]
pub(super) struct Inspect {
    /// The capture file: .vcd, .csv (.tsv, .txt), .npy, .wav or a run's file of
    /// `records export` (.json); or a serial number or run of the store.
    pub(super) capture: PathBuf,
    /// Which capture of a run: its number or its words; without it they are
    /// listed.
    #[arg(long = "select", value_name = "CAPTURE")]
    pub(super) take: Option<String>,
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// The wire of a value change dump; not needed where there is one only.
    #[arg(long, value_name = "NAME")]
    pub(super) wire: Option<String>,
    /// The column with the rail-to-rail voltage, by name or by number from 1
    /// (.npy, .wav: its channel, from 0).
    #[arg(long, value_name = "NAME")]
    pub(super) column: Option<String>,
    /// The column is a logic signal: 0 is low, all else is high. Found where it
    /// holds nothing but 0 and 1 and names no unit.
    #[arg(long)]
    pub(super) logic: bool,
    /// The column with the time; without it the one that says so, else the first.
    #[arg(long, value_name = "NAME")]
    pub(super) time_column: Option<String>,
    /// The unit of the time column, such as us, where the file names none.
    #[arg(long, value_name = "UNIT")]
    pub(super) time_unit: Option<String>,
    /// What stands between the fields of a table; found where it is clear.
    #[arg(long, value_enum, value_name = "MARK")]
    pub(super) separator: Option<Separator>,
    /// Numbers have a decimal comma; found where it is clear.
    #[arg(long, conflicts_with = "decimal_point")]
    pub(super) decimal_comma: bool,
    /// Numbers have a decimal point.
    #[arg(long)]
    pub(super) decimal_point: bool,
    /// What groups the digits of large numbers, as in 1.000,5.
    #[arg(long, value_enum, value_name = "MARK")]
    pub(super) thousands: Option<Thousands>,
    /// No line names the columns: they are numbered from 1.
    #[arg(long)]
    pub(super) no_header: bool,
    /// Sampling rate, such as "1 MHz". Of a table: its rows lie so, whatever
    /// columns it has.
    #[arg(long, value_name = "RATE")]
    pub(super) rate: Option<String>,
    /// The instant of a table's first row, with --rate or an index column.
    #[arg(long, value_name = "TIME", allow_hyphen_values = true)]
    pub(super) start: Option<String>,
    /// Volts of one step of a .npy or .wav file, or of 1 in a table whose
    /// column names no unit, such as "0.1 V"; with --current alone amperes.
    #[arg(long, value_name = "SCALE", allow_hyphen_values = true)]
    pub(super) scale: Option<String>,
    /// Volts at code zero, such as "-12.8 V" where 128 is meant to be zero.
    #[arg(long, value_name = "OFFSET", allow_hyphen_values = true)]
    pub(super) offset: Option<String>,
    /// Which rules hold.
    #[arg(long, value_enum, default_value_t = Audience::Station)]
    pub(super) at: Audience,
    /// The column with a current (.npy, .wav: its channel; of a run not needed):
    /// looks for a trip.
    #[arg(long, value_name = "NAME", requires = "onset")]
    pub(super) current: Option<String>,
    /// The level at which the trip time begins, such as "4 A".
    #[arg(long, value_name = "CURRENT")]
    pub(super) onset: Option<String>,
    /// With --json: a line for every packet as it is read, then one for the
    /// inspection.
    #[arg(long)]
    pub(super) packets: bool,
    /// Draw the signal and its half-bits into this file.
    #[arg(long, value_name = "OUT.svg")]
    pub(super) plot: Option<PathBuf>,
}

/// What stands between the fields of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Separator {
    Comma,
    Semicolon,
    Tab,
    /// Blanks, however many.
    Space,
}

impl Separator {
    pub(super) const fn byte(self) -> u8 {
        match self {
            Self::Comma => b',',
            Self::Semicolon => b';',
            Self::Tab => b'\t',
            Self::Space => b' ',
        }
    }
}

/// What stands between groups of three digits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Thousands {
    Point,
    Comma,
}

impl Thousands {
    pub(super) const fn byte(self) -> u8 {
        match self {
            Self::Point => b'.',
            Self::Comma => b',',
        }
    }
}

#[derive(Debug, Args)]
pub(super) struct ModelBench {
    /// The bench file whose model is served; without it the embedded one.
    pub(super) bench: Option<PathBuf>,
    /// Seed of the bench's noise.
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// The model board to put on it.
    #[arg(long, value_name = "FILE")]
    pub(super) model_board: Option<PathBuf>,
    /// Which board of its lot is on the bench first.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) board: u64,
    /// Write a bench file for the served ports.
    #[arg(long, value_name = "FILE")]
    pub(super) write: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct Rejudge {
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// The plan; without it each run's recorded one.
    #[arg(long, value_name = "PLAN")]
    pub(super) plan: Option<PathBuf>,
    #[command(flatten)]
    pub(super) which: RejudgeWhich,
}

#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
pub(super) struct RejudgeWhich {
    /// One run, or the last run of a serial number.
    #[arg(long, value_name = "RUN")]
    pub(super) run: Option<String>,
    /// Every finished run of a lot.
    #[arg(long, value_name = "LOT")]
    pub(super) lot: Option<String>,
    /// Every finished run in the store.
    #[arg(long)]
    pub(super) all: bool,
}

const COMPARE_AFTER: &str = "\
Example:  bufferstop compare --baseline GR-2026-03 --candidate GR-2026-07 \\
              --out-file shift.html
          bufferstop compare --baseline GR-2026-03 --boards-needed

Exit status: 0 equivalent, 1 different, 2 not enough boards to say.";

#[derive(Debug, Args)]
pub(super) struct Compare {
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// The lot before the substitution.
    #[arg(long, value_name = "LOT")]
    pub(super) baseline: String,
    /// The lot after it.
    #[arg(long, value_name = "LOT", required_unless_present = "boards_needed")]
    pub(super) candidate: Option<String>,
    /// Show how many boards a lot needs; also without a candidate.
    #[arg(long)]
    pub(super) boards_needed: bool,
    /// The plan whose `[comparison]` names key metrics and margins; without it
    /// the candidate's recorded one.
    #[arg(long, value_name = "PLAN")]
    pub(super) plan: Option<PathBuf>,
    /// Write a report with pictures: a name ending in .html or .pdf.
    #[arg(long, value_name = "FILE")]
    pub(super) out_file: Option<PathBuf>,
}
