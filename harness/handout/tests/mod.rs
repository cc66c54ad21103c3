//! Documents of invented runs and lots.

mod certificates;
mod lots;
