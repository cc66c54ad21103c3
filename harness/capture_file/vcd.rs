//! Value change dumps of IEEE Std 1364-2005 clause 18: scalars, vectors,
//! reals, x and z, any timescale, wires chosen by name; of other wires also the
//! nine values of IEEE Std 1164 and texts, as other languages' simulators dump
//! them. It makes no edges of the values.

use super::digits::leading;
use super::vcd_fault::{VcdFault, VcdTrouble};
use super::vcd_header::{Header, VcdWire, WireKind};
use super::vcd_value::{Value, Waiting, real, vector};
use super::{LONGEST_PIECE, shown};
use crate::clock::BenchInstant;
use std::sync::Arc;

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
    /// Shared with the marks made of this reader.
    header: Arc<Header>,
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

impl VcdReader {
    /// A reader of the wires so named, by plain name or with scopes joined by
    /// dots. With no name, of the only scalar.
    pub fn new(wires: &[&str]) -> Self {
        Self {
            header: Arc::new(Header::new(wires)),
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
            if self.state == State::Values && self.waiting.is_none() {
                at = self.usual(bytes, at, sink);
            }
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

    /// Reads times and scalars' values from `from` on, the words of which most of
    /// a file is made, as long as one follows the other; tells where something
    /// else comes, a word that may not be whole, or one that is at fault.
    #[inline]
    fn usual(&mut self, bytes: &[u8], from: usize, sink: &mut impl FnMut(Change)) -> usize {
        let header: &Header = &self.header;
        let (mut rest, mut line) = (&bytes[from..], self.line);
        let (mut ticks, mut now, mut changes) = (self.ticks, self.now, self.changes);
        loop {
            let after = match *rest {
                [value @ (b'0' | b'1'), code, ref after @ ..] => {
                    let declared = header.codes.single(code);
                    let scalar = declared.filter(|wire| wire.kind == WireKind::Scalar);
                    let (Some(scalar), Some(..=b' ')) = (scalar, after.first()) else {
                        break;
                    };
                    if let Some(wire) = scalar.wanted {
                        changes += 1;
                        sink(Change {
                            at: now,
                            wire: usize::from(wire),
                            value: if value == b'1' {
                                Value::High
                            } else {
                                Value::Low
                            },
                        });
                    }
                    after
                }
                [b'#', ref after @ ..] => {
                    let Some((number, digits)) = leading(after) else {
                        break;
                    };
                    let next = header.instant(number).filter(|_| number >= ticks);
                    let (Some(next), after) = (next, &after[digits..]) else {
                        break;
                    };
                    if !matches!(after.first(), Some(..=b' ')) {
                        break;
                    }
                    (ticks, now) = (number, next);
                    after
                }
                [..=b' ', ..] => rest,
                _ => break,
            };
            // A blank comes next.
            line += u64::from(after[0] == b'\n');
            rest = &after[1..];
        }
        (self.ticks, self.now, self.changes) = (ticks, now, changes);
        self.line = line;
        bytes.len() - rest.len()
    }

    /// The end of the file.
    ///
    /// # Errors
    /// A [`VcdFault`] when more had to come. A last time without a line end may
    /// be cut off, but nothing comes after it that would depend on it; where it
    /// goes back it surely is.
    pub fn finish(mut self, sink: &mut impl FnMut(Change)) -> Result<VcdSummary, VcdFault> {
        let word = std::mem::take(&mut self.carry);
        if !word.is_empty() {
            let read = self.word(&word, sink);
            let cut = word[0] == b'#' && self.state == State::Values;
            read.map_err(|trouble| match trouble {
                VcdTrouble::Time(_) | VcdTrouble::TimeGoesBack { .. } if cut => {
                    self.fault_at(self.carry_at, VcdTrouble::Truncated("inside a time"))
                }
                trouble => self.fault_at(self.carry_at, trouble),
            })?;
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
                wires: self.header.chosen.iter().flatten().cloned().collect(),
                tick_femtoseconds: self.header.tick_fs.unwrap_or(0),
                end: self.now,
                changes: self.changes,
            }),
        }
    }

    /// Femtoseconds of one tick of the file's time, once the header is read.
    pub fn tick_femtoseconds(&self) -> Option<u64> {
        self.header.tick_fs.filter(|_| self.state != State::Header)
    }

