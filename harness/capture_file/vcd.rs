//! Value change dumps of IEEE Std 1364-2005 clause 18: scalars, vectors,
//! reals, x and z, any timescale, wires chosen by name. It makes no edges of
//! the values.

use super::vcd_header::{Header, VcdWire, WireKind};
use super::{LONGEST_PIECE, shown};
use crate::clock::BenchInstant;

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

/// One recorded value of a chosen wire; it need not differ from the last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// When, from the file's time zero.
    pub at: BenchInstant,
    /// Which of the chosen wires, in the order in which they were named.
    pub wire: usize,
    /// Its value from here on.
    pub value: Value,
}

/// What is wrong with a file, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, byte {byte}: {trouble}")]
pub struct VcdFault {
    /// Line, counted from one.
    pub line: u64,
    /// Byte, counted from zero.
    pub byte: u64,
    /// What.
    pub trouble: VcdTrouble,
}

/// What can be wrong with a value change dump.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum VcdTrouble {
    /// A word that cannot stand here.
    #[error("'{0}' cannot stand here")]
    Unexpected(String),
    /// A declaration that does not hold.
    #[error("the declaration is faulty: {0}")]
    Declaration(&'static str),
    /// A timescale other than 1, 10 or 100 of s to fs.
    #[error("'{0}' is no timescale; expected 1, 10 or 100 of s, ms, us, ns, ps or fs")]
    Timescale(String),
    /// No timescale in the header.
    #[error("the header has no $timescale")]
    NoTimescale,
    /// No wire was named and there is more than one, or none.
    #[error("name the wire to read; the file has: {0}")]
    Choose(String),
    /// A named wire is not there.
    #[error("there is no wire '{wanted}'; the file has: {known}")]
    NoSuchWire {
        /// As asked for.
        wanted: String,
        /// The first few there are.
        known: String,
    },
    /// A name fits two wires.
    #[error("'{0}' names more than one wire; give its scopes too, joined by dots")]
    Ambiguous(String),
    /// A chosen vector of more than 64 bits.
    #[error("'{0}' is wider than 64 bits")]
    TooWide(String),
    /// A value for a code that no wire has.
    #[error("code '{0}' belongs to no declared wire")]
    NoSuchCode(String),
    /// A value that does not fit its wire.
    #[error("value '{0}' does not fit its wire")]
    Misfit(String),
    /// A time that is no number or beyond what can be held.
    #[error("'{0}' is no time that can be held")]
    Time(String),
    /// A time before the one before it.
    #[error("time goes back from {from} to {to}")]
    TimeGoesBack {
        /// The time before, in ticks.
        from: u64,
        /// The time now, in ticks.
        to: u64,
    },
    /// A word too long to be one.
    #[error("a word is longer than {LONGEST_PIECE} bytes")]
    TooLong,
    /// The end where more must come.
    #[error("the file ends {0}")]
    Truncated(&'static str),
}

/// What was in a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VcdSummary {
    /// The chosen wires.
    pub wires: Vec<VcdWire>,
    /// Femtoseconds of one tick of the file's time.
    pub tick_femtoseconds: u64,
    /// The last time in the file.
    pub end: BenchInstant,
    /// Recorded values of the chosen wires.
    pub changes: u64,
}

/// Reads a dump pushed in pieces of any length.
#[derive(Clone, Debug)]
pub struct VcdReader {
    header: Header,
    state: State,
    /// The beginning of a word that the last piece cut.
    carry: Vec<u8>,
    /// Value of a vector or real whose code comes next.
    waiting: Option<Waiting>,
    ticks: u64,
    now: BenchInstant,
    changes: u64,
    line: u64,
    /// Bytes before the present piece.
    before: u64,
    /// Where the carried word began.
    carry_at: u64,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Header,
    Values,
    /// Inside `$comment` and what else is passed over, up to `$end`.
    Passing,
}

#[derive(Clone, Copy, Debug)]
struct Waiting {
    value: Value,
    bits: u32,
}

impl VcdReader {
    /// A reader of the wires so named, by plain name or with scopes joined by
    /// dots. With no name, of the only scalar.
    pub fn new(wires: &[&str]) -> Self {
        Self {
            header: Header::new(wires),
            state: State::Header,
            carry: Vec::new(),
            waiting: None,
            ticks: 0,
            now: BenchInstant::ZERO,
            changes: 0,
            line: 1,
            before: 0,
            carry_at: 0,
        }
    }

