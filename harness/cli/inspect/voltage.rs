//! The passes over an analogue channel: once or twice for all that is to be
//! known of it, then for the stretches worth drawing. It does not know the format
//! of the file and computes nothing.

use super::packet_list::PacketList;
use super::stream::Trouble;
use crate::cli::arguments::Inspect;
use crate::inspection::{
    Ahead, Analogue, Collector, Inspection, Listened, Listener, Noticed, Piece, wanted,
};
use crate::track::Packet;
use std::ops::Range;

/// What takes a piece, and what was noticed in it.
pub(super) type Behind<'a> = &'a mut (dyn FnMut(Piece<'_>, &mut Noticed) + Send);

/// What takes pieces both ahead and behind, one after the other.
pub(super) fn in_turn(mut ahead: Ahead<'_>, behind: &mut [Behind<'_>]) -> impl FnMut(Piece<'_>) {
    let mut noticed = Noticed::default();
    move |piece| {
        ahead.take(piece, &mut noticed);
        for take in &mut *behind {
            take(piece, &mut noticed);
        }
    }
}

/// Where the samples come from.
pub(super) trait Channel {
    /// Hands all samples on: each piece ahead, then with what was noticed to each of
    /// those behind.
    fn whole(&self, ahead: Ahead<'_>, behind: &mut [Behind<'_>]) -> Result<(), Trouble>;

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
    let (ahead, mut timing, mut outlining, mut telling) = listener.parts();
    let behind: &mut [Behind<'_>] = &mut [
        &mut |piece, noticed| timing.take(piece, noticed),
        &mut |piece, noticed| outlining.take(piece, noticed),
        &mut |piece, noticed| telling.take(piece, noticed),
    ];
    channel.whole(ahead, behind)?;
    let (figures, closed) = listener.close();
    let (figured, told) = std::thread::scope(|scope| {
        let figured = scope.spawn(|| figures.read());
        let told = closed.decoded();
        let figured = figured.join();
        let figured = figured.unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        (figured, told)
    });
    let heard = match told.finish(figured, &mut sink) {
        Listened::Heard(heard) => heard,
        Listened::Again(mut second) => {
            let (ahead, mut behind) = second.parts(&mut sink);
            channel.whole(ahead, &mut [&mut behind])?;
            drop(behind);
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
