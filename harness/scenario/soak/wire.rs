//! What the soak scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{CaseReading, Seen, SoakLook, Soaked};
use crate::measurement::Estimate;
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
use crate::scenario::wire::form::fields;
use crate::units::{Amperes, Seconds};

fields! { Seen {
    soaks: Vec<Soaked>,
} }

fields! { Soaked {
    drive: Polarity,
    current: Amperes,
    rest: Vec<CaseReading>,
    looks: Vec<SoakLook>,
} }

fields! { SoakLook {
    case: CaseReading,
    take: Take,
} }

fields! { CaseReading {
    at: Seconds,
    temperature: Option<Estimate>,
} }
