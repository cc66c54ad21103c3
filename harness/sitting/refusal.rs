//! Which serial numbers may be run: a name that can be kept, and no board that
//! passed already or belongs to another lot. It runs no board.

use super::hindrance::Hindrance;
use crate::ident::{LotName, Serial, harmless};
use crate::judgement::Verdict;
use crate::plan::{Lot, Plan};
use crate::store::{Filter, Kind, Reader, StoreError};

/// A serial number whose folder of reports is its own; `what` names where it was
/// typed.
///
/// # Errors
/// [`Hindrance::Usage`] where it cannot be used.
pub fn serial(what: &str, text: &str) -> Result<Serial, Hindrance> {
    let unfit = |why: String| Hindrance::Usage(format!("{what} cannot be used: {why}"));
    let parsed = text.parse::<Serial>();
    let serial = parsed.map_err(|fault| unfit(harmless(&fault.to_string()).to_string()))?;
    if Kind::is_reserved(serial.as_str()) {
        return Err(unfit(format!(
            "{serial} is a file of the store beside its folder"
        )));
    }
    Ok(serial)
}

/// Why `serial` may not be run as a board of `lot` without a reason to test it
/// again, where it may not: it passed, or it is a board of another lot.
///
/// # Errors
/// When the store cannot be read.
pub fn refusal(
    serial: &Serial,
    lot: Option<&LotName>,
    reader: &Reader,
) -> Result<Option<String>, StoreError> {
    let filter = Filter {
        serial: Some(serial.clone()),
        diagnosis: Some(false),
        open: Some(false),
        newest_first: true,
        ..Filter::default()
    };
    let Some(last) = reader.runs(&filter).next().transpose()? else {
        return Ok(None);
    };
    if last.lot.as_ref() != lot {
        let lot = last
            .lot
            .map_or("no lot".to_owned(), |lot| format!("lot {lot}"));
        return Ok(Some(format!("it was tested as a board of {lot}")));
    }
    let passed = last.verdict == Some(Verdict::Pass);
    let day = last.started.strftime("%Y-%m-%d");
    Ok(passed.then(|| format!("it passed on {day}")))
}

/// Refuses a lot of another family or revision than the plan is for.
///
/// # Errors
/// [`Hindrance::File`], which names both.
pub fn of_one_family(lot: &Lot, plan: &Plan) -> Result<(), Hindrance> {
    let (boards, planned) = ((&lot.family, &lot.revision), (&plan.family, &plan.revision));
    if boards == planned {
        return Ok(());
    }
    let words = |(family, revision): (&String, &String)| {
        harmless(&format!("{family}, revision {revision}")).to_string()
    };
    Err(Hindrance::File(format!(
        "lot {}: its boards are {}, the plan is for {}",
        lot.name,
        words(boards),
        words(planned)
    )))
}
