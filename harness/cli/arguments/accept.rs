//! What `bufferstop accept` is told, as typed. Nothing here is checked beyond its shape.

use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(in crate::cli) struct Accept {
    /// The plan.
    pub(in crate::cli) plan: PathBuf,
    /// Serial number of the board; `-` reads one a line from standard input,
    /// and a range such as `GR-{0001..0040}` is a whole lot.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    pub(in crate::cli) serial: String,
    /// The bench; without it the embedded model bench.
    #[arg(long, value_name = "BENCH", env = "BUFFERSTOP_BENCH")]
    pub(in crate::cli) bench: Option<PathBuf>,
    /// Name of the lot, or a lot file.
    #[arg(long, value_name = "L", allow_hyphen_values = true)]
    pub(in crate::cli) lot: Option<String>,
    /// Seed of the model bench.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(in crate::cli) seed: u64,
    /// The model board to put on the model bench.
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) model_board: Option<PathBuf>,
    /// Plant a defect of the model board's file, by name.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) defect: Option<String>,
    /// Folder for records and reports, `reports` without it; `bufferstop.toml` may
    /// name another.
    #[arg(long, value_name = "DIR")]
    pub(in crate::cli) out: Option<PathBuf>,
    /// Run only this scenario: a diagnosis, which accepts nothing. May be given
    /// several times.
    #[arg(long, value_name = "SCENARIO")]
    pub(in crate::cli) only: Vec<String>,
    /// Leave this scenario out and say why, as in short="no switch yet": every
    /// paper says that it was not tested. May be given several times.
    #[arg(long, value_name = "SCENARIO=REASON", conflicts_with = "only")]
    pub(in crate::cli) without: Vec<String>,
    /// Who is at the bench.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) operator: Option<String>,
    /// Ambient temperature, such as "23 degC". Without it the bench's thermometer is
    /// read where its probe is at the ambient; what is stated goes before a reading.
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub(in crate::cli) ambient: Option<String>,
    /// Why this board is tested again.
    #[arg(long, value_name = "REASON")]
    pub(in crate::cli) retest: Option<String>,
    /// The cautions below are read and the bench is attended: a real bench is
    /// opened without asking. Without it a person confirms them on a terminal,
    /// and again for each board.
    #[arg(long)]
    pub(in crate::cli) ready: bool,
    /// Take every step that the bench file leaves to a person for done, in a script
    /// whose bench is prepared: each record says so. Readings are not assumed.
    #[arg(long)]
    pub(in crate::cli) assume_operator: bool,
    /// The whole plan as a trial: a diagnosis, which accepts nothing and enters no
    /// lot's statistics.
    #[arg(long, conflicts_with = "only")]
    pub(in crate::cli) trial: bool,
}
