//! How plain things become bytes of format 1, and the three lists in which
//! everything else says its own: fields in order, variants by number, and
//! scenarios. It knows nothing that a scenario saw.

use crate::units::{Amperes, Farads, Quantity, Seconds, Volts};
use crate::waveform::CaptureFault;
use postcard::ser_flavors::Flavor;
use serde::{Deserialize, Serialize};

/// Why bytes are not what was stored in format 1.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(crate) enum WireFault {
    /// A plain thing that these bytes do not say.
    #[error("{0}")]
    Plain(#[from] postcard::Error),
    /// A number that stands for nothing.
    #[error("{number} is the number of no {what}")]
    Number {
        /// What was to be read.
        what: &'static str,
        /// The number.
        number: u32,
    },
    /// Text that is not the bytes of a packet.
    #[error("the bytes of a packet are hexadecimal pairs")]
    Packet,
    /// An infinite number, or none.
    #[error("a number is not finite")]
    NotFinite,
    /// A capture whose parts do not fit together.
    #[error(transparent)]
    Capture(#[from] CaptureFault),
}

/// A thing that has bytes in format 1, at least one of them.
///
/// Lists of plain things are put and taken at once, since a capture holds
/// hundreds of thousands of codes.
pub(in crate::scenario) trait Format1: Sized {
    /// Appends its bytes.
    fn put(&self, bytes: &mut Vec<u8>);

    /// Takes it from the front of `bytes`.
    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault>;

    /// Appends the number of `items`, then each.
    fn put_all(items: &[Self], bytes: &mut Vec<u8>) {
        append(&items.len(), bytes);
        for item in items {
            item.put(bytes);
        }
    }

    /// Takes as many as their number says. That number is not trusted: room is
    /// made only for what is really there.
    fn take_all(bytes: &mut &[u8]) -> Result<Vec<Self>, WireFault> {
        let count: usize = front(bytes)?;
        let mut items = Vec::new();
        for _ in 0..count {
            items.push(Self::take(bytes)?);
        }
        Ok(items)
    }
}

fn append<T: Serialize + ?Sized>(plain: &T, bytes: &mut Vec<u8>) {
    postcard::serialize_with_flavor(plain, AtEnd(bytes)).expect("plain data, and a Vec grows");
}

/// Where bytes are appended, most of them two or three at a time.
struct AtEnd<'a>(&'a mut Vec<u8>);

impl Flavor for AtEnd<'_> {
    type Output = ();

    fn try_push(&mut self, byte: u8) -> postcard::Result<()> {
        self.0.push(byte);
        Ok(())
    }

    fn try_extend(&mut self, part: &[u8]) -> postcard::Result<()> {
        match *part {
            // Called for every code of a capture, where copying costs more than the bytes.
            [only] => self.0.push(only),
            [first, last] => self.0.extend([first, last]),
            [first, second, last] => self.0.extend([first, second, last]),
            _ => self.0.extend_from_slice(part),
        }
        Ok(())
    }

    fn finalize(self) -> postcard::Result<()> {
        Ok(())
    }
}

fn front<'a, T: Deserialize<'a>>(bytes: &mut &'a [u8]) -> Result<T, WireFault> {
    let (plain, rest) = postcard::take_from_bytes(bytes)?;
    *bytes = rest;
    Ok(plain)
}

/// Postcard's own bytes, of which there are no two kinds.
macro_rules! plain {
    ($($kind:ty)*) => {$(
        impl Format1 for $kind {
            fn put(&self, bytes: &mut Vec<u8>) {
                append(self, bytes);
            }

            fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
                front(bytes)
            }

            fn put_all(items: &[Self], bytes: &mut Vec<u8>) {
                append(items, bytes);
            }

            fn take_all(bytes: &mut &[u8]) -> Result<Vec<Self>, WireFault> {
                front(bytes)
            }
        }
    )*};
}

plain! { bool u8 u32 i16 String }

impl Format1 for f64 {
    fn put(&self, bytes: &mut Vec<u8>) {
        append(self, bytes);
    }

    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
        let number: Self = front(bytes)?;
        number
            .is_finite()
            .then_some(number)
            .ok_or(WireFault::NotFinite)
    }
}

/// Quantities are numbers in SI units.
macro_rules! quantities {
    ($($kind:ty)*) => {$(
        impl Format1 for $kind {
            fn put(&self, bytes: &mut Vec<u8>) {
                self.si().put(bytes);
            }

            fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
                Self::from_si(f64::take(bytes)?).ok_or(WireFault::NotFinite)
            }
        }
    )*};
}

quantities! { Seconds Amperes Volts Farads }

impl<T: Format1> Format1 for Vec<T> {
    fn put(&self, bytes: &mut Vec<u8>) {
        T::put_all(self, bytes);
    }

    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
        T::take_all(bytes)
    }
}

impl<T: Format1> Format1 for Option<T> {
    fn put(&self, bytes: &mut Vec<u8>) {
        self.is_some().put(bytes);
        if let Some(there) = self {
            there.put(bytes);
        }
    }

    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
        bool::take(bytes)?.then(|| T::take(bytes)).transpose()
    }
}

/// A thing as its fields in the order in which they are stored.
macro_rules! fields {
    ($kind:ty { $($field:ident: $form:ty,)* }) => {
        impl $crate::scenario::wire::form::Format1 for $kind {
            fn put(&self, bytes: &mut Vec<u8>) {
                let Self { $($field,)* } = self;
                $(<$form as $crate::scenario::wire::form::Format1>::put($field, bytes);)*
            }

            fn take(bytes: &mut &[u8]) -> Result<Self, $crate::scenario::wire::form::WireFault> {
                Ok(Self {
                    $($field: <$form as $crate::scenario::wire::form::Format1>::take(bytes)?,)*
                })
            }
        }
    };
}

/// One of several words as the number it is stored under, whatever the order
/// in which its type declares them. A number once given stays.
macro_rules! numbered {
    ($kind:ty, $what:literal { $($number:literal = $variant:ident,)* }) => {
        impl $crate::scenario::wire::form::Format1 for $kind {
            fn put(&self, bytes: &mut Vec<u8>) {
                let number: u32 = match self {
                    $(Self::$variant => $number,)*
                };
                <u32 as $crate::scenario::wire::form::Format1>::put(&number, bytes);
            }

            fn take(bytes: &mut &[u8]) -> Result<Self, $crate::scenario::wire::form::WireFault> {
                match <u32 as $crate::scenario::wire::form::Format1>::take(bytes)? {
                    $($number => Ok(Self::$variant),)*
                    number => Err($crate::scenario::wire::form::WireFault::Number {
                        what: $what,
                        number,
                    }),
                }
            }
        }
    };
}

pub(in crate::scenario) use {fields, numbered};
