//! What gathers while a file is read, and what may be demanded of a number. It
//! takes no value; see `table`.

use super::{Fault, Faults, Places};
use crate::units::{Dimension, show};
use std::cell::RefCell;

/// What gathers while a file is read: faults, and where each value stood.
#[derive(Debug, Default)]
pub struct Reader {
    faults: RefCell<Faults>,
    pub(super) places: RefCell<Places>,
}

impl Reader {
    /// A reader that has seen nothing, or only `faults` so far.
    pub fn new(faults: Faults) -> Self {
        Self {
            faults: RefCell::new(faults),
            places: RefCell::default(),
        }
    }

    /// Notes a fault.
    pub fn fault(&self, fault: Fault) {
        self.faults.borrow_mut().push(fault);
    }

    /// Whether an error has been noted.
    pub fn any_error(&self) -> bool {
        self.faults.borrow().any_error()
    }

    /// The places noted so far.
    pub fn places(&self) -> Places {
        self.places.borrow().clone()
    }

    /// The value with its warnings, or every fault.
    ///
    /// # Errors
    /// All faults when any is an error.
    pub fn conclude<T>(self, value: Option<T>) -> Result<(T, Vec<Fault>), Vec<Fault>> {
        self.faults.into_inner().conclude(value)
    }
}

/// What is demanded of a number, in SI units.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Demand {
    /// Nothing.
    Any,
    /// More than zero.
    Positive,
    /// Zero or more.
    NotNegative,
    /// Within these, both included.
    Within(f64, f64),
}

impl Demand {
    /// What was expected, when `si` does not meet it.
    pub fn unmet(self, si: f64, dimension: Dimension) -> Option<String> {
        match self {
            Self::Any => None,
            Self::Positive => (si <= 0.0).then(|| "more than zero".to_owned()),
            Self::NotNegative => (si < 0.0).then(|| "zero or more".to_owned()),
            Self::Within(low, high) => (si < low || si > high)
                .then(|| format!("{} to {}", show(low, dimension), show(high, dimension))),
        }
    }
}