    /// Takes the next bytes and hands on the values they complete.
    ///
    /// # Errors
    /// A [`VcdFault`]; the reader is then of no further use.
    pub fn push(&mut self, bytes: &[u8], sink: &mut impl FnMut(Change)) -> Result<(), VcdFault> {
        let mut at = 0;
        if !self.carry.is_empty() {
            let end = word_end(bytes, 0);
            if self.carry.len() + end > LONGEST_PIECE {
                return Err(self.fault_at(self.carry_at, VcdTrouble::TooLong));
            }
            self.carry.extend_from_slice(&bytes[..end]);
            if end == bytes.len() {
                self.before += end as u64;
                return Ok(());
            }
            let word = std::mem::take(&mut self.carry);
            self.word(&word, sink)
                .map_err(|trouble| self.fault_at(self.carry_at, trouble))?;
            at = end;
        }
        loop {
            while let Some(&byte) = bytes.get(at).filter(|&&byte| byte <= b' ') {
                self.line += u64::from(byte == b'\n');
                at += 1;
            }
            let end = word_end(bytes, at);
            if end == bytes.len() {
                if end - at > LONGEST_PIECE {
                    return Err(self.fault(at, VcdTrouble::TooLong));
                }
                self.carry.extend_from_slice(&bytes[at..]);
                self.carry_at = self.before + at as u64;
                self.before += end as u64;
                return Ok(());
            }
            self.word(&bytes[at..end], sink)
                .map_err(|trouble| self.fault(at, trouble))?;
            at = end;
        }
    }

    /// The end of the file.
    ///
    /// # Errors
    /// A [`VcdFault`] when more had to come. A time without a line end after
    /// it counts as cut off, since nobody can tell that it is whole.
    pub fn finish(mut self, sink: &mut impl FnMut(Change)) -> Result<VcdSummary, VcdFault> {
        let word = std::mem::take(&mut self.carry);
        if word.first() == Some(&b'#') {
            return Err(self.fault_at(self.carry_at, VcdTrouble::Truncated("inside a time")));
        }
        if !word.is_empty() {
            self.word(&word, sink)
                .map_err(|trouble| self.fault_at(self.carry_at, trouble))?;
        }
        let missing = match self.state {
            State::Header => Some("inside its header"),
            State::Passing => Some("where $end must come"),
            State::Values if self.waiting.is_some() => Some("between a value and its code"),
            State::Values => None,
        };
        match missing {
            Some(place) => Err(self.fault(0, VcdTrouble::Truncated(place))),
            None => Ok(VcdSummary {
                wires: self.header.chosen.into_iter().flatten().collect(),
                tick_femtoseconds: self.header.tick_fs.unwrap_or(0),
                end: self.now,
                changes: self.changes,
            }),
        }
    }

    fn fault(&self, at: usize, trouble: VcdTrouble) -> VcdFault {
        self.fault_at(self.before + at as u64, trouble)
    }

    fn fault_at(&self, byte: u64, trouble: VcdTrouble) -> VcdFault {
        VcdFault {
            line: self.line,
            byte,
            trouble,
        }
    }

    fn word(&mut self, word: &[u8], sink: &mut impl FnMut(Change)) -> Result<(), VcdTrouble> {
        match self.state {
            State::Values => self.value_word(word, sink),
            State::Header => {
                if self.header.word(word)? {
                    self.state = State::Values;
                }
                Ok(())
            }
            State::Passing => {
                if word == b"$end" {
                    self.state = State::Values;
                }
                Ok(())
            }
        }
    }

    fn value_word(&mut self, word: &[u8], sink: &mut impl FnMut(Change)) -> Result<(), VcdTrouble> {
        if let Some(waiting) = self.waiting.take() {
            return self.multi(waiting, word, sink);
        }
        let Some((&first, rest)) = word.split_first() else {
            return Ok(());
        };
        let scalar = match first {
            b'#' => return self.time(rest),
            b'0' => Value::Low,
            b'1' => Value::High,
            b'x' | b'X' => Value::Unknown,
            b'z' | b'Z' => Value::HighImpedance,
            b'b' | b'B' => {
                self.waiting = Some(vector(rest).ok_or_else(|| VcdTrouble::Misfit(shown(word)))?);
                return Ok(());
            }
            b'r' | b'R' => {
                self.waiting = Some(real(rest).ok_or_else(|| VcdTrouble::Misfit(shown(word)))?);
                return Ok(());
            }
            b'$' => return self.keyword(word),
            _ => return Err(VcdTrouble::Unexpected(shown(word))),
        };
        let declared = self
            .header
            .codes
            .find(rest)
            .ok_or_else(|| VcdTrouble::NoSuchCode(shown(rest)))?;
        if declared.kind != WireKind::Scalar {
            return Err(VcdTrouble::Misfit(shown(word)));
        }
        if let Some(wire) = declared.wanted {
            self.emit(wire, scalar, sink);
        }
        Ok(())
    }

