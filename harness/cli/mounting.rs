//! What is put on the bench, a real board or a drawn one, and the bench opened
//! around it. It energises nothing and runs no plan.

use super::exit::Exit;
use super::files::BenchFiles;
use crate::bench::{Bench, Connection};
use crate::envelope::BoardFacts;
use crate::ident::harmless;
use crate::model_bench::{Transport, world};
use crate::model_board::{BoardParameters, Defect, ModelBoard};
use crate::plan::Plan;
use crate::seed::Seed;

/// What is on the bench.
pub(super) enum Mounted {
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
pub(super) async fn open_bench(
    files: &BenchFiles,
    plan: &Plan,
    mounted: Mounted,
) -> Result<Bench, Exit> {
    let unavailable = |fault: String| {
        warn_line!("the bench is not available: {}", harmless(&fault));
        Exit::Bench
    };
    let connection = match mounted {
        Mounted::Real => Connection::Real,
        Mounted::Model {
            board,
            identity,
            seed,
        } => {
            let identity = identity.as_deref();
            let world = world(&files.bench, &files.profiles, &board, identity, seed)
                .map_err(|fault| unavailable(fault.to_string()))?;
            Connection::Model {
                world: Box::new(world),
                transport: Transport::Pty,
            }
        }
    };
    let facts = BoardFacts::from(&plan.ratings);
    Bench::open(&files.bench, &files.profiles, facts, connection)
        .await
        .map_err(|fault| unavailable(fault.to_string()))
}

/// A board drawn from its file for a place in its lot, with a defect of choice.
pub(super) fn mounted(
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
pub(super) fn drawn(
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
