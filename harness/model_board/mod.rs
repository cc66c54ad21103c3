//! Model boards and the model fixture: physical parameters, production spread
//! and planted defects. It computes no circuit.

mod defects;
mod fixture;
mod fixture_table;
mod parameters;
mod parse;
mod table;

pub use defects::{By, Change, DEFECTS, Defect};
pub use fixture::{
    Branch, CapacitorBank, ContactDefect, FixtureParameters, GapReturn, SupplyBehaviour,
    SupplyKind, Upstream,
};
pub use fixture_table::FIXTURE;
pub use parameters::{BoardParameters, OnSignalLoss, Reversing, SenseLeg};
pub use parse::parse;
pub use table::{BOARD, Parameter};

use crate::seed::Seed;

/// A kind of model board: what its parts are nominally, how they spread, and
/// which boards carry which defect.
#[derive(Clone, Debug, PartialEq)]
pub struct ModelBoard {
    /// What a person calls it.
    pub name: String,
    /// The board family that it models, where its file says so.
    pub family: Option<String>,
    /// What its console answers when it is asked what it is, its revision
    /// included; `None` where the file leaves that open.
    pub identity: Option<String>,
    /// The nominal board.
    pub nominal: BoardParameters,
    /// Relative standard deviation by parameter name, in the order of
    /// [`BOARD`].
    pub spread: Vec<(&'static str, f64)>,
    /// Defects that are planted.
    pub planted: Vec<Planted>,
}

/// A defect that is planted.
#[derive(Clone, Debug, PartialEq)]
pub struct Planted {
    /// Which.
    pub defect: &'static Defect,
    /// In which boards, counted from one; in every board when empty.
    pub boards: Vec<u64>,
}

/// Draws are cut off at this many standard deviations: parts further out are
/// sorted out by their makers.
const CUT_OFF: f64 = 3.0;

impl ModelBoard {
    /// The `index`-th board of a lot, counted from one. Each parameter has a
    /// stream of its own under its name, so adding one moves no other.
    pub fn draw(&self, seed: Seed, index: u64) -> BoardParameters {
        let mut board = self.nominal;
        for &(name, deviation) in &self.spread {
            let Some(parameter) = BOARD.iter().find(|p| p.name == name) else {
                continue;
            };
            let mut key = vec![index];
            key.extend(name.bytes().map(u64::from));
            let normal = seed.stream(&key).normal().clamp(-CUT_OFF, CUT_OFF);
            let nominal = (parameter.get)(&board);
            parameter.put(&mut board, nominal * (1.0 + deviation * normal));
        }
        for planted in &self.planted {
            if planted.boards.is_empty() || planted.boards.contains(&index) {
                planted.defect.plant(&mut board);
            }
        }
        board
    }

    /// The names of the defects that the `index`-th board carries.
    pub fn defects_of(&self, index: u64) -> impl Iterator<Item = &'static str> {
        self.planted
            .iter()
            .filter(move |p| p.boards.is_empty() || p.boards.contains(&index))
            .map(|p| p.defect.name)
    }

    /// The nominal board with one defect and no spread.
    pub fn with_defect(&self, defect: &Defect) -> BoardParameters {
        let mut board = self.nominal;
        defect.plant(&mut board);
        board
    }
}

#[cfg(test)]
mod tests;
