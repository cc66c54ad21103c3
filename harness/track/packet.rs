//! Packets as NMRA S-9.2:2004 and S-9.2.1:2012 define them: bytes, the check
//! byte and what kind of packet it is. How bits are timed is not its matter.

use crate::clock::BenchInstant;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Bytes kept of one packet. S-9.2.1 allows six; longer ones of later
/// standards are read up to here.
pub const LONGEST_PACKET: usize = 16;

/// The check byte: exclusive or of all bytes before it (S-9.2:2004 section A).
pub fn check_byte(bytes: &[u8]) -> u8 {
    bytes.iter().fold(0, |sum, byte| sum ^ byte)
}

/// The bytes of a packet, check byte included.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PacketBytes {
    bytes: [u8; LONGEST_PACKET],
    count: u8,
}

impl PacketBytes {
    /// `bytes` as they are, or `None` when there are too many.
    pub fn new(bytes: &[u8]) -> Option<Self> {
        let mut packet = Self::default();
        bytes
            .iter()
            .all(|&byte| packet.push(byte))
            .then_some(packet)
    }

    /// The bytes.
    pub fn as_slice(&self) -> &[u8] {
        &self.bytes[..usize::from(self.count)]
    }

    /// Appends a byte; false when there is no room.
    pub(super) fn push(&mut self, byte: u8) -> bool {
        let room = self.bytes.get_mut(usize::from(self.count));
        room.map(|place| {
            *place = byte;
            self.count += 1;
        })
        .is_some()
    }

    /// Whether the last byte is the exclusive or of the others.
    pub fn is_checked(&self) -> bool {
        self.count >= 2 && check_byte(self.as_slice()) == 0
    }
}

impl fmt::Display for PacketBytes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, byte) in self.as_slice().iter().enumerate() {
            let gap = if index == 0 { "" } else { " " };
            write!(f, "{gap}{byte:02X}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for PacketBytes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "[{self}]")
    }
}

impl Serialize for PacketBytes {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for PacketBytes {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        use serde::de::Error as _;
        let text = String::deserialize(deserializer)?;
        let bytes: Result<Vec<u8>, _> = text
            .split_ascii_whitespace()
            .map(|pair| u8::from_str_radix(pair, 16))
            .collect();
        let bytes = bytes.map_err(|_| D::Error::custom("packet bytes are hexadecimal pairs"))?;
        Self::new(&bytes).ok_or_else(|| D::Error::custom("more bytes than a packet holds"))
    }
}

/// One packet as seen on the track.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Packet {
    /// First edge of the packet start bit.
    pub start: BenchInstant,
    /// Last edge of the packet end bit.
    pub end: BenchInstant,
    /// Whole 1 bits before the start bit, the end bit of the packet before not
    /// counted.
    pub preamble: u32,
    /// Whether the preamble was seen from its beginning; not so at the start
    /// of a capture, after a gap, and behind a cutout.
    pub preamble_whole: bool,
    /// Whether a cutout came before it.
    pub after_cutout: bool,
    /// All bytes.
    pub bytes: PacketBytes,
    /// Whether the check byte is right.
    pub checked: bool,
    /// What it is.
    pub kind: PacketKind,
}

/// What a packet is, by S-9.2 and S-9.2.1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PacketKind {
    /// FF 00 FF.
    Idle,
    /// 00 00 00.
    Reset,
    /// Stop to all addresses.
    BroadcastStop,
    /// Anything else to all addresses.
    Broadcast,
    /// Baseline speed and direction, or its 28-step form.
    SpeedAndDirection,
    /// Decoder and consist control, instruction 000.
    DecoderControl,
    /// Advanced operations, instruction 001: 128 speed steps and others.
    AdvancedOperations,
    /// Function group one, instruction 100.
    FunctionGroupOne,
    /// Function group two, instruction 101.
    FunctionGroupTwo,
    /// Reserved for feature expansion, instruction 110.
    FeatureExpansion,
    /// Configuration variable access, instruction 111.
    ConfigurationVariable,
    /// Basic accessory decoder, 9-bit address.
    BasicAccessory,
    /// Extended accessory decoder, 11-bit address.
    ExtendedAccessory,
    /// Service mode (S-9.2.3:2012), told by its long preamble.
    ServiceMode,
    /// An address partition that is reserved.
    Reserved,
    /// Fewer than three bytes, or a wrong check byte.
    Faulty,
}

/// Preamble bits from which a packet to addresses 112 to 127 is taken for
/// service mode: S-9.2.3:2012 demands 20.
const SERVICE_PREAMBLE: u32 = 20;

impl PacketKind {
    /// The kind of `bytes` behind a preamble of so many bits.
    pub fn of(packet: &PacketBytes, preamble: u32) -> Self {
        let bytes = packet.as_slice();
        if bytes.len() < 3 || !packet.is_checked() {
            return Self::Faulty;
        }
        match bytes {
            [0xFF, 0, 0xFF] => return Self::Idle,
            [0, 0, 0] => return Self::Reset,
            // 01DC000S: S-9.2:2004 section B.
            [0, stop, _] if stop & 0b1100_1110 == 0b0100_0000 => return Self::BroadcastStop,
            _ => {}
        }
        match bytes[0] {
            0 => Self::Broadcast,
            0x70..=0x7F if preamble >= SERVICE_PREAMBLE => Self::ServiceMode,
            1..=127 => Self::instruction(bytes[1]),
            128..=191 if bytes[1] & 0x80 != 0 => Self::BasicAccessory,
            128..=191 => Self::ExtendedAccessory,
            192..=231 if bytes.len() >= 4 => Self::instruction(bytes[2]),
            _ => Self::Reserved,
        }
    }

    /// The instruction types of S-9.2.1:2012 section C, by their upper three bits.
    const fn instruction(byte: u8) -> Self {
        match byte >> 5 {
            0b000 => Self::DecoderControl,
            0b001 => Self::AdvancedOperations,
            0b010 | 0b011 => Self::SpeedAndDirection,
            0b100 => Self::FunctionGroupOne,
            0b101 => Self::FunctionGroupTwo,
            0b110 => Self::FeatureExpansion,
            _ => Self::ConfigurationVariable,
        }
    }

    /// The words for it on screens.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Idle => "idle",
            Self::Reset => "reset",
            Self::BroadcastStop => "broadcast stop",
            Self::Broadcast => "broadcast",
            Self::SpeedAndDirection => "speed and direction",
            Self::DecoderControl => "decoder control",
            Self::AdvancedOperations => "advanced operations",
            Self::FunctionGroupOne => "function group one",
            Self::FunctionGroupTwo => "function group two",
            Self::FeatureExpansion => "feature expansion",
            Self::ConfigurationVariable => "configuration variable",
            Self::BasicAccessory => "basic accessory",
            Self::ExtendedAccessory => "extended accessory",
            Self::ServiceMode => "service mode",
            Self::Reserved => "reserved address",
            Self::Faulty => "faulty",
        }
    }
}

impl fmt::Display for PacketKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.words())
    }
}

/// Direction and speed step of a baseline instruction 01DCSSSS read in 28
/// steps: forward or not, and 0 for stop (S-9.2:2004 section B, table in
/// S-9.2.1). `None` when the byte is another instruction.
pub const fn speed_step(instruction: u8) -> Option<(bool, u8)> {
    if instruction >> 6 != 0b01 {
        return None;
    }
    let forward = instruction & 0b0010_0000 != 0;
    let code = (instruction & 0x0F) * 2 + (instruction >> 4 & 1);
    Some((forward, code.saturating_sub(3)))
}
