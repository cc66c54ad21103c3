//! Reads the runs of a lot from the store on all cores, a stretch of the lot a
//! core. It keeps the numbers that lots are compared by and nothing else.

use super::hindrance::Hindrance;
use crate::comparison::LotReadings;
use crate::ident::{LotName, RunId};
use crate::parallel::{cores, in_order};
use crate::store::{Filter, Reader, StoreError};
use std::path::Path;

/// Fewer runs than this are not worth a thread.
const WORTH_A_THREAD: usize = 64;

/// The finished runs of the lot `name`, the oldest first.
pub fn lot(path: &Path, name: &LotName) -> Result<LotReadings, Hindrance> {
    let reader = Reader::open(path)?;
    let filter = Filter {
        lot: Some(name.clone()),
        diagnosis: Some(false),
        open: Some(false),
        ..Filter::default()
    };
    let mut runs: Vec<RunId> = Vec::new();
    for run in reader.runs(&filter) {
        let run = run?;
        // A run that was cut short says nothing of the lot.
        if run.abort.is_none() {
            runs.push(run.run);
        }
    }
    let mut lot = read(path, name, &runs)?;
    for run in lot.unexplained() {
        if let Some(started) = reader.started(&run)? {
            lot.explain(&started);
        }
    }
    if lot.is_empty() {
        return Err(Hindrance::Usage(format!(
            "no finished run of lot {name} is in this store"
        )));
    }
    Ok(lot)
}

fn read(path: &Path, name: &LotName, runs: &[RunId]) -> Result<LotReadings, StoreError> {
    let size = runs.len().div_ceil(cores()).max(WORTH_A_THREAD);
    let stretches: Vec<&[RunId]> = runs.chunks(size).collect();
    let stretch = |(): &mut (), index: usize| {
        let read = || {
            let reader = Reader::open(path)?;
            let mut lot = LotReadings::new(Some(name.clone()));
            for run in stretches[index] {
                reader.excerpts(run, |excerpt| lot.push(excerpt))?;
            }
            Ok::<_, StoreError>(lot)
        };
        Some(read())
    };
    let mut lot = Ok(LotReadings::new(Some(name.clone())));
    in_order(
        cores(),
        stretches.len(),
        || (),
        stretch,
        |_, part| {
            match (&mut lot, part) {
                (Ok(lot), Ok(part)) => lot.append(part),
                (Ok(_), Err(fault)) => lot = Err(fault),
                (Err(_), _) => {}
            }
            lot.is_ok()
        },
    );
    lot
}
