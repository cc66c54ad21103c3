//! Format 1 of a stored observation: every field in its order, every variant
//! under its number. What is stored is said here alone, so the types that are
//! stored may be rearranged; nothing here keeps, compresses or names bytes.
//!
//! An observation is the number of its scenario, then that scenario's fields,
//! without names, gaps or lengths. The bytes of each are postcard's (its wire
//! format, version 1):
//!
//! | thing | bytes |
//! |---|---|
//! | `bool`, `Option` | 0 or 1, then what is there |
//! | `u8` | itself |
//! | `u32`, a count, a variant's number | groups of seven bits, lowest first, the top bit set in all but the last |
//! | `i16` | the same of `2 n`, of `-2 n - 1` where `n` is negative |
//! | `f64`, a quantity in SI units | eight bytes, lowest first (IEEE 754) |
//! | text | count of its bytes, then UTF-8 |
//! | a list | count of its items, then each |
//! | the bytes of a packet | text: upper-case hexadecimal pairs, a blank between |
//!
//! A number or a field once stored is never used otherwise. A new variant takes
//! the next number. Where a type gains a field that format 1 does not have, its
//! `Format1` is written out by hand and says what old bytes mean; where that is
//! not enough, there is a format 2 beside this one, and this one goes on being
//! read.

mod capture;
mod form;
mod idle;
mod inrush;
mod load;
mod loss;
mod overload;
mod reversal;
mod sense;
mod short;
mod signal;
mod soak;
mod supply;

pub(super) use form::WireFault;

use crate::observation::{
    Bank, GapClosing, IdleStep, InrushStart, LoadStep, Observation, OverloadRamp, OverloadStep,
    SenseStep, ShortPulse, SignalLost, SignalTake, Soaked, Stream, SupplyStep, Take,
};
use crate::units::Seconds;
use form::Format1;

/// Appends the bytes of `observation`.
pub(super) fn put(observation: &Observation, bytes: &mut Vec<u8>) {
    observation.put(bytes);
}

/// Takes an observation from the front of `bytes`, its captures checked.
///
/// # Errors
/// A [`WireFault`] saying what is wrong.
pub(super) fn take(bytes: &mut &[u8]) -> Result<Observation, WireFault> {
    Observation::take(bytes)
}

/// The scenarios under their numbers, each with its fields in order.
macro_rules! scenarios {
    ($($number:literal = $scenario:ident { $($field:ident: $form:ty,)* })*) => {
        impl Format1 for Observation {
            fn put(&self, bytes: &mut Vec<u8>) {
                match self {
                    $(Self::$scenario { $($field,)* } => {
                        let number: u32 = $number;
                        number.put(bytes);
                        $(<$form as Format1>::put($field, bytes);)*
                    })*
                }
            }

            fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
                match u32::take(bytes)? {
                    $($number => Ok(Self::$scenario {
                        $($field: <$form as Format1>::take(bytes)?,)*
                    }),)*
                    number => Err(WireFault::Number {
                        what: "scenario",
                        number,
                    }),
                }
            }
        }
    };
}

scenarios! {
    0 = Load { steps: Vec<LoadStep>, }
    1 = Overload {
        ramp: Option<OverloadRamp>,
        steps: Vec<OverloadStep>,
        hold: Option<OverloadRamp>,
    }
    2 = Short { pulses: Vec<ShortPulse>, }
    3 = Reversal {
        closings: Vec<GapClosing>,
        upstream_trip: Seconds,
        upstream_trip_u: Seconds,
        short: Option<Take>,
    }
    4 = Sense { last_count: u32, steps: Vec<SenseStep>, }
    5 = Signal { sent: Option<Stream>, takes: Vec<SignalTake>, }
    6 = Idle { steps: Vec<IdleStep>, }
    7 = Loss { losses: Vec<SignalLost>, }
    8 = Inrush { bank: Bank, starts: Vec<InrushStart>, }
    9 = Soak { soaks: Vec<Soaked>, }
    10 = Supply { steps: Vec<SupplyStep>, }
}

#[cfg(test)]
mod tests;
