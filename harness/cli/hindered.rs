//! What hinders a sitting, said to the person, and the exit status for it; so
//! with the faults of files. It reads nothing.

use super::exit::Exit;
use super::output::complained;
use crate::plan::Plan;
use crate::sitting::{BenchFiles, Files, Hindrance, OwnWorkshop, Sound};

/// Says what hinders.
pub(super) fn hindered(hindrance: &Hindrance) -> Exit {
    warn_line!("{hindrance}");
    match hindrance {
        Hindrance::Usage(_) => Exit::Usage,
        Hindrance::File(_) => Exit::File,
        Hindrance::Bench(_) => Exit::Bench,
        Hindrance::Store(_) => Exit::Store,
        Hindrance::Bug(_) => Exit::Bug,
    }
}

impl From<Hindrance> for Exit {
    /// Says what hinders first.
    fn from(hindrance: Hindrance) -> Self {
        hindered(&hindrance)
    }
}

/// Says what is wrong with the files; the status when that forbids going on.
pub(super) fn complain(files: &Files, colour: bool) -> Option<Exit> {
    if !files.faults().is_empty() {
        complained(files.faults(), &files.rendered(colour));
    }
    files.any_error().then_some(Exit::File)
}

/// A plan and a bench compared with each other, once every fault of all files has
/// been said.
///
/// # Errors
/// [`Exit::File`] where any of them forbids going on.
pub(super) fn sound(
    files: &mut Files,
    plan: Option<Plan>,
    bench: Option<BenchFiles>,
) -> Result<Sound, Exit> {
    let sound = files.sound(plan, bench);
    match complain(files, true) {
        Some(exit) => Err(exit),
        None => sound.ok_or(Exit::File),
    }
}

/// The nearest file of the workshop, if there is one.
///
/// # Errors
/// [`Exit::File`], after saying every fault in it.
pub(super) fn own_workshop() -> Result<OwnWorkshop, Exit> {
    let mut files = Files::default();
    let own = OwnWorkshop::nearest(&mut files);
    match complain(&files, true) {
        Some(exit) => Err(exit),
        None => own.ok_or(Exit::File),
    }
}