    /// A reader that goes on from here, and the byte that it must be pushed
    /// next. It shares the header, so that it costs little to keep.
    pub fn mark(&self) -> (Self, u64) {
        let mut reader = self.clone();
        reader.carry.clear();
        let byte = if self.carry.is_empty() {
            self.before
        } else {
            self.carry_at
        };
        reader.before = byte;
        (reader, byte)
    }

    /// The time up to which it has read.
    pub const fn now(&self) -> BenchInstant {
        self.now
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
                if Arc::make_mut(&mut self.header).word(word)? {
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
            // The nine values of IEEE Std 1164: weak ones are values too.
            b'l' | b'L' => Value::Low,
            b'h' | b'H' => Value::High,
            b'x' | b'X' | b'u' | b'U' | b'w' | b'W' | b'-' => Value::Unknown,
            b'z' | b'Z' => Value::HighImpedance,
            b's' | b'S' => {
                self.waiting = Some(Waiting {
                    value: None,
                    bits: 0,
                });
                return Ok(());
            }
            b'b' | b'B' => {
                self.waiting = Some(vector(rest).ok_or_else(|| VcdTrouble::Misfit(shown(word)))?);
                return Ok(());
            }
            b'r' | b'R' => {
                self.waiting = Some(real(rest).ok_or_else(|| VcdTrouble::Misfit(shown(word)))?);
                return Ok(());
            }
            b'$' => return self.keyword(word, sink),
            _ => return Err(VcdTrouble::Unexpected(shown(word))),
        };
        let declared = self
            .header
            .codes
            .find(rest)
            .ok_or_else(|| VcdTrouble::NoSuchCode(shown(rest)))?;
        let Some(wire) = declared.wanted else {
            return Ok(());
        };
        if declared.kind != WireKind::Scalar {
            return Err(VcdTrouble::Misfit(shown(word)));
        }
        self.emit(wire, scalar, sink);
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

    fn keyword(&mut self, word: &[u8], sink: &mut impl FnMut(Change)) -> Result<(), VcdTrouble> {
        match word {
            // The values inside are values like any other.
            b"$dumpvars" | b"$dumpall" | b"$dumpon" | b"$end" => Ok(()),
            b"$dumpoff" => {
                // Whatever is written inside: from here on nobody looks.
                for wire in 0..self.header.chosen.len() {
                    self.emit(wire as u16, Value::Unknown, sink);
                }
                Ok(())
            }
            // What tools add of their own ends as everything does.
            b"$comment" | b"$attrbegin" | b"$attrend" => {
                self.state = State::Passing;
                Ok(())
            }
            _ => Err(VcdTrouble::Unexpected(shown(word))),
        }
    }

    fn time(&mut self, digits: &[u8]) -> Result<(), VcdTrouble> {
        let wrong = || VcdTrouble::Time(shown(digits));
        let zeros = digits.iter().take_while(|&&digit| digit == b'0').count();
        let needed = &digits[zeros..];
        // Eighteen digits cannot overflow, and no file needs more.
        if digits.is_empty() || needed.len() > 18 || !needed.iter().all(u8::is_ascii_digit) {
            return Err(wrong());
        }
        let ticks = needed
            .iter()
            .fold(0_u64, |sum, &digit| sum * 10 + u64::from(digit - b'0'));
        if ticks < self.ticks {
            return Err(VcdTrouble::TimeGoesBack {
                from: self.ticks,
                to: ticks,
            });
        }
        self.now = self.header.instant(ticks).ok_or_else(wrong)?;
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
        // What other wires hold is not looked at.
        let Some(wire) = declared.wanted else {
            return Ok(());
        };
        let misfit = || VcdTrouble::Misfit(shown(code));
        let value = match (declared.kind, waiting.value.ok_or_else(misfit)?) {
            (WireKind::Real, Value::Real(value)) => Value::Real(value),
            (WireKind::Vector(width), value) if waiting.bits <= width => match value {
                Value::Real(_) => return Err(misfit()),
                value => value,
            },
            (WireKind::Scalar, value) if waiting.bits == 1 => match value {
                Value::Vector(0) => Value::Low,
                Value::Vector(_) => Value::High,
                value => value,
            },
            _ => return Err(misfit()),
        };
        self.emit(wire, value, sink);
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
