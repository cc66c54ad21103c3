//! When lines reach the disk. How they get there is the writer's business.

/// When lines reach the disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Durability {
    /// Durable entries before `append` returns, others within 100 ms.
    EveryEvent,
    /// Everything with the run's end, for suites of thousands of model runs.
    AtEnd,
}
