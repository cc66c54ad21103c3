//! A report about lots into a file of the wanted form. It knows no report.

use super::arguments::StorePlace;
use super::exit::Exit;
use super::records::open;
use crate::ident::harmless;
use std::path::Path;

/// The forms a report is handed out in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Html,
    Pdf,
}

impl Form {
    /// By the ending of the file's name.
    pub(super) fn of(path: &Path) -> Result<Self, Exit> {
        match path.extension().and_then(|ending| ending.to_str()) {
            Some("pdf") => Ok(Self::Pdf),
            Some("html") => Ok(Self::Html),
            _ => {
                anstream::eprintln!("--out-file: the name must end in .pdf or .html");
                Err(Exit::Usage)
            }
        }
    }
}

/// Says what is wrong where there is no store.
pub(super) fn present(place: &StorePlace) -> Result<(), Exit> {
    open(place).map(drop)
}

pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), Exit> {
    std::fs::write(path, bytes).map_err(|fault| {
        anstream::eprintln!("{}: {fault}", harmless(&path.display().to_string()));
        Exit::Store
    })
}

pub(super) fn bug(fault: &dyn std::fmt::Display) -> Exit {
    anstream::eprintln!("a bug in bufferstop: {fault}");
    Exit::Bug
}
