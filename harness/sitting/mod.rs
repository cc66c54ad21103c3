//! What a person's sitting at a bench needs, whichever face they sit before: the
//! files read, the board mounted, the runs one after another, and the papers. It
//! prints nothing; what hinders it says so in words and whose turn it is.

mod acceptance;
mod evaluated_again;
mod file_kind;
mod files;
mod hindrance;
mod history;
mod left_on;
mod logo;
mod lot_reading;
mod mounting;
mod own_workshop;
mod papers;
pub mod plain_file;
mod refusal;
mod session;

pub use acceptance::{Acceptance, Outcome, Setting, Warn};
pub use evaluated_again::{marked, metrics};
pub use file_kind::Kind as FileKind;
pub use files::{BenchFiles, Files, Sound, other_family};
pub use hindrance::Hindrance;
pub use history::{Happened, history};
pub use left_on::{refuse, refuse_at, was_looked_at};
pub use lot_reading::lot;
pub use mounting::{Mounted, drawn, mounted, next_bench, open_bench, opened, place, planted};
pub use own_workshop::{OwnWorkshop, is_lot_file};
pub use papers::{
    PAPER, document, headline, is_wound_up, paper_name, seal_of, seals, signed_words,
};
pub use refusal::{of_one_family, refusal, serial};
pub use session::{Session, watching};
