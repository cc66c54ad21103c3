//! The declarations of a value change dump (IEEE Std 1364-2005 clause 18):
//! timescale, scopes and wires. It reads no values.

use super::shown;
use super::vcd_fault::VcdTrouble;
use crate::clock::BenchInstant;
use std::collections::BTreeMap;

/// Wires and scopes a file may declare.
const MOST_WIRES: usize = 100_000;
const DEEPEST_SCOPE: usize = 256;
/// Words of one declaration that are kept.
const MOST_WORDS: usize = 16;
/// Names listed in a message.
const LISTED: usize = 8;

/// What kind of values a wire has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WireKind {
    /// One bit.
    Scalar,
    /// So many bits.
    Vector(u32),
    /// A real number.
    Real,
    /// A text, or what has no bits.
    Text,
}

/// A declared wire.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VcdWire {
    /// Name with its scopes, joined by dots.
    pub name: String,
    /// What values it has.
    pub kind: WireKind,
}

/// What an identifier code stands for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Declared {
    pub(super) kind: WireKind,
    /// Which of the wanted wires it is.
    pub(super) wanted: Option<u16>,
}

/// Codes of one and two characters find their place in a table, longer ones in
/// a tree. A code is a number in base 94 (characters '!' to '~').
#[derive(Clone, Debug, Default)]
pub(super) struct Codes {
    short: Vec<u32>,
    long: BTreeMap<Vec<u8>, u32>,
    declared: Vec<Declared>,
}

const DIGITS: usize = 94;

impl Codes {
    fn place(code: &[u8]) -> Option<usize> {
        let digit = |byte: u8| usize::from(byte.wrapping_sub(b'!'));
        match *code {
            [a] if digit(a) < DIGITS => Some(digit(a)),
            [a, b] if digit(a) < DIGITS && digit(b) < DIGITS => {
                Some(DIGITS + digit(a) * DIGITS + digit(b))
            }
            _ => None,
        }
    }

    /// What `code` stands for.
    pub(super) fn find(&self, code: &[u8]) -> Option<Declared> {
        let index = match Self::place(code) {
            Some(place) => *self.short.get(place)?,
            None => *self.long.get(code)?,
        };
        self.declared.get((index as usize).checked_sub(1)?).copied()
    }

    /// What a code of one character stands for.
    #[inline]
    pub(super) fn single(&self, code: u8) -> Option<Declared> {
        let digit = usize::from(code.wrapping_sub(b'!'));
        let index = *self.short.get(..DIGITS)?.get(digit)?;
        self.declared.get((index as usize).checked_sub(1)?).copied()
    }

    fn find_mut(&mut self, code: &[u8]) -> Option<&mut Declared> {
        let index = match Self::place(code) {
            Some(place) => *self.short.get(place)?,
            None => *self.long.get(code)?,
        };
        self.declared.get_mut((index as usize).checked_sub(1)?)
    }

    fn add(&mut self, code: &[u8], declared: Declared) {
        self.declared.push(declared);
        let index = self.declared.len() as u32;
        match Self::place(code) {
            Some(place) => {
                if self.short.is_empty() {
                    self.short = vec![0; DIGITS + DIGITS * DIGITS];
                }
                self.short[place] = index;
            }
            None => {
                self.long.insert(code.to_vec(), index);
            }
        }
    }
}

/// The header as far as it has been read.
#[derive(Clone, Debug, Default)]
pub(super) struct Header {
    wanted: Vec<String>,
    /// Femtoseconds of one tick.
    pub(super) tick_fs: Option<u64>,
    scopes: Vec<String>,
    pub(super) codes: Codes,
    /// The chosen wires, in the order in which they were asked for.
    pub(super) chosen: Vec<Option<VcdWire>>,
    wires: usize,
    names: Vec<String>,
    /// The only scalar, while it is the only one.
    only: Option<(Vec<u8>, VcdWire)>,
    scalars: usize,
    section: Option<Section>,
    words: Vec<Vec<u8>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Section {
    Timescale,
    Scope,
    Upscope,
    Wire,
    EndDefinitions,
    /// Comments, dates and whatever else a tool writes.
    Other,
}

impl Header {
    pub(super) fn new(wanted: &[&str]) -> Self {
        Self {
            wanted: wanted.iter().map(|&name| name.to_owned()).collect(),
            chosen: vec![None; wanted.len().max(1)],
            ..Self::default()
        }
    }

