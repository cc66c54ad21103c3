//! The currents that the loops of a bench let flow, for the ranges of captures.
//! Whether they may flow, the envelope says.

use super::intent::{gap_branch, short_branch};
use super::session::{BenchSession, Halt};
use super::terms::Place;
use crate::bench_file::{BankEntry, Closes};
use crate::measurement::Blame;
use crate::units::{Amperes, Quantity};

/// The most that can flow through a short, and a quarter for the edges.
///
/// # Errors
/// A [`Halt`] where nothing flows there.
pub(super) fn short_current(place: Place, session: &impl BenchSession) -> Result<Amperes, Halt> {
    widest(short_branch(place), session)
}

/// The capacitor bank as the bench states it.
///
/// # Errors
/// A [`Halt`] where it states none.
pub(super) fn bank(session: &impl BenchSession) -> Result<BankEntry, Halt> {
    let branch = session.file().branch(Closes::CapacitorBank);
    branch
        .and_then(|branch| branch.bank)
        .ok_or_else(|| Halt::trouble(Blame::Bench, "the bench file states no capacitor bank"))
}

/// The most that can flow into the empty bank, and a quarter for the edges.
///
/// # Errors
/// A [`Halt`] where there is none.
pub(super) fn bank_current(session: &impl BenchSession) -> Result<Amperes, Halt> {
    widest(Closes::CapacitorBank, session)
}

/// The most that can flow between the board and the upstream source in
/// opposite phase, and a quarter for the edges.
///
/// # Errors
/// A [`Halt`] where nothing flows there.
pub(super) fn mismatch_current(
    crossed: bool,
    session: &impl BenchSession,
) -> Result<Amperes, Halt> {
    widest(gap_branch(crossed), session)
}

fn widest(closes: Closes, session: &impl BenchSession) -> Result<Amperes, Halt> {
    let ratings = session.ratings();
    let closed =
        session
            .file()
            .closed_loop(closes, ratings.supply_voltage, ratings.source_resistance);
    let Some(closed) = closed else {
        let what = format!(
            "nothing flows through the {} of this bench, or there is none",
            closes.word()
        );
        return Err(Halt::trouble(Blame::Bench, what));
    };
    let widest = Amperes::from_si(closed.current().si() * 1.25);
    Ok(widest.unwrap_or(Amperes::new(f64::MAX)))
}
