//! What `bufferstop serve` is told, as typed. Nothing here is checked beyond its shape.

use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub(in crate::cli) struct Serve {
    /// Folder of plans, benches and lots to choose from.
    #[arg(value_name = "FOLDER", default_value = ".")]
    pub(in crate::cli) files: PathBuf,
    /// Address, port or both. Without it only this computer reaches the page; where
    /// others do, the token that is printed once is asked for.
    #[arg(long, value_name = "ADDRESS")]
    pub(in crate::cli) listen: Option<String>,
    /// A name by which browsers reach the server besides its address. May be given
    /// several times.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) name: Vec<String>,
    /// Folder for records and reports, `reports` without it; `bufferstop.toml` may
    /// name another.
    #[arg(long, value_name = "DIR")]
    pub(in crate::cli) out: Option<PathBuf>,
    /// The key that stops a run beside Escape, as a foot switch types it: the name
    /// that browsers give it.
    #[arg(long, value_name = "KEY", default_value = "F9")]
    pub(in crate::cli) stop_key: String,
    /// Seed of the model bench.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(in crate::cli) seed: u64,
}