    /// The instant after so many ticks, if there is a tick and it can be held.
    #[inline]
    pub(super) fn instant(&self, ticks: u64) -> Option<BenchInstant> {
        let tick = self.tick_fs?;
        let picoseconds = if tick % 1000 == 0 {
            ticks.checked_mul(tick / 1000)
        } else {
            let femtoseconds = ticks.checked_mul(tick)?.checked_add(500);
            femtoseconds.map(|fs| fs / 1000)
        };
        let picoseconds = i64::try_from(picoseconds?).ok()?;
        Some(BenchInstant::from_picoseconds(picoseconds))
    }

    /// Takes the next word; true when the header is complete.
    pub(super) fn word(&mut self, word: &[u8]) -> Result<bool, VcdTrouble> {
        let Some(section) = self.section else {
            self.section = Some(match word {
                b"$timescale" => Section::Timescale,
                b"$scope" => Section::Scope,
                b"$upscope" => Section::Upscope,
                b"$var" => Section::Wire,
                b"$enddefinitions" => Section::EndDefinitions,
                [b'$', ..] if word != b"$end" => Section::Other,
                _ => return Err(VcdTrouble::Unexpected(shown(word))),
            });
            self.words.clear();
            return Ok(false);
        };
        if word != b"$end" {
            if section != Section::Other {
                if self.words.len() == MOST_WORDS {
                    return Err(VcdTrouble::Declaration("it has too many words"));
                }
                self.words.push(word.to_vec());
            }
            return Ok(false);
        }
        self.section = None;
        match section {
            Section::Timescale => self.timescale()?,
            Section::Scope => self.scope()?,
            // One too many closes nothing.
            Section::Upscope => drop(self.scopes.pop()),
            Section::Wire => self.wire()?,
            Section::EndDefinitions => {
                self.complete()?;
                return Ok(true);
            }
            Section::Other => {}
        }
        Ok(false)
    }

    fn timescale(&mut self) -> Result<(), VcdTrouble> {
        let text = self.words.concat();
        let digits = text.iter().take_while(|b| b.is_ascii_digit()).count();
        let (number, unit) = text.split_at(digits);
        let number = match number {
            b"1" => 1,
            b"10" => 10,
            b"100" => 100,
            _ => return Err(VcdTrouble::Timescale(shown(&text))),
        };
        let unit: u64 = match unit {
            b"s" => 1_000_000_000_000_000,
            b"ms" => 1_000_000_000_000,
            b"us" => 1_000_000_000,
            b"ns" => 1_000_000,
            b"ps" => 1_000,
            b"fs" => 1,
            _ => return Err(VcdTrouble::Timescale(shown(&text))),
        };
        self.tick_fs = Some(number * unit);
        Ok(())
    }

    fn scope(&mut self) -> Result<(), VcdTrouble> {
        let [_, name] = self.words.as_slice() else {
            return Err(VcdTrouble::Declaration("a scope has a type and a name"));
        };
        if self.scopes.len() == DEEPEST_SCOPE {
            return Err(VcdTrouble::Declaration("scopes lie too deep"));
        }
        self.scopes.push(String::from_utf8_lossy(name).into_owned());
        Ok(())
    }

