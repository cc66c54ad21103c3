//! What the signal scenario saw, as it is stored. What it means is said where it is
//! declared.

use super::seen::{Loading, Seen, SignalTake, Stream};
use crate::scenario::take::Take;
use crate::scenario::wire::form::{Format1, WireFault, fields, numbered};
use crate::track::PacketBytes;
use crate::units::Amperes;

fields! { Seen {
    sent: Option<Stream>,
    takes: Vec<SignalTake>,
} }

fields! { Stream {
    packets: Vec<PacketBytes>,
    cutouts: bool,
    signal_lines: u8,
} }

fields! { SignalTake {
    loading: Loading,
    current: Amperes,
    take: Take,
} }

numbered! { Loading, "loading" {
    0 = None,
    1 = Resistors,
    2 = Electronic,
} }

impl Format1 for PacketBytes {
    fn put(&self, bytes: &mut Vec<u8>) {
        in_pairs(self.as_slice()).put(bytes);
    }

    fn take(bytes: &mut &[u8]) -> Result<Self, WireFault> {
        let text = String::take(bytes)?;
        let pairs = text.split_ascii_whitespace();
        let read: Result<Vec<u8>, _> = pairs.map(|pair| u8::from_str_radix(pair, 16)).collect();
        read.ok()
            .filter(|read| in_pairs(read) == text)
            .and_then(|read| Self::new(&read))
            .ok_or(WireFault::Packet)
    }
}

/// Upper-case hexadecimal pairs, a blank between.
fn in_pairs(bytes: &[u8]) -> String {
    let pairs: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
    pairs.join(" ")
}
