//! What records say beside each other: one record under two plans, a lot summed
//! up, and two lots metric by metric. It reads no store, evaluates no capture
//! and shows nothing.

mod check_standard;
mod circumstances;
mod kept;
mod lots;
mod readings;
mod rejudgement;
mod row;
mod summary;

pub use check_standard::{CheckRow, CheckStandard};
pub use circumstances::PartRow;
pub use kept::{KeptFault, KeptFiles};
pub use lots::{ALPHA, LotFacts, LotsCompared, PlanSize, compare_lots, plan_sizes, terms};
pub use readings::{Bounds, LotReadings, MOST_FILE_SETS};
pub use rejudgement::{Change, Rejudgement, Side, rejudge};
pub use row::{Readings, Row};
pub use summary::{Chart, Failing, LotSummary, MetricSummary, Retested, Share, summarise};

#[cfg(test)]
mod tests;
#[cfg(test)]
mod uncertainty_tests;
