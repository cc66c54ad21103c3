//! A packet in words, by S-9.2 and S-9.2.1, and how many there are of each. It
//! checks nothing.

use crate::track::{Packet, PacketBytes, PacketKind, speed_step};
use std::collections::BTreeMap;

/// Different packets that are counted apart.
const MOST: usize = 500;
/// Different packets whose words are remembered; of others they are made anew.
const REMEMBERED: usize = 4_096;
/// What the others are counted as.
const OTHERS: &str = "others";

/// Packets in words with their counts.
#[derive(Clone, Debug, Default)]
pub(super) struct Words {
    list: Vec<(String, u64)>,
    places: BTreeMap<String, usize>,
    /// Where the words of a packet are counted.
    packets: BTreeMap<(PacketBytes, PacketKind), usize>,
}

impl Words {
    pub(super) fn count(&mut self, packet: &Packet) {
        let place = match self.packets.get(&(packet.bytes, packet.kind)) {
            Some(&place) => place,
            None => self.place(packet),
        };
        self.list[place].1 += 1;
    }

    fn place(&mut self, packet: &Packet) -> usize {
        let words = words(packet);
        let known = self.places.contains_key(&words) || self.list.len() < MOST;
        let key = if known { words } else { OTHERS.to_owned() };
        let place = match self.places.get(&key) {
            Some(&place) => place,
            None => {
                self.list.push((key.clone(), 0));
                self.places.insert(key, self.list.len() - 1);
                self.list.len() - 1
            }
        };
        if self.packets.len() < REMEMBERED {
            self.packets.insert((packet.bytes, packet.kind), place);
        }
        place
    }

    /// The most frequent first.
    pub(super) fn ranked(self) -> Vec<(String, u64)> {
        let mut list = self.list;
        list.sort_by(|a, b| b.1.cmp(&a.1).then_with(|| a.0.cmp(&b.0)));
        list
    }
}

/// A packet in words.
pub fn words(packet: &Packet) -> String {
    let bytes = packet.bytes.as_slice();
    let kind = packet.kind;
    let addressed = matches!(
        kind,
        PacketKind::SpeedAndDirection
            | PacketKind::DecoderControl
            | PacketKind::AdvancedOperations
            | PacketKind::FunctionGroupOne
            | PacketKind::FunctionGroupTwo
            | PacketKind::FeatureExpansion
            | PacketKind::ConfigurationVariable
    );
    let (address, instruction) = match bytes {
        [high @ 192..=231, low, rest @ ..] => (
            u32::from(high & 0x3F) << 8 | u32::from(*low),
            rest.split_last().map_or(&[][..], |(_, rest)| rest),
        ),
        [address, rest @ ..] => (
            u32::from(*address),
            rest.split_last().map_or(&[][..], |(_, rest)| rest),
        ),
        [] => (0, &[][..]),
    };
    match kind {
        PacketKind::Idle | PacketKind::Reset | PacketKind::BroadcastStop => kind.to_string(),
        _ if addressed => format!("address {address} {}", instructed(kind, instruction)),
        _ => format!("{kind} {}", packet.bytes),
    }
}

fn instructed(kind: PacketKind, instruction: &[u8]) -> String {
    let way = |forward| if forward { "forward" } else { "reverse" };
    match (kind, instruction) {
        (PacketKind::SpeedAndDirection, &[byte]) => match speed_step(byte) {
            Some((forward, 0)) => format!("{} stop", way(forward)),
            Some((forward, step)) => format!("{} step {step}", way(forward)),
            None => kind.to_string(),
        },
        // 00111111 DDDDDDDD: S-9.2.1:2012 section C, 128 speed steps.
        (PacketKind::AdvancedOperations, &[0x3F, speed]) => {
            let way = way(speed & 0x80 != 0);
            match speed & 0x7F {
                0 => format!("{way} stop (128 steps)"),
                1 => format!("{way} emergency stop (128 steps)"),
                step => format!("{way} step {} (128 steps)", step - 1),
            }
        }
        // 100DDDDD: F0 in bit 4, F1 to F4 in bits 0 to 3.
        (PacketKind::FunctionGroupOne, &[byte]) => {
            let on = (0..5).filter(|&n| byte >> ((n + 4) % 5) & 1 == 1);
            functions(on.collect(), "F0 to F4")
        }
        // 1011DDDD: F5 to F8; 1010DDDD: F9 to F12.
        (PacketKind::FunctionGroupTwo, &[byte]) => {
            let (first, all) = if byte & 0x10 != 0 {
                (5, "F5 to F8")
            } else {
                (9, "F9 to F12")
            };
            let on = (0..4).filter(|n| byte >> n & 1 == 1).map(|n| first + n);
            functions(on.collect(), all)
        }
        _ => {
            let hex: Vec<String> = instruction.iter().map(|b| format!("{b:02X}")).collect();
            format!("{kind} {}", hex.join(" "))
        }
    }
}

fn functions(on: Vec<u32>, all: &str) -> String {
    if on.is_empty() {
        return format!("functions {all} off");
    }
    let on: Vec<String> = on.iter().map(|n| format!("F{n}")).collect();
    format!("functions {} on, others of {all} off", on.join(" "))
}
