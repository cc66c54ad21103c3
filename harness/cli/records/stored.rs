//! Where the store is, and one run of it by its identifier or by its board. It
//! reads the store and prints nothing but refusals.

use crate::cli::arguments::StorePlace;
use crate::cli::exit::Exit;
use crate::cli::hindered::own_workshop;
use crate::cli::store_fault::store_exit;
use crate::ident::{LotName, RunId, Serial, harmless};

use crate::record::Record;
use crate::store::{Filter, Kind, Reader, StoreError};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// The folder of that place.
///
/// # Errors
/// [`Exit::File`], after saying what is wrong in the workshop's own file.
pub(in crate::cli) fn folder(place: &StorePlace) -> Result<PathBuf, Exit> {
    Ok(own_workshop()?.records(place.out.as_deref()))
}

/// Where the store of that place is.
pub(in crate::cli) fn path(place: &StorePlace) -> Result<(PathBuf, Kind), Exit> {
    let kind = if place.model {
        Kind::Model
    } else {
        Kind::Records
    };
    Ok((folder(place)?.join(kind.file_name()), kind))
}

/// The store of that place, opened for reading.
pub(in crate::cli) fn open(place: &StorePlace) -> Result<Reader, Exit> {
    opened(place, Reader::open(&path(place)?.0))
}

/// The same for a store that is about to be verified.
pub(in crate::cli) fn open_as_found(place: &StorePlace) -> Result<Reader, Exit> {
    opened(place, Reader::open_as_found(&path(place)?.0))
}

fn opened(place: &StorePlace, reader: Result<Reader, StoreError>) -> Result<Reader, Exit> {
    reader.map_err(|fault| {
        let exit = store_exit(&fault);
        if matches!(fault, StoreError::Absent { .. }) && !place.model {
            warn_line!("runs on the model bench are in a store of their own: add --model");
        }
        exit
    })
}

/// The same for what is handed out: nothing that an index hides is left out of it.
pub(in crate::cli) fn open_checked(place: &StorePlace) -> Result<Reader, Exit> {
    let reader = open(place)?;
    match reader.check_indexes() {
        Ok(()) => Ok(reader),
        Err(fault) => {
            let exit = store_exit(&fault);
            warn_line!("nothing is handed out of it: `bufferstop records verify` says more");
            Err(exit)
        }
    }
}

/// The run of that identifier, else the last run of that board.
pub(in crate::cli) fn find(reader: &Reader, which: &str) -> Result<Option<RunId>, Exit> {
    if let Ok(run) = which.parse::<RunId>()
        && reader
            .header(&run)
            .map_err(|fault| store_exit(&fault))?
            .is_some()
    {
        return Ok(Some(run));
    }
    let Ok(serial) = which.parse::<Serial>() else {
        return Ok(None);
    };
    let filter = Filter {
        serial: Some(serial),
        newest_first: true,
        ..Filter::default()
    };
    match reader.runs(&filter).next() {
        Some(Ok(header)) => Ok(Some(header.run)),
        Some(Err(fault)) => Err(store_exit(&fault)),
        None => Ok(None),
    }
}

/// The last whole run of every board of a lot, in the order of their serial numbers.
pub(in crate::cli) fn last_of_lot(
    reader: &Reader,
    lot: &str,
) -> Result<Vec<(Serial, RunId)>, Exit> {
    let name: LotName = lot.parse().map_err(|fault| {
        warn_line!("--lot cannot be used: {fault}");
        Exit::Usage
    })?;
    let filter = Filter {
        lot: Some(name),
        diagnosis: Some(false),
        open: Some(false),
        ..Filter::default()
    };
    let mut last = BTreeMap::new();
    for run in reader.runs(&filter) {
        let run = run.map_err(|fault| store_exit(&fault))?;
        if run.abort.is_none() {
            last.insert(run.serial, run.run);
        }
    }
    if last.is_empty() {
        warn_line!("no finished run of lot {} is in this store", harmless(lot));
        return Err(Exit::Usage);
    }
    Ok(last.into_iter().collect())
}

/// The run that `which` names.
pub(in crate::cli) fn known(reader: &Reader, which: &str) -> Result<RunId, Exit> {
    find(reader, which)?.ok_or_else(|| {
        warn_line!("no run and no board is called {}", harmless(which));
        Exit::Usage
    })
}

/// The record of a run that is in the store.
pub(in crate::cli) fn record(reader: &Reader, run: &RunId) -> Result<Record, Exit> {
    let record = reader.record(run).map_err(|fault| store_exit(&fault))?;
    record.ok_or_else(|| {
        warn_line!("run {run} has no entry");
        Exit::Store
    })
}
