//! What `bufferstop records` is told, as typed. Nothing here is checked beyond
//! its shape.

use crate::report::{FORMATS, Format, Made};
use clap::{Arg, ArgAction, ArgGroup, ArgMatches, Args, Command, FromArgMatches, Subcommand};
use std::path::PathBuf;

#[derive(Debug, Subcommand)]
pub(in crate::cli) enum Records {
    /// Copy the whole store to a new file, safely also while runs go on.
    #[command(after_help = "Example:  bufferstop records backup records-backup.sqlite")]
    Backup(RecordsBackup),
    /// Hand out a run as one file that stands alone, or metrics as rows.
    #[command(after_help = EXPORT_AFTER)]
    Export(RecordsExport),
    /// Issue the certificate of a run, or of the last run of a serial number;
    /// asked again, the same bytes come out.
    #[command(
        after_help = "Example:  bufferstop records certificate GR-0042 --out-file GR-0042.pdf"
    )]
    Certificate(RecordsCertificate),
    /// Tell all that is known of one board: runs, failures, retests, remarks, papers.
    #[command(after_help = "Example:  bufferstop records history GR-0042")]
    History(RecordsHistory),
    /// Make a key to sign records with.
    #[command(after_help = KEY_AFTER)]
    Key(RecordsKey),
    /// Print a sheet of labels for the boards whose last whole run passed.
    #[command(after_help = LABEL_AFTER)]
    Label(RecordsLabel),
    /// List runs, newest last.
    #[command(after_help = "Example:  bufferstop records list --lot GR-2026-03 --verdict fail")]
    List(RecordsList),
    /// Sum up a lot: yield, what boards failed by, capability, drift.
    #[command(after_help = LOT_AFTER)]
    Lot(RecordsLot),
    /// Add a remark to a run, such as a repair; the run stays as it was.
    #[command(after_help = "Example:  bufferstop records note GR-0042 \"replaced R7, cold joint\"")]
    Note(RecordsNote),
    /// Show a run, or the last run of a serial number.
    #[command(after_help = "Example:  bufferstop records show GR-0042")]
    Show(RecordsShow),
    /// Sign a finished run; the signature is kept with it.
    #[command(after_help = "Example:  bufferstop records sign GR-0042 --key workshop.key")]
    Sign(RecordsSign),
    /// Check that no entry was changed, removed or moved since it was written.
    #[command(after_help = VERIFY_AFTER)]
    Verify(RecordsVerify),
}

const EXPORT_AFTER: &str = "\
Example:  bufferstop records export GR-0042 --out-file GR-0042.json
          bufferstop records export --csv --lot GR-2026-03 --out-file lot.csv
          bufferstop records export --parquet --out-file all.parquet
          bufferstop records export GR-0042 --junit --out-file GR-0042.xml

The file holds the record, every line of the run with its links in the chain,
and the bytes of what was seen. Its `how_to_check` says how to redo the chain
with sha256sum.";

const KEY_AFTER: &str = "\
Example:  bufferstop records key workshop.key

Writes the secret key workshop.key, readable by you alone, and
workshop.key.pub, to hand out. Whoever has the secret key can sign in your
name, and nobody can take a signature back: keep it off shared disks and out
of backups that others read. A lost key cannot be made again; records it
signed stay signed. What a signature is worth depends on how the other side
came by the public key.";

const LABEL_AFTER: &str = "\
Example:  bufferstop records label --lot GR-2026-03 --sheet 63.5x38.1 \\
              --out-file labels.pdf
          bufferstop records label --model --specimen --out-file specimen.pdf

Runs on the model bench never enter a label; --specimen shows what one looks
like, and says so on it.";

const LOT_AFTER: &str = "\
Example:  bufferstop records lot GR-2026-03 --out-file lot.html";

const VERIFY_AFTER: &str = "\
Example:  bufferstop records verify --head 5f0c...
          bufferstop records verify --key workshop.key.pub
          bufferstop records verify --file GR-0042.json

A cut end or a rewritten store is found only with a head printed elsewhere,
such as on a certificate. Exit status: 0 intact, 1 altered.";

