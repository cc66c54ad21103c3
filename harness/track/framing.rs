//! Half-bits to bits to packets, by NMRA S-9.2. It holds nothing against a
//! timing limit; what is a 1 and what a 0 has been decided before.

use super::Polarity;
use super::asymmetry::Pairing;
use super::packet::{Packet, PacketBytes, PacketKind};
use super::rules::PREAMBLE_REFUSED;
use crate::clock::{BenchInstant, BenchSpan};

/// What a half-bit can belong to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    One,
    Zero,
    Neither,
}

/// One polarity between two crossings.
#[derive(Clone, Copy, Debug)]
pub(super) struct Half {
    pub(super) polarity: Polarity,
    pub(super) from: BenchInstant,
    pub(super) to: BenchInstant,
    pub(super) kind: Kind,
}

impl Half {
    pub(super) fn length(&self) -> BenchSpan {
        self.to - self.from
    }
}

/// Bits before a start bit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Preamble {
    /// Whole 1 bits, the end bit before included where it was seen.
    pub(super) bits: u32,
    /// First edge of the start bit.
    pub(super) until: BenchInstant,
    /// Seen from its beginning.
    pub(super) whole: bool,
    pub(super) after_cutout: bool,
    /// Long enough for a decoder to go on.
    pub(super) accepted: bool,
}

/// What one half-bit completed.
#[derive(Clone, Copy, Debug)]
pub(super) enum Framed {
    Nothing,
    Preamble(Preamble),
    /// Both halves of a 0.
    ZeroBit {
        from: BenchInstant,
        to: BenchInstant,
    },
    Packet(Packet),
}

/// Puts half-bits together.
#[derive(Clone, Debug)]
pub(super) struct Framer {
    pub(super) pairing: Pairing,
    /// Packets begun and not ended, from whatever cause.
    pub(super) broken: u64,
    pub(super) first_broken: Option<BenchInstant>,
    pub(super) one_bits: u64,
    pub(super) zero_bits: u64,
    frame: Option<Frame>,
    run: Run,
}

/// Halves of 1 since the last packet or disturbance.
#[derive(Clone, Copy, Debug, Default)]
struct Run {
    ones: u32,
    /// Begun right behind a packet end bit.
    behind_packet: bool,
    after_cutout: bool,
}

#[derive(Clone, Copy, Debug)]
struct Frame {
    start: BenchInstant,
    preamble: u32,
    preamble_whole: bool,
    after_cutout: bool,
    /// The first half of the bit being read.
    first: Option<Half>,
    /// Bits of the present byte, its start bit included; 0 before that.
    place: u8,
    byte: u8,
    bytes: PacketBytes,
}

impl Framer {
    pub(super) fn new(pairing: Pairing) -> Self {
        Self {
            pairing,
            broken: 0,
            first_broken: None,
            one_bits: 0,
            zero_bits: 0,
            frame: None,
            run: Run::default(),
        }
    }

    /// Something came between: the next half may begin anywhere in a bit.
    pub(super) fn interrupt(&mut self, at: BenchInstant, after_cutout: bool) {
        if self.frame.take().is_some() {
            self.broke(at);
        }
        self.pairing.end(false);
        self.run = Run {
            after_cutout,
            ..Run::default()
        };
    }

    /// The end of the signal: settles what is still pending.
    pub(super) fn finish(&mut self) {
        self.pairing.end(false);
        self.one_bits += u64::from(self.run.ones / 2);
        self.run = Run::default();
        self.frame = None;
    }

    pub(super) fn half(&mut self, half: Half) -> Framed {
        match &mut self.frame {
            Some(frame) => match frame.first.take() {
                None if half.kind != Kind::Neither => {
                    frame.first = Some(half);
                    Framed::Nothing
                }
                Some(first) if first.kind == half.kind => self.bit(first, half),
                _ => {
                    self.frame = None;
                    self.broke(half.from);
                    self.run = Run::default();
                    self.seeking(half)
                }
            },
            None => self.seeking(half),
        }
    }

    fn broke(&mut self, at: BenchInstant) {
        self.broken += 1;
        self.first_broken.get_or_insert(at);
    }

    fn seeking(&mut self, half: Half) -> Framed {
        match half.kind {
            Kind::One => {
                if self.run.ones == 0 {
                    self.pairing.begin(self.run.behind_packet);
                }
                self.pairing.half(half);
                self.run.ones = self.run.ones.saturating_add(1);
                Framed::Nothing
            }
            Kind::Zero => self.start_bit(half),
            Kind::Neither => {
                self.interrupt(half.from, false);
                Framed::Nothing
            }
        }
    }

    /// A 0 after a run of ones: a packet start bit, if the run was long enough
    /// for a preamble. S-9.2 lets the packet end bit count as one of its bits.
    fn start_bit(&mut self, half: Half) -> Framed {
        self.pairing.end(true);
        let run = std::mem::take(&mut self.run);
        let bits = run.ones / 2;
        self.one_bits += u64::from(bits);
        let counted = bits + u32::from(run.behind_packet);
        let accepted = counted >= PREAMBLE_REFUSED;
        if accepted {
            self.frame = Some(Frame {
                start: half.from,
                preamble: bits,
                preamble_whole: run.behind_packet,
                after_cutout: run.after_cutout,
                first: Some(half),
                place: 0,
                byte: 0,
                bytes: PacketBytes::default(),
            });
        }
        // A short run met while searching lies inside a packet, most likely.
        let told = accepted || run.behind_packet || run.after_cutout;
        if !told {
            return Framed::Nothing;
        }
        Framed::Preamble(Preamble {
            bits: counted,
            until: half.from,
            whole: run.behind_packet,
            after_cutout: run.after_cutout,
            accepted,
        })
    }

    /// Both halves of a bit of a packet.
    fn bit(&mut self, first: Half, second: Half) -> Framed {
        let Some(frame) = &mut self.frame else {
            return Framed::Nothing;
        };
        let bit = second.kind == Kind::One;
        if bit {
            self.one_bits += 1;
            self.pairing.total.push(first, second);
        } else {
            self.zero_bits += 1;
        }
        match (frame.place, bit) {
            (0, true) => {
                let packet = packet(frame, second.to);
                self.frame = None;
                self.run = Run {
                    behind_packet: true,
                    ..Run::default()
                };
                return Framed::Packet(packet);
            }
            (0, false) => frame.place = 1,
            _ => {
                frame.byte = frame.byte << 1 | u8::from(bit);
                frame.place += 1;
            }
        }
        if frame.place == 9 {
            self.byte_read(second.to);
        }
        if bit {
            return Framed::Nothing;
        }
        Framed::ZeroBit {
            from: first.from,
            to: second.to,
        }
    }

    fn byte_read(&mut self, at: BenchInstant) {
        let Some(frame) = &mut self.frame else { return };
        if frame.bytes.push(frame.byte) {
            frame.place = 0;
            frame.byte = 0;
        } else {
            self.frame = None;
            self.broke(at);
            self.run = Run::default();
        }
    }
}

fn packet(frame: &Frame, end: BenchInstant) -> Packet {
    Packet {
        start: frame.start,
        end,
        preamble: frame.preamble,
        preamble_whole: frame.preamble_whole,
        after_cutout: frame.after_cutout,
        bytes: frame.bytes,
        checked: frame.bytes.is_checked(),
        kind: PacketKind::of(&frame.bytes, frame.preamble),
    }
}
