//! The currents that the loops of a bench let flow, for the ranges of captures.
//! Whether they may flow, the envelope says.

use super::intent::gap_branch;
use super::intent::short_branch;
use super::session::BenchSession;
use super::session::Halt;
use super::terms::Place;
use crate::bench_file::{BankEntry, Closes};
use crate::measurement::Blame;
use crate::units::{Amperes, Ohms, Quantity, Volts};

/// The most that can flow through a short, and a quarter for the edges.
pub(super) fn short_current(place: Place, session: &impl BenchSession) -> Amperes {
    branch_current(short_branch(place), session)
}

/// The capacitor bank as the bench states it.
pub(super) fn bank(session: &impl BenchSession) -> Result<BankEntry, Halt> {
    let branch = session.file().branch(Closes::CapacitorBank);
    branch
        .and_then(|branch| branch.bank)
        .ok_or_else(|| Halt::trouble(Blame::Bench, "the bench file states no capacitor bank"))
}

/// The most that can flow into the empty bank, and a quarter for the edges.
pub(super) fn bank_current(session: &impl BenchSession) -> Amperes {
    branch_current(Closes::CapacitorBank, session)
}

/// The most that can flow between the board and the upstream source in
/// opposite phase, and a quarter for the edges.
pub(super) fn mismatch_current(crossed: bool, session: &impl BenchSession) -> Amperes {
    let board = session.ratings().supply_voltage;
    let mismatch = session.file().mismatch(board, gap_branch(crossed));
    mismatch.map_or(Amperes::ZERO, |(voltage, resistance)| {
        through(voltage, resistance, session)
    })
}

fn branch_current(closes: Closes, session: &impl BenchSession) -> Amperes {
    let branch = session.file().branch(closes);
    let resistance = branch.map_or(Ohms::ZERO, |branch| branch.resistance);
    through(session.ratings().supply_voltage, resistance, session)
}

fn through(voltage: Volts, loop_resistance: Ohms, session: &impl BenchSession) -> Amperes {
    let resistance = loop_resistance
        + session.file().wiring.lead_resistance
        + session.ratings().source_resistance;
    Amperes::new(voltage.si() / resistance.si().max(1e-3) * 1.25)
}