    fn wire(&mut self) -> Result<(), VcdTrouble> {
        let [kind, width, code, name, ..] = self.words.as_slice() else {
            return Err(VcdTrouble::Declaration(
                "a wire has a type, a width, a code and a name",
            ));
        };
        let width: u32 = std::str::from_utf8(width)
            .ok()
            .and_then(|width| width.parse().ok())
            .ok_or(VcdTrouble::Declaration("the width is not a number"))?;
        let kind = match (kind.as_slice(), width) {
            (b"real" | b"realtime", _) => WireKind::Real,
            (b"string", _) | (_, 0) => WireKind::Text,
            (_, 1) => WireKind::Scalar,
            (_, width) => WireKind::Vector(width),
        };
        self.wires += 1;
        if self.wires > MOST_WIRES {
            return Err(VcdTrouble::Declaration("there are too many wires"));
        }
        let plain = String::from_utf8_lossy(name).into_owned();
        let mut path = self.scopes.join(".");
        if !path.is_empty() {
            path.push('.');
        }
        path.push_str(&plain);
        let wire = VcdWire { name: path, kind };
        let code = code.clone();
        self.declare(&code, &plain, wire)
    }

    fn declare(&mut self, code: &[u8], plain: &str, wire: VcdWire) -> Result<(), VcdTrouble> {
        if self.names.len() < LISTED {
            self.names.push(shown(wire.name.as_bytes()));
        }
        let place = self
            .wanted
            .iter()
            .position(|name| name == plain || *name == wire.name);
        if let Some(place) = place {
            if wire.kind == WireKind::Text {
                return Err(VcdTrouble::Declaration("the wanted wire holds a text"));
            }
            if matches!(wire.kind, WireKind::Vector(width) if width > 64) {
                return Err(VcdTrouble::TooWide(shown(wire.name.as_bytes())));
            }
            let again = self.codes.find(code).and_then(|known| known.wanted);
            if self.chosen[place].is_some() && again.map(usize::from) != Some(place) {
                return Err(VcdTrouble::Ambiguous(shown(plain.as_bytes())));
            }
            self.chosen[place] = Some(wire.clone());
        }
        let wanted = place.and_then(|place| u16::try_from(place).ok());
        match self.codes.find_mut(code) {
            // One code may name a wire in several scopes.
            Some(known) if known.kind == wire.kind => {
                if known.wanted.is_some() && wanted.is_some() && known.wanted != wanted {
                    return Err(VcdTrouble::Declaration(
                        "the wanted wires are one and the same",
                    ));
                }
                known.wanted = known.wanted.or(wanted);
            }
            // Of wires nobody wants the kind does not matter.
            Some(known) if known.wanted.is_none() && wanted.is_none() => {}
            Some(_) => {
                return Err(VcdTrouble::Declaration(
                    "its code names a wire of another kind",
                ));
            }
            None => {
                let declared = Declared {
                    kind: wire.kind,
                    wanted,
                };
                self.codes.add(code, declared);
                if wire.kind == WireKind::Scalar {
                    self.scalars += 1;
                    self.only = Some((code.to_vec(), wire));
                }
            }
        }
        Ok(())
    }

    /// The end of the header: is everything there that was wanted?
    fn complete(&mut self) -> Result<(), VcdTrouble> {
        if self.tick_fs.is_none() {
            return Err(VcdTrouble::NoTimescale);
        }
        if self.wanted.is_empty() {
            let Some((code, wire)) = self.only.take().filter(|_| self.scalars == 1) else {
                return Err(VcdTrouble::Choose(self.names.join(", ")));
            };
            self.chosen = vec![Some(wire)];
            if let Some(known) = self.codes.find_mut(&code) {
                known.wanted = Some(0);
            }
            return Ok(());
        }
        match self.chosen.iter().position(Option::is_none) {
            None => Ok(()),
            Some(place) => Err(VcdTrouble::NoSuchWire {
                wanted: shown(self.wanted[place].as_bytes()),
                known: self.names.join(", "),
            }),
        }
    }
}
