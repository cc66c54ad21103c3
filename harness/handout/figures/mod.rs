//! Pictures of a document: each a function from rows to a drawing. None
//! computes a statistic, judges or knows a page.

pub(super) mod chart;
pub(super) mod gauge;
pub(super) mod matrix;
pub(super) mod pareto;
pub(super) mod qr;
pub(super) mod shifts;
pub(super) mod strips;
