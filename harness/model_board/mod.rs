//! Model boards and the model fixture: physical parameters, production spread
//! and planted defects. It computes no circuit.

mod parameters;

pub use parameters::{
    BoardParameters, Branch, ContactDefect, FixtureParameters, Reversing, SenseLeg, Upstream,
};
