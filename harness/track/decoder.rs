//! From a stream of edges to a [`SignalReport`], in one pass and bounded
//! memory. It takes edges as they are and does not know how they were found.

use super::asymmetry::Pairing;
use super::bit_checks::{BitChecks, Doubt, STRETCHED, doubt_of_difference};
use super::checker::{Checker, Reading};
use super::framing::{Framed, Framer, Half, Kind, Preamble};
use super::half_lengths::HalfLengths;
use super::intervals::{Found, Glitch, Interval, IntervalFilter};
use super::packet::Packet;
use super::report::{Cutouts, Glitches, PacketCounts, SignalReport};
use super::rules::{
    CUTOUT_END, CUTOUT_START, Clause, PREAMBLE_AFTER_CUTOUT, PREAMBLE_SENT, RECEIVER,
    START_BITS_APART,
};
use super::settings::DecoderSettings;
use super::spread::{Budget, Microseconds, Spread};
use super::{Edge, Polarity};
use crate::clock::{BenchInstant, BenchSpan};

/// Halves up to here are a 1's, longer ones a 0's, when it is asked which
/// limit they break: the geometric middle of 64 and 90 us.
const BETWEEN: BenchSpan = BenchSpan::from_microseconds(76);
/// A cutout on one line is told from a half of a 0 by where it stands and by
/// lasting about 442 us.
const CUTOUT_BODY: (BenchSpan, BenchSpan) = (
    BenchSpan::from_microseconds(300),
    BenchSpan::from_microseconds(700),
);
/// Rails joined for this long, beginning this soon after a packet, are a
/// cutout.
const CUTOUT_LEAST: BenchSpan = BenchSpan::from_microseconds(100);
const CUTOUT_REACH: BenchSpan = BenchSpan::from_microseconds(500);
const SILENCE: BenchSpan = BenchSpan::from_microseconds(30_000);

/// Reads a track signal.
#[derive(Clone, Debug)]
pub struct Decoder {
    settings: DecoderSettings,
    doubt: Doubt,
    filter: IntervalFilter,
    framer: Framer,
    from: Option<BenchInstant>,
    last_edge: BenchInstant,
    /// The polarity is not known at present.
    lost: bool,
    edges: u64,
    /// End of the last packet, while a cutout may follow.
    packet_end: Option<BenchInstant>,
    /// The short stretch before what may be a cutout.
    head: Option<Interval>,
    /// The next stretch is the rest of a half-bit that a cutout covered.
    fragment: bool,
    last_start: Option<BenchInstant>,
    ones: HalfLengths,
    zeros: HalfLengths,
    stretched: Spread,
    histogram: Microseconds,
    neither: u64,
    packets: PacketCounts,
    starts: Spread,
    cutouts: u64,
    cutout_start: Spread,
    cutout_end: Spread,
    glitches: Glitches,
    glitch_lengths: Spread,
    dead: Spread,
    silences: u64,
    longest_silence: BenchSpan,
    bits: BitChecks,
    packet_rules: Checker,
}

impl Decoder {
    /// A decoder before the first edge.
    pub fn new(settings: DecoderSettings) -> Self {
        let doubt = Doubt::of(&settings);
        let pairing = Pairing::new(settings.keep, doubt_of_difference(&settings));
        let about = |us| Spread::about(BenchSpan::from_microseconds(us));
        let halves = |us| HalfLengths::about(BenchSpan::from_microseconds(us));
        Self {
            settings,
            doubt,
            filter: IntervalFilter::new(settings.glitch),
            framer: Framer::new(pairing),
            from: None,
            last_edge: BenchInstant::ZERO,
            lost: false,
            edges: 0,
            packet_end: None,
            head: None,
            fragment: false,
            last_start: None,
            ones: halves(58),
            zeros: halves(100),
            stretched: about(100),
            histogram: Microseconds::new(),
            neither: 0,
            packets: PacketCounts::default(),
            starts: about(7_000),
            cutouts: 0,
            cutout_start: about(29),
            cutout_end: about(471),
            glitches: Glitches::default(),
            glitch_lengths: about(0),
            dead: about(0),
            silences: 0,
            longest_silence: BenchSpan::ZERO,
            bits: BitChecks::new(settings.keep, doubt),
            packet_rules: Checker::new(settings.keep),
        }
    }