    fn emit(&mut self, wire: u16, value: Value, sink: &mut impl FnMut(Change)) {
        self.changes += 1;
        sink(Change {
            at: self.now,
            wire: usize::from(wire),
            value,
        });
    }

    fn keyword(&mut self, word: &[u8]) -> Result<(), VcdTrouble> {
        match word {
            // The values inside are values like any other.
            b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$dumpoff" | b"$end" => Ok(()),
            b"$comment" => {
                self.state = State::Passing;
                Ok(())
            }
            _ => Err(VcdTrouble::Unexpected(shown(word))),
        }
    }

    fn time(&mut self, digits: &[u8]) -> Result<(), VcdTrouble> {
        let wrong = || VcdTrouble::Time(shown(digits));
        // Eighteen digits cannot overflow, and no file needs more.
        if digits.is_empty() || digits.len() > 18 || !digits.iter().all(u8::is_ascii_digit) {
            return Err(wrong());
        }
        let ticks = digits
            .iter()
            .fold(0_u64, |sum, &digit| sum * 10 + u64::from(digit - b'0'));
        if ticks < self.ticks {
            return Err(VcdTrouble::TimeGoesBack {
                from: self.ticks,
                to: ticks,
            });
        }
        let tick = self.header.tick_fs.ok_or_else(wrong)?;
        let picoseconds = if tick % 1000 == 0 {
            ticks.checked_mul(tick / 1000)
        } else {
            ticks.checked_mul(tick).map(|fs| (fs + 500) / 1000)
        };
        let picoseconds = picoseconds.and_then(|ps| i64::try_from(ps).ok());
        self.now = BenchInstant::from_picoseconds(picoseconds.ok_or_else(wrong)?);
        self.ticks = ticks;
        Ok(())
    }

    fn multi(
        &mut self,
        waiting: Waiting,
        code: &[u8],
        sink: &mut impl FnMut(Change),
    ) -> Result<(), VcdTrouble> {
        let declared = self
            .header
            .codes
            .find(code)
            .ok_or_else(|| VcdTrouble::NoSuchCode(shown(code)))?;
        let value = match (declared.kind, waiting.value) {
            (WireKind::Real, Value::Real(value)) => Value::Real(value),
            (WireKind::Vector(_) | WireKind::Scalar, Value::Real(_)) | (WireKind::Real, _) => {
                return Err(VcdTrouble::Misfit(shown(code)));
            }
            (WireKind::Vector(width), _) if waiting.bits > width => {
                return Err(VcdTrouble::Misfit(shown(code)));
            }
            (WireKind::Vector(_), value) => value,
            (WireKind::Scalar, Value::Vector(0)) if waiting.bits == 1 => Value::Low,
            (WireKind::Scalar, Value::Vector(_)) if waiting.bits == 1 => Value::High,
            (WireKind::Scalar, value) if waiting.bits == 1 => value,
            (WireKind::Scalar, _) => return Err(VcdTrouble::Misfit(shown(code))),
        };
        if let Some(wire) = declared.wanted {
            self.emit(wire, value, sink);
        }
        Ok(())
    }
}

/// Where the word that begins at `from` ends.
fn word_end(bytes: &[u8], from: usize) -> usize {
    let rest = &bytes[from..];
    rest.iter()
        .position(|&byte| byte <= b' ')
        .map_or(bytes.len(), |length| from + length)
}

/// Bits, most significant first; those not written are zeros, or follow an x
/// or z in front (clause 18.2.2), which leaves the whole unknown either way.
fn vector(digits: &[u8]) -> Option<Waiting> {
    let bits = u32::try_from(digits.len()).ok().filter(|&bits| bits > 0)?;
    let (mut value, mut unknown, mut floating) = (0_u64, false, false);
    for &digit in digits {
        let bit = match digit {
            b'0' => 0,
            b'1' => 1,
            b'x' | b'X' => {
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
    Some(Waiting { value, bits })
}

fn real(digits: &[u8]) -> Option<Waiting> {
    let text = std::str::from_utf8(digits).ok()?;
    let value: f64 = text.parse().ok().filter(|v: &f64| v.is_finite())?;
    Some(Waiting {
        value: Value::Real(value),
        bits: 64,
    })
}
