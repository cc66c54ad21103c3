//! The command line as typed. Names, files and numbers are turned into checked
//! values later, by the command that needs them.

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
64 wrong usage, 65 a faulty file,\n69 bench not available, 70 a bug here, 74 records could not be written."
)]
pub(super) struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub(super) command: Command,

    /// Print JSON on standard output (JSON lines where it streams); everything
    /// else goes to standard error.
    #[arg(long, global = true)]
    pub(super) json: bool,

    /// Say on standard error what goes over the wires: `info`, `debug` or
    /// `trace`.
    #[arg(
        long,
        global = true,
        value_name = "LEVEL",
        env = "BUFFERSTOP_LOG",
        hide_env = true
    )]
    pub(super) log: Option<String>,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Accept a lot of 12 boards, two of them defective, on the model bench.
    #[command(after_help = "Example:  bufferstop demo --out /tmp/demo")]
    Demo(Demo),
    /// Run a plan on one board and keep its record.
    #[command(after_help = ACCEPT_AFTER)]
    Accept(Accept),
    /// Check plans, benches, profiles and model boards, and show what a plan
    /// will do.
    #[command(after_help = "Example:  bufferstop check plan.toml bench.toml")]
    Check(Check),
    /// List ports, identify the instruments of a bench and say what it cannot
    /// do.
    #[command(after_help = "Example:  bufferstop bench bench.toml")]
    Bench(BenchArguments),
    /// Serve the model instruments on pseudo-terminals until stopped.
    #[command(after_help = "Example:  bufferstop model-bench bench.toml --json")]
    ModelBench(ModelBench),
    /// Find and read records.
    #[command(subcommand)]
    Records(Records),
}

const ACCEPT_AFTER: &str = "\
Example:  bufferstop accept plan.toml --serial GR-0042 --bench bench.toml

CAUTION  This puts shorts and tens of amperes through the board. Wires and parts get hot, and parts
         can burst: wear eye protection, keep nothing near that burns, stay at the bench, and have
         an emergency stop and a supply fuse: this program is not a safety device. Neither output
         rail is ground. Mains work: follow your local codes and leave it to licensed people.";

#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Seed of the lot and of the bench's noise.
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Folder for records and reports.
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub(super) out: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct Accept {
    /// The plan.
    pub(super) plan: PathBuf,
    /// Serial number of the board; `-` reads one a line from standard input.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    pub(super) serial: String,
    /// The bench; without it the embedded model bench.
    #[arg(long, value_name = "BENCH", env = "BUFFERSTOP_BENCH")]
    pub(super) bench: Option<PathBuf>,
    /// Name of the lot, or a lot file.
    #[arg(long, value_name = "L", allow_hyphen_values = true)]
    pub(super) lot: Option<String>,
    /// Seed of the model bench.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) seed: u64,
    /// The model board to put on the model bench.
    #[arg(long, value_name = "FILE")]
    pub(super) model_board: Option<PathBuf>,
    /// Plant a defect of the model board's file, by name.
    #[arg(long, value_name = "NAME")]
    pub(super) defect: Option<String>,
    /// Folder for records and reports.
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub(super) out: PathBuf,
    /// Run only this scenario: a diagnosis, which accepts nothing.
    #[arg(long, value_name = "SCENARIO")]
    pub(super) only: Option<String>,
    /// Who is at the bench.
    #[arg(long, value_name = "NAME")]
    pub(super) operator: Option<String>,
    /// Ambient temperature, such as "23 degC".
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub(super) ambient: Option<String>,
    /// Why this board is tested again.
    #[arg(long, value_name = "REASON")]
    pub(super) retest: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct Check {
    /// Plans, benches, profiles and model boards, in any order. A plan and a
    /// bench given together are also checked against each other.
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct BenchArguments {
    /// The bench; without it the embedded model bench.
    #[arg(env = "BUFFERSTOP_BENCH")]
    pub(super) bench: Option<PathBuf>,
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
}

#[derive(Debug, Subcommand)]
pub(super) enum Records {
    /// Issue the certificate of a run, or of the last run of a serial number;
    /// asked again, the same bytes come out.
    #[command(
        after_help = "Example:  bufferstop records certificate GR-0042 --out-file GR-0042.pdf"
    )]
    Certificate(RecordsCertificate),
    /// List runs, newest last.
    #[command(after_help = "Example:  bufferstop records list --lot GR-2026-03 --verdict fail")]
    List(RecordsList),
    /// Show a run, or the last run of a serial number.
    #[command(after_help = "Example:  bufferstop records show GR-0042")]
    Show(RecordsShow),
}

#[derive(Debug, Args)]
pub(super) struct StorePlace {
    /// Folder with records and reports.
    #[arg(long, value_name = "DIR", default_value = "reports")]
    pub(super) out: PathBuf,
    /// Look into the model bench's store instead of the real boards'.
    #[arg(long)]
    pub(super) model: bool,
}

#[derive(Debug, Args)]
pub(super) struct RecordsCertificate {
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// A run's identifier or a serial number.
    pub(super) which: String,
    /// Where it goes: a name ending in .pdf or .html; `certificate.pdf` without.
    #[arg(long, value_name = "FILE", default_value = "certificate.pdf")]
    pub(super) out_file: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct RecordsList {
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// Only this lot.
    #[arg(long)]
    pub(super) lot: Option<String>,
    /// Only this serial number.
    #[arg(long)]
    pub(super) serial: Option<String>,
    /// Only this verdict: pass, fail or inconclusive.
    #[arg(long)]
    pub(super) verdict: Option<String>,
}

#[derive(Debug, Args)]
pub(super) struct RecordsShow {
    #[command(flatten)]
    pub(super) place: StorePlace,
    /// A run's identifier or a serial number.
    pub(super) which: String,
}