#[derive(Debug, Args)]
pub(in crate::cli) struct StorePlace {
    /// Folder with records and reports, `reports` without it; `bufferstop.toml` may
    /// name another.
    #[arg(long, value_name = "DIR")]
    pub(in crate::cli) out: Option<PathBuf>,
    /// Look into the model bench's store instead of the real boards'.
    #[arg(long)]
    pub(in crate::cli) model: bool,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsCertificate {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A run's identifier or a serial number.
    #[arg(required_unless_present = "lot")]
    pub(in crate::cli) which: Option<String>,
    /// Every board of this lot instead: its last whole run, a PDF file each.
    #[arg(long, conflicts_with = "which", requires = "folder")]
    pub(in crate::cli) lot: Option<String>,
    /// Where the papers of a lot go, each named after its board.
    #[arg(long, value_name = "DIR", requires = "lot")]
    pub(in crate::cli) folder: Option<PathBuf>,
    /// Where it goes: a name ending in .pdf or .html; `certificate.pdf` without.
    #[arg(
        long,
        value_name = "FILE",
        default_value = "certificate.pdf",
        conflicts_with = "lot"
    )]
    pub(in crate::cli) out_file: PathBuf,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsHistory {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// The board's serial number.
    pub(in crate::cli) serial: String,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsKey {
    /// The new file for the secret key; the public one is named after it.
    pub(in crate::cli) file: PathBuf,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsSign {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A run's identifier or a serial number.
    #[arg(required_unless_present = "lot")]
    pub(in crate::cli) which: Option<String>,
    /// Every board of this lot instead: its last whole run.
    #[arg(long, conflicts_with = "which")]
    pub(in crate::cli) lot: Option<String>,
    /// The file with the secret key.
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) key: PathBuf,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsLabel {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// The new PDF file, never written over.
    #[arg(long, alias = "file", value_name = "FILE")]
    pub(in crate::cli) out_file: PathBuf,
    /// A common A4 grid, by the size of a label in millimetres: 70x37 has 3 by
    /// 8 labels without gaps, 63.5x38.1 has 3 by 7. What follows states another.
    #[arg(long, value_name = "SIZE", default_value = "70x37", value_parser = ["70x37", "63.5x38.1"])]
    pub(in crate::cli) sheet: String,
    /// Labels beside each other on a sheet.
    #[arg(long, value_name = "N")]
    pub(in crate::cli) columns: Option<u8>,
    /// Labels below each other on a sheet.
    #[arg(long, value_name = "N")]
    pub(in crate::cli) rows: Option<u8>,
    /// Width of a label in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) label_width: Option<f64>,
    /// Height of a label in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) label_height: Option<f64>,
    /// From the sheet's left edge to the first label, in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) margin_left: Option<f64>,
    /// From its top edge, in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) margin_top: Option<f64>,
    /// Between two labels beside each other, in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) gap_across: Option<f64>,
    /// Between two labels below each other, in millimetres.
    #[arg(long, value_name = "MM")]
    pub(in crate::cli) gap_down: Option<f64>,
    /// Places at the start of the first sheet that are used up.
    #[arg(long, default_value_t = 0, value_name = "PLACES")]
    pub(in crate::cli) skip: u8,
    /// Mark every label as a specimen that belongs on no board.
    #[arg(long)]
    pub(in crate::cli) specimen: bool,
    /// Only this lot.
    #[arg(long)]
    pub(in crate::cli) lot: Option<String>,
    /// Only this serial number.
    #[arg(long)]
    pub(in crate::cli) serial: Option<String>,
}

fn room(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(room) if (1.0..=20.0).contains(&room) => Ok(room),
        _ => Err("from 1 to 20 standard deviations".to_owned()),
    }
}

/// Which runs; what is not given is not asked.
#[derive(Debug, Args)]
pub(in crate::cli) struct RunFilter {
    /// Only this lot.
    #[arg(long)]
    pub(in crate::cli) lot: Option<String>,
    /// Only this serial number.
    #[arg(long)]
    pub(in crate::cli) serial: Option<String>,
    /// Only this verdict: pass, fail or inconclusive.
    #[arg(long)]
    pub(in crate::cli) verdict: Option<String>,
    /// Only runs started on this day (UTC) or later, or at this moment or later.
    #[arg(long, value_name = "DATE")]
    pub(in crate::cli) from: Option<String>,
    /// Only runs started on this day (UTC) or earlier, or before this moment.
    #[arg(long, value_name = "DATE")]
    pub(in crate::cli) until: Option<String>,
    /// Only runs in which this metric failed, such as `trip_time`.
    #[arg(long, value_name = "METRIC")]
    pub(in crate::cli) failing: Option<String>,
    /// Only runs in which this scenario of their plan failed.
    #[arg(long, value_name = "SCENARIO")]
    pub(in crate::cli) failing_scenario: Option<String>,
    /// Only runs that looked for this metric; rows of this metric alone.
    #[arg(long, value_name = "METRIC")]
    pub(in crate::cli) metric: Option<String>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsBackup {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// The new file; nothing is ever written over.
    pub(in crate::cli) file: PathBuf,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsExport {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A run's identifier or a serial number.
    #[arg(required_unless_present_any = of_many().chain(["folder"]))]
    pub(in crate::cli) which: Option<String>,
    /// A file for each run that the filters choose, such as a whole lot's, in this
    /// folder.
    #[arg(long, value_name = "DIR", conflicts_with_all = ["which", "out_file"])]
    pub(in crate::cli) folder: Option<PathBuf>,
    /// The new file, never written over; without it standard output.
    #[arg(long, alias = "file", value_name = "FILE")]
    pub(in crate::cli) out_file: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::cli) format: Chosen,
    #[command(flatten)]
    pub(in crate::cli) filter: RunFilter,
}

/// The form that one of the options asks for, an option each.
#[derive(Debug)]
pub(in crate::cli) struct Chosen(pub(in crate::cli) Option<&'static Format>);

/// Forms that hold more than one run.
fn of_many() -> impl Iterator<Item = &'static str> {
    let one = |made| matches!(made, Made::Whole(..));
    let many = FORMATS.iter().filter(move |format| !one(format.made));
    many.map(|format| format.name)
}

impl Args for Chosen {
    fn augment_args(command: Command) -> Command {
        let options = FORMATS.iter().map(|format| {
            let option = Arg::new(format.name).long(format.name).help(format.about);
            let option = option.action(ArgAction::SetTrue);
            match format.made {
                Made::Table(_) => option.requires("out_file"),
                Made::Whole(..) | Made::Lines(_) => option,
            }
        });
        let names = FORMATS.iter().map(|format| format.name);
        let one = ArgGroup::new("format").args(names);
        command.args(options).group(one)
    }

    fn augment_args_for_update(command: Command) -> Command {
        Self::augment_args(command)
    }
}

impl FromArgMatches for Chosen {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let mut formats = FORMATS.iter();
        Ok(Self(formats.find(|format| matches.get_flag(format.name))))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Self::from_arg_matches(matches)?;
        Ok(())
    }
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsList {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    #[command(flatten)]
    pub(in crate::cli) filter: RunFilter,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsLot {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// Name of the lot.
    pub(in crate::cli) lot: String,
    /// Propose limits from its boards, as TOML for a plan.
    #[arg(long, conflicts_with = "out_file")]
    pub(in crate::cli) propose_limits: bool,
    /// How far proposed limits lie from the mean, in standard deviations.
    #[arg(long, default_value_t = 4.0, requires = "propose_limits", value_parser = room)]
    pub(in crate::cli) room: f64,
    /// Write a report with charts: a name ending in .html or .pdf.
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) out_file: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsNote {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A run's identifier or a serial number.
    pub(in crate::cli) which: String,
    /// The remark.
    #[arg(allow_hyphen_values = true)]
    pub(in crate::cli) text: String,
    /// Who writes it.
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) author: Option<String>,
    /// The author has looked at the bench and everything on it is off: asked for
    /// before a certificate, where the end of the run did not prove it.
    #[arg(long, requires = "author")]
    pub(in crate::cli) bench_is_off: bool,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsShow {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A run's identifier or a serial number.
    pub(in crate::cli) which: String,
}

#[derive(Debug, Args)]
pub(in crate::cli) struct RecordsVerify {
    #[command(flatten)]
    pub(in crate::cli) place: StorePlace,
    /// A link printed on a certificate, which the chain must still contain.
    #[arg(long, value_name = "DIGEST")]
    pub(in crate::cli) head: Option<String>,
    /// A public key, as its file or 64 hexadecimal digits: at least one run
    /// must be signed by it, and every signature must hold.
    #[arg(long, value_name = "PUBLIC")]
    pub(in crate::cli) key: Option<String>,
    /// How many runs must be signed by that key.
    #[arg(long, value_name = "COUNT", requires = "key", conflicts_with = "file")]
    pub(in crate::cli) signed: Option<u64>,
    /// Check a file of `records export` instead of the store.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["model", "head"])]
    pub(in crate::cli) file: Option<PathBuf>,
}