    /// The polarity at the start of the capture, before any edge. Without it
    /// everything begins with the first edge.
    pub fn begin(&mut self, at: BenchInstant, polarity: Polarity) {
        self.from = Some(at);
        self.last_edge = at;
        self.filter.begin(at, polarity);
    }

    /// From `at` on the polarity is not known: the stretch that it cuts counts
    /// for nothing, nor does what would span the gap. Tells the packet before it.
    pub fn lose(&mut self, at: BenchInstant) -> Option<Packet> {
        let whole = self.filter.finish();
        let mut packet = whole.and_then(|interval| self.interval(interval));
        if let Some(head) = self.head.take() {
            packet = packet.or(self.half(head));
        }
        self.framer.interrupt(at, false);
        self.packet_end = None;
        self.last_start = None;
        self.fragment = false;
        self.lost = true;
        packet
    }

    /// The polarity is known again: what a [`Self::lose`] began ends at `at`.
    pub fn resume(&mut self, at: BenchInstant, polarity: Polarity) {
        self.from.get_or_insert(at);
        self.last_edge = at;
        self.lost = false;
        self.filter.begin(at, polarity);
    }

    /// Takes an edge. A packet is told one half-bit after its end.
    #[inline]
    pub fn push(&mut self, edge: Edge) -> Option<Packet> {
        self.edges += 1;
        let from = *self.from.get_or_insert(edge.at);
        self.silence(self.last_edge.later(from), edge.at);
        self.last_edge = self.last_edge.later(edge.at);
        let Found { interval, glitch } = self.filter.edge(edge);
        if let Some(glitch) = glitch {
            self.glitch(glitch);
        }
        interval.and_then(|interval| self.interval(interval))
    }

    /// The end of the capture: the last packet, if one was waiting, and all
    /// that was found.
    pub fn finish(mut self, end: BenchInstant) -> (Option<Packet>, SignalReport) {
        let end = end.later(self.last_edge);
        let whole = self.filter.finish();
        let mut packet = whole.and_then(|interval| self.interval(interval));
        if let Some(head) = self.head.take() {
            packet = packet.or(self.half(head));
        }
        if let (Some(from), false) = (self.from, self.lost) {
            self.silence(self.last_edge.later(from), end);
        }
        if let Some(start) = self.last_start
            && end - start > START_BITS_APART
        {
            self.start_interval(start, end);
        }
        self.framer.finish();
        (packet, self.report(end))
    }

    fn silence(&mut self, from: BenchInstant, to: BenchInstant) {
        let length = to - from;
        self.longest_silence = self.longest_silence.max(length);
        self.silences += u64::from(length > SILENCE);
    }

    #[cold]
    fn glitch(&mut self, glitch: Glitch) {
        self.glitches.count += 1;
        self.glitch_lengths.push(glitch.length, glitch.at);
        if self.glitches.first.len() < self.settings.keep {
            self.glitches.first.push((glitch.at, glitch.length));
        }
    }

    #[inline]
    fn interval(&mut self, interval: Interval) -> Option<Packet> {
        if self.head.is_none() && self.packet_end.is_none() && interval.whole {
            return self.half(interval);
        }
        self.behind_packet(interval)
    }

    /// An interval that may belong to a cutout, or is none.
    fn behind_packet(&mut self, interval: Interval) -> Option<Packet> {
        if let Some(head) = self.head.take() {
            let body = interval.polarity == Polarity::Zero || within(&interval, CUTOUT_BODY);
            if body {
                self.cutout(head.from, Some(head.to), interval.to);
                return None;
            }
            let packet = self.half(head);
            return packet.or(self.half(interval));
        }
        if !interval.whole {
            return None;
        }
        if let Some(end) = self.packet_end {
            let at_once = interval.from == end;
            let joined = interval.polarity == Polarity::Zero
                && interval.length() >= CUTOUT_LEAST
                && interval.from - end <= CUTOUT_REACH;
            let hidden = at_once && within(&interval, CUTOUT_BODY);
            if joined || hidden {
                let start = joined.then_some(interval.from);
                self.cutout(end, start, interval.to);
                return None;
            }
            let short = RECEIVER.one.0.picoseconds() - self.doubt.expanded;
            if at_once && (interval.cut || interval.length().picoseconds() < short) {
                self.head = Some(interval);
                return None;
            }
            if interval.from - end > CUTOUT_REACH {
                self.packet_end = None;
            }
        }
        self.half(interval)
    }

