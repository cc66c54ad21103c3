//! Values of a value change dump as they are written: bits, vectors, reals. It
//! knows no wire.

/// A value that a wire took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Value {
    /// Logic 0.
    Low,
    /// Logic 1.
    High,
    /// Unknown, or a vector with an unknown bit.
    Unknown,
    /// High impedance, or a vector with such a bit and no unknown one.
    HighImpedance,
    /// A vector of up to 64 bits.
    Vector(u64),
    /// A real number, finite.
    Real(f64),
}

/// A value whose code comes next.
#[derive(Clone, Copy, Debug)]
pub(super) struct Waiting {
    /// `None` of a text.
    pub(super) value: Option<Value>,
    pub(super) bits: u32,
}

/// Bits, most significant first; those not written are zeros, or follow an x
/// or z in front (clause 18.2.2), which leaves the whole unknown either way.
pub(super) fn vector(digits: &[u8]) -> Option<Waiting> {
    let bits = u32::try_from(digits.len()).ok().filter(|&bits| bits > 0)?;
    let (mut value, mut unknown, mut floating) = (0_u64, false, false);
    for &digit in digits {
        let bit = match digit {
            b'0' | b'l' | b'L' => 0,
            b'1' | b'h' | b'H' => 1,
            b'x' | b'X' | b'u' | b'U' | b'w' | b'W' | b'-' => {
                unknown = true;
                0
            }
            b'z' | b'Z' => {
                floating = true;
                0
            }
            _ => return None,
        };
        // Wires that are handed on have 64 bits at most; of others only the
        // length matters.
        value = value << 1 | bit;
    }
    let value = if unknown {
        Value::Unknown
    } else if floating {
        Value::HighImpedance
    } else {
        Value::Vector(value)
    };
    Some(Waiting {
        value: Some(value),
        bits,
    })
}

/// A real number as it is written, if it is finite.
pub(super) fn real(digits: &[u8]) -> Option<Waiting> {
    let text = std::str::from_utf8(digits).ok()?;
    let value: f64 = text.parse().ok().filter(|v: &f64| v.is_finite())?;
    Some(Waiting {
        value: Some(Value::Real(value)),
        bits: 64,
    })
}
