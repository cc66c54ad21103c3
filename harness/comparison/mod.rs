//! What records say beside each other: one record under two plans, and two
//! lots metric by metric. It reads no store, evaluates no capture and shows
//! nothing.

mod kept;
mod lots;
mod rejudgement;

pub use kept::{KeptFault, KeptFiles};
pub use lots::{LotsCompared, PartRow, PlanSize, Readings, Row, compare_lots, latest, plan_sizes};
pub use rejudgement::{Change, Rejudgement, Side, rejudge};

#[cfg(test)]
mod tests;