    fn cutout(&mut self, packet_end: BenchInstant, start: Option<BenchInstant>, end: BenchInstant) {
        self.cutouts += 1;
        self.packet_end = None;
        self.fragment = true;
        self.framer.interrupt(end, true);
        let reading = |instant: BenchInstant| self.doubt.reading(packet_end, instant - packet_end);
        let readings = (start.map(reading), reading(end));
        let picoseconds = |(a, b): (BenchSpan, BenchSpan)| (a.picoseconds(), b.picoseconds());
        if let (Some(start), Some(reading)) = (start, readings.0) {
            self.cutout_start.push(start - packet_end, packet_end);
            let (least, most) = picoseconds(CUTOUT_START);
            self.packet_rules
                .check(Clause::CutoutStartEarly, reading, least);
            self.packet_rules
                .check(Clause::CutoutStartLate, reading, most);
        }
        self.cutout_end.push(end - packet_end, packet_end);
        let (least, most) = picoseconds(CUTOUT_END);
        self.packet_rules
            .check(Clause::CutoutEndEarly, readings.1, least);
        self.packet_rules
            .check(Clause::CutoutEndLate, readings.1, most);
    }

    #[inline]
    fn half(&mut self, interval: Interval) -> Option<Packet> {
        if interval.polarity == Polarity::Zero {
            self.dead.push(interval.length(), interval.from);
            self.framer.interrupt(interval.from, false);
            self.fragment = true;
            return None;
        }
        if interval.cut {
            self.framer.interrupt(interval.from, false);
            return None;
        }
        let fragment = std::mem::take(&mut self.fragment);
        if fragment && interval.length() < BETWEEN {
            return None;
        }
        let half = Half {
            polarity: interval.polarity,
            from: interval.from,
            to: interval.to,
            kind: self.kind(interval.length()),
        };
        self.measure(&half);
        let framed = self.framer.half(half);
        self.framed(framed)
    }

    /// What a decoder takes it for, a doubt counted in its favour.
    #[inline]
    fn kind(&self, length: BenchSpan) -> Kind {
        let within = |(least, most): (BenchSpan, BenchSpan)| {
            length.picoseconds() >= least.picoseconds() - self.doubt.expanded
                && length.picoseconds() <= most.picoseconds() + self.doubt.expanded
        };
        if within(RECEIVER.one) {
            Kind::One
        } else if within(RECEIVER.zero) {
            Kind::Zero
        } else {
            Kind::Neither
        }
    }

    #[inline]
    fn measure(&mut self, half: &Half) {
        let length = half.length();
        self.neither += u64::from(half.kind == Kind::Neither);
        self.histogram.push(length);
        let one = length < BETWEEN;
        self.bits.half(one, half.from, length);
        if one {
            self.ones.push(half);
        } else if length > STRETCHED {
            self.stretched.push_from(half.from, half.to);
        } else {
            self.zeros.push(half);
        }
    }

    fn framed(&mut self, framed: Framed) -> Option<Packet> {
        match framed {
            Framed::Nothing => None,
            Framed::ZeroBit { from, to } => {
                self.bits.zero_bit(from, to);
                None
            }
            Framed::Preamble(preamble) => {
                self.preamble(preamble);
                None
            }
            Framed::Packet(packet) => Some(self.packet(packet)),
        }
    }

