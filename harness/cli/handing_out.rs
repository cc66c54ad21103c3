//! A document into a file of the form that its name asks for. It knows no
//! document.

use super::arguments::StorePlace;
use super::exit::Exit;
use super::records::open;
use crate::handout::{Form, Handout};
use crate::ident::harmless;
use std::path::Path;

/// The form that the ending of the file's name asks for.
pub(super) fn form(path: &Path) -> Result<Form, Exit> {
    let ending = path.extension().and_then(|ending| ending.to_str());
    let found = Form::ALL.into_iter().find(|f| Some(f.ending()) == ending);
    found.ok_or_else(|| {
        warn_line!("--out-file: the name must end in .pdf or .html");
        Exit::Usage
    })
}

/// The document in that form.
pub(super) fn bytes(document: &Handout, form: Form) -> Result<Vec<u8>, Exit> {
    document.bytes(form).map_err(|fault| {
        warn_line!("a bug in bufferstop: {fault}");
        Exit::Bug
    })
}

/// Says what is wrong where there is no store.
pub(super) fn present(place: &StorePlace) -> Result<(), Exit> {
    open(place).map(drop)
}

pub(super) fn write(path: &Path, bytes: &[u8]) -> Result<(), Exit> {
    std::fs::write(path, bytes).map_err(|fault| {
        warn_line!("{}: {fault}", harmless(&path.display().to_string()));
        Exit::Store
    })
}
