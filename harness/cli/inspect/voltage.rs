//! The passes over an analogue channel: once or twice for all that is to be
//! known of it, then for the stretches worth drawing. It does not know the format
//! of the file and computes nothing.

use super::packet_list::PacketList;
use super::stream::Trouble;
use crate::cli::arguments::Inspect;
use crate::inspection::{Analogue, Collector, Inspection, Listened, Listener, Piece, wanted};
use crate::track::Packet;
use std::ops::Range;

/// Where the samples come from.
pub(super) trait Channel {
    /// Hands on all samples.
    fn whole(&self, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble>;

    /// Hands on samples of these numbers, and perhaps more, from the number
    /// that [`Channel::part_from`] tells on.
    fn part(&self, wanted: Range<u64>, each: &mut dyn FnMut(Piece<'_>)) -> Result<(), Trouble>;

    /// The number of the first sample of a part.
    fn part_from(&self, wanted: u64) -> u64;
}

/// Reads the voltage into `inspection`.
pub(super) fn voltage(
    inspection: &mut Inspection,
    analogue: &Analogue,
    arguments: &Inspect,
    channel: &dyn Channel,
) -> Result<(), Trouble> {
    let mut packets = PacketList::new(arguments);
    let mut sink = |packet: &Packet| packets.take(packet);
    let mut listener = Listener::new(*analogue);
    channel.whole(&mut |piece| listener.push(piece))?;
    let heard = match listener.finish(&mut sink) {
        Listened::Heard(heard) => heard,
        Listened::Again(mut second) => {
            channel.whole(&mut |piece| second.push(piece, &mut sink))?;
            second.finish(&mut sink)
        }
    };
    packets.fill(inspection);
    inspection.add_voltage(*heard, arguments.at.into());
    let mut collectors = wanted(inspection);
    for collector in &mut collectors {
        let wanted = collector.wanted(analogue);
        let mut index = channel.part_from(wanted.start);
        channel.part(wanted, &mut |piece| {
            index = collector.take(piece, analogue, index);
        })?;
    }
    inspection.stretches = collectors.into_iter().map(Collector::finish).collect();
    Ok(())
}
