//! What is put on the bench, a real board or a drawn one, and the bench opened
//! around it. It energises nothing and runs no plan.

use super::files::BenchFiles;
use super::hindrance::Hindrance;
use crate::bench::{Bench, BenchError, Connection};
use crate::envelope::BoardFacts;
use crate::ident::Serial;
use crate::link::Person;
use crate::model_bench::{Transport, world};
use crate::model_board::{BoardParameters, Defect, ModelBoard};
use crate::plan::Plan;
use crate::seed::Seed;

/// What is on the bench.
pub enum Mounted {
    /// A board that somebody put there.
    Real,
    /// A model board.
    Model {
        /// What it is made of.
        board: Box<BoardParameters>,
        /// What its console says it is, where its file says so.
        identity: Option<String>,
        /// Seed of the instruments' errors and noise.
        seed: Seed,
    },
}

/// The bench with its instruments identified, nothing energised.
pub async fn open_bench(
    files: &BenchFiles,
    plan: &Plan,
    mounted: Mounted,
    person: &Person,
) -> Result<Bench, Hindrance> {
    let opened = opened(files, plan, mounted, person).await;
    opened.map_err(|fault| Hindrance::unavailable(&fault))
}

/// The same, with what to say where there is none left to the caller.
///
/// # Errors
/// As [`Bench::open`] has them, and where the circuit cannot be computed.
pub async fn opened(
    files: &BenchFiles,
    plan: &Plan,
    mounted: Mounted,
    person: &Person,
) -> Result<Bench, BenchError> {
    let connection = match mounted {
        Mounted::Real => Connection::Real(person.clone()),
        Mounted::Model {
            board,
            identity,
            seed,
        } => {
            let identity = identity.as_deref();
            let world = world(&files.bench, &files.profiles, &board, identity, seed)
                .map_err(|fault| BenchError::Model(fault.to_string()))?;
            Connection::Model {
                world: Box::new(world),
                transport: Transport::Memory,
            }
        }
    };
    let facts = BoardFacts::from(&plan.ratings);
    Bench::open(&files.bench, &files.profiles, facts, connection).await
}

/// The bench that was open for the board before, or one that is opened now.
/// Where a port went, as when its adapter was plugged in again, every port is
/// opened once more; a bench that is not at rest is not looked at afresh.
pub async fn next_bench(
    kept: Option<Bench>,
    files: &BenchFiles,
    plan: &Plan,
    mounted: Mounted,
    person: &Person,
) -> Result<Bench, Hindrance> {
    let Some(mut bench) = kept else {
        return open_bench(files, plan, mounted, person).await;
    };
    match bench.ready_again().await {
        Ok(()) => Ok(bench),
        Err(fault) => {
            bench.release().await;
            if fault.lost_link() {
                open_bench(files, plan, mounted, person).await
            } else {
                Err(Hindrance::unavailable(&fault))
            }
        }
    }
}

/// The place of a serial number in its lot: the number that it ends with, or,
/// where it ends with none, one of its own from its letters. So a board that is
/// tested again is the same board.
pub fn place(serial: &Serial) -> u64 {
    let text = serial.as_str();
    let digits = text.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    text[digits..].parse().unwrap_or_else(|_| {
        let letters: Vec<u64> = text.bytes().map(u64::from).collect();
        Seed(0).stream(&letters).next_u64()
    })
}

/// The names of all defects that a board at this place carries.
pub fn planted(board: &ModelBoard, index: u64, defect: Option<&Defect>) -> Vec<String> {
    let own = board.defects_of(index);
    let all = own.chain(defect.map(|defect| defect.name));
    all.map(str::to_owned).collect()
}

/// A board drawn from its file for a place in its lot, with a defect of choice.
pub fn mounted(
    board: &ModelBoard,
    seed: Seed,
    index: u64,
    defect: Option<&'static Defect>,
) -> Mounted {
    Mounted::Model {
        board: Box::new(drawn(board, seed, index, defect)),
        identity: board.identity.clone(),
        seed: seed.derived(index),
    }
}

/// Its parameters alone.
pub fn drawn(
    board: &ModelBoard,
    seed: Seed,
    index: u64,
    defect: Option<&'static Defect>,
) -> BoardParameters {
    let mut parameters = board.draw(seed, index);
    if let Some(defect) = defect {
        defect.plant(&mut parameters);
    }
    parameters
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_serial_number_ends_with_its_place() {
        let at = |text: &str| place(&text.parse().expect("a plain name"));
        assert_eq!(at("GB-2026-11-07"), 7);
        assert_eq!(at("GR-0042"), 42);
        assert_eq!(at("17"), 17);
        // Without digits, or with too many for a number: its own, and the same again.
        assert_eq!(at("prototype"), at("prototype"));
        assert_ne!(at("prototype"), at("prototypf"));
        assert_ne!(at(&"9".repeat(40)), at(&"8".repeat(40)));
    }
}
