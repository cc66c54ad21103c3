//! Packets as they are read: kept for one document, or each at once as a line of
//! JSON. It decodes nothing.

use crate::cli::arguments::Inspect;
use crate::cli::output::Output;
use crate::inspection::{Inspection, words};
use crate::track::Packet;
use crate::units::Quantity;
use serde_json::json;

/// Packets kept for one document; a quarter of an hour of a busy track and more.
const MOST: usize = 200_000;

/// Takes packets.
pub(super) struct PacketList {
    lines: bool,
    list: Vec<Packet>,
    unlisted: u64,
}

impl PacketList {
    pub(super) const fn new(arguments: &Inspect) -> Self {
        Self {
            lines: arguments.packets,
            list: Vec::new(),
            unlisted: 0,
        }
    }

    pub(super) fn take(&mut self, packet: &Packet) {
        if self.lines {
            Output { json: true }.line(&json!({ "packet": document(packet) }));
        } else if self.list.len() < MOST {
            self.list.push(*packet);
        } else {
            self.unlisted += 1;
        }
    }

    /// Hands over what was kept.
    pub(super) fn fill(self, inspection: &mut Inspection) {
        inspection.packet_list = self.list;
        inspection.packets_unlisted = self.unlisted;
    }
}

/// One packet as JSON: when, what, and whether its check byte is right.
pub(super) fn document(packet: &Packet) -> serde_json::Value {
    json!({
        "at_s": packet.start.since_zero().si(), "end_s": packet.end.since_zero().si(),
        "bytes": packet.bytes.to_string(), "words": words(packet),
        "checked": packet.checked, "preamble": packet.preamble,
    })
}