    fn packet(&mut self, packet: Packet) -> Packet {
        self.packet_end = Some(packet.end);
        self.packets.all += 1;
        *self.packets.kinds.entry(packet.kind).or_default() += 1;
        if self.packets.first.len() < self.settings.keep {
            self.packets.first.push(packet);
        }
        if !packet.checked {
            self.packets.wrong_check += 1;
            if self.packets.first_wrong.len() < self.settings.keep {
                self.packets.first_wrong.push(packet);
            }
        }
        packet
    }

    fn preamble(&mut self, preamble: Preamble) {
        let exact = |value: u32| Reading {
            at: preamble.until,
            value: i64::from(value),
            expanded: 0,
            bound: None,
        };
        let least = if preamble.after_cutout {
            Some(PREAMBLE_AFTER_CUTOUT)
        } else {
            preamble.whole.then_some(PREAMBLE_SENT)
        };
        if let Some(least) = least {
            let reading = exact(preamble.bits);
            self.packet_rules
                .check(Clause::PreambleShort, reading, i64::from(least));
        }
        if preamble.whole {
            let shortest = self.packets.shortest_preamble.get_or_insert(preamble.bits);
            *shortest = preamble.bits.min(*shortest);
        }
        if !preamble.accepted {
            self.packets.refused += 1;
            return;
        }
        if let Some(last) = self.last_start.replace(preamble.until) {
            self.start_interval(last, preamble.until);
        }
    }

    fn start_interval(&mut self, from: BenchInstant, to: BenchInstant) {
        self.starts.push(to - from, from);
        let reading = self.doubt.reading(from, to - from);
        let most = START_BITS_APART.picoseconds();
        self.packet_rules
            .check(Clause::StartBitsApart, reading, most);
    }

    fn report(mut self, end: BenchInstant) -> SignalReport {
        let edge = self.settings.edge;
        let spans = Budget {
            edge,
            weights: 2.0,
            joined: -2.0,
            mixed: false,
            upwards: 0.0,
            biased: false,
            shared: 2.0 * edge.skew_u,
            left: 2.0 * edge.skew_u,
        };
        let figures = |spread: &Spread| spread.figures(spans);
        let difference = Budget {
            edge,
            weights: 6.0,
            joined: 2.0,
            mixed: false,
            upwards: 0.0,
            biased: false,
            shared: 4.0 * edge.skew_u,
            left: 4.0 * edge.skew_u,
        };
        let differences = &self.framer.pairing.total;
        let asymmetry = differences.signed.figures(difference);
        let [power_station, receiver] = self.bits.findings(differences);
        self.packets.broken = self.framer.broken;
        self.packets.first_broken = self.framer.first_broken;
        self.packets.start_to_start = figures(&self.starts);
        self.glitches.longest = figures(&self.glitch_lengths).map(|f| f.maximum);
        SignalReport {
            from: self.from.unwrap_or(end),
            to: end,
            edges: self.edges,
            out_of_order: self.filter.out_of_order(),
            edge,
            ones: self.ones.figures(spans, edge.skew_u),
            zeros: self.zeros.figures(spans, edge.skew_u),
            stretched: figures(&self.stretched),
            histogram: self.histogram.bins(),
            histogram_beyond: self.histogram.beyond(),
            neither: self.neither,
            one_bits: self.framer.one_bits,
            zero_bits: self.framer.zero_bits,
            asymmetry: asymmetry.clone(),
            difference: differences.size.figures(difference).map(|mut size| {
                // Noise only ever adds to a size: the signed extremes say more.
                if let Some(signed) = &asymmetry {
                    size.maximum = signed.farthest();
                }
                size
            }),
            cutouts: Cutouts {
                count: self.cutouts,
                start_hidden: self.cutouts - self.cutout_start.count(),
                start: figures(&self.cutout_start),
                end: figures(&self.cutout_end),
            },
            packets: self.packets,
            glitches: self.glitches,
            dead: figures(&self.dead),
            silences: self.silences,
            longest_silence: self.longest_silence,
            power_station,
            receiver,
            packet_rules: self.packet_rules.findings("packets and cutouts"),
            levels: None,
            shape: None,
        }
    }
}

fn within(interval: &Interval, (least, most): (BenchSpan, BenchSpan)) -> bool {
    interval.length() >= least && interval.length() <= most
}
