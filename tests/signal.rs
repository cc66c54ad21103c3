//! Real track captures, if they are at hand, against an independent count.
//! They lie outside the repository, in `../shared/captures`; where that folder
//! is absent the test says so and checks nothing.

use bufferstop::capture_file::{VcdReader, WireEdges, WireEvent, WirePair};
use bufferstop::track::{
    Decoder, DecoderSettings, EdgeUncertainty, Packet, PacketKind, SignalReport,
};
use std::path::PathBuf;

fn captures() -> Option<PathBuf> {
    let root = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    // A worktree may lie one folder deeper than the repository.
    ["../shared/captures", "../../shared/captures"]
        .iter()
        .map(|place| root.join(place))
        .find(|place| place.is_dir())
}

fn decoded(bytes: &[u8]) -> (Vec<Packet>, SignalReport) {
    let edge = EdgeUncertainty::sampled(1e-6, 0.0);
    let mut reader = VcdReader::new(&["track"]);
    let mut wire = WireEdges::new(WirePair::Single);
    let mut events = Vec::new();
    for piece in bytes.chunks(4093) {
        reader
            .push(piece, &mut |change| events.extend(wire.push(change)))
            .expect("a sound file");
    }
    let summary = reader
        .finish(&mut |change| events.extend(wire.push(change)))
        .expect("a whole file");
    events.extend(wire.finish());
    let mut decoder = Decoder::new(DecoderSettings::new(edge));
    let mut packets: Vec<Packet> = Vec::new();
    for (n, event) in events.into_iter().enumerate() {
        match event {
            WireEvent::Known(initial) => {
                assert_eq!(n, 0, "the file has an initial value and no gap");
                decoder.begin(initial.at, initial.to);
            }
            WireEvent::Edge(edge) => packets.extend(decoder.push(edge)),
            WireEvent::Lost(at) => panic!("lost at {at:?}"),
        }
    }
    let (last, report) = decoder.finish(summary.end);
    packets.extend(last);
    (packets, report)
}

/// Samples (1 MHz), edges, packets and half-bit lengths in microseconds, from
/// the README beside the captures, counted there by other means.
type Counted = (&'static str, i64, u64, u64, [u32; 4]);

const COUNTED: [Counted; 4] = [
    ("track-a", 5_498_880, 71_758, 765, [57, 60, 100, 101]),
    ("track-b", 5_918_720, 77_557, 827, [57, 60, 100, 101]),
    ("track-c", 8_652_800, 118_637, 1_267, [58, 59, 99, 101]),
    ("track-d", 10_014_720, 137_278, 1_468, [58, 59, 99, 101]),
];

#[test]
fn real_captures_give_every_packet_that_was_counted() {
    let Some(folder) = captures() else {
        println!("skipped: no ../shared/captures");
        return;
    };
    for (name, samples, edges, packets, [one, one_most, zero, zero_most]) in COUNTED {
        let bytes = std::fs::read(folder.join(format!("{name}.vcd"))).expect("a capture");
        let (found, report) = decoded(&bytes);
        assert_eq!(report.to.picoseconds() / 1_000_000, samples, "{name}");
        assert_eq!(report.edges, edges, "{name}");
        assert_eq!(found.len() as u64, packets, "{name}");
        assert!(found.iter().all(|packet| packet.checked), "{name}");
        assert!(found.iter().all(|packet| packet.kind != PacketKind::Faulty));
        assert_eq!((report.glitches.count, report.neither), (0, 0), "{name}");
        let lengths: Vec<u32> = report.histogram.iter().map(|&(us, _)| us).collect();
        let expected: Vec<u32> = (one..=one_most).chain(zero..=zero_most).collect();
        assert_eq!(lengths, expected, "{name}");
        let halves: u64 = report.histogram.iter().map(|&(_, n)| n).sum();
        assert_eq!(halves, edges - 1, "{name}");
        // Nothing in them is beyond a limit by more than 1 MHz can tell.
        let beyond = report.power_station.clauses.values().map(|c| c.beyond);
        assert_eq!(beyond.sum::<u64>(), 0, "{name}");
    }
}
