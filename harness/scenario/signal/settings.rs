//! The settings of a signal scenario, how they are read, and the stream of
//! packets they ask for. How it reaches a board is not said here.

use crate::bench_file::Carries;
use crate::document::Table;
use crate::ident::Role;
use crate::ident::words;
use crate::scenario::demands::{Demands, SLOWEST_SAMPLING, seconds};
use crate::scenario::requirements::Requirements;
use crate::scenario::room::{Levels, ReadContext, not_empty, period, time};
use crate::track::{PacketBytes, PacketShape, Pattern, PatternFault, check_byte};
use crate::units::{Quantity, Seconds};
use serde::{Deserialize, Serialize};

/// The slowest sampling that tells an asymmetry, in seconds.
const SLOWEST_FOR_ASYMMETRY: f64 = 1e-6;

/// What a board of one signal line cannot show.
const CUTOUT_METRICS: [&str; 4] = [
    "cutouts_missing",
    "cutout_start",
    "cutout_end",
    "cutout_drop",
];

words! {
    /// A packet of the stream.
    StreamPacket {
        /// FF 00 FF (NMRA S-9.2:2004 section B).
        Idle = "idle",
        /// 00 00 00 (NMRA S-9.2:2004 section B).
        Reset = "reset",
        /// Address 55, forward, step 6: 37 74 43 (NMRA S-9.2:2004 figure 1).
        Speed = "speed",
        /// 7D 01 7C behind a preamble of 20 (NMRA S-9.2.3:2012).
        PagePreset = "page preset",
    }
}

words! {
    /// At which loading of the output the stream is captured.
    SignalLoading {
        /// Nothing but the bleeder.
        None = "none",
        /// The rated current.
        Rated = "rated",
    }
}

words! {
    /// Whether packets are followed by a cutout.
    Cutouts {
        /// 29 to 471 us after the packet (S-9.3.2, RCN-217).
        Nominal = "nominal",
        /// None.
        None = "none",
    }
}

impl StreamPacket {
    /// Its bytes but for the check byte.
    pub const fn content(self) -> [u8; 2] {
        match self {
            Self::Idle => [0xFF, 0x00],
            Self::Reset => [0x00, 0x00],
            Self::Speed => [0x37, 0x74],
            Self::PagePreset => [0x7D, 0x01],
        }
    }

    /// Its bytes, check byte included.
    pub fn bytes(self) -> PacketBytes {
        let [first, second] = self.content();
        let bytes = [first, second, check_byte(&[first, second])];
        PacketBytes::new(&bytes).unwrap_or_default()
    }
}

/// Settings of a signal scenario.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settings {
    /// The packets, one behind the other, over and over.
    pub packets: Vec<StreamPacket>,
    /// The loadings, one capture each.
    pub loads: Vec<SignalLoading>,
    /// Whether a board of two lines is sent cutouts.
    pub cutouts: Cutouts,
    /// How long one capture is.
    pub length: Seconds,
    /// Time between samples.
    pub sampling_period: Seconds,
    /// Wait after the load before anything is captured.
    pub settle: Seconds,
}

impl Settings {
    /// Reads the settings.
    pub(in crate::scenario) fn read(table: &Table<'_>, _: &ReadContext<'_>) -> Self {
        let packets = not_empty(
            table,
            "packets",
            table.words("packets", StreamPacket::WORDS),
        );
        let loads = not_empty(table, "loads", table.words("loads", SignalLoading::WORDS));
        let cutouts = not_empty(table, "cutouts", table.words("cutouts", Cutouts::WORDS));
        Self {
            packets: packets.unwrap_or_else(|| {
                let all = StreamPacket::WORDS.iter();
                all.map(|&(_, packet)| packet).collect()
            }),
            loads: loads.unwrap_or_else(|| vec![SignalLoading::None, SignalLoading::Rated]),
            cutouts: cutouts
                .and_then(|words| words.first().copied())
                .unwrap_or(Cutouts::Nominal),
            length: time(table, "length", 0.040),
            sampling_period: period(table, "sampling_period", 200e-9),
            settle: time(table, "settle", 0.050),
        }
    }

    /// How the numbers fit together and with the limits.
    pub(in crate::scenario) fn check(&self, demands: &mut Demands<'_>) {
        let lines = demands.configuration.signal_lines;
        for metric in CUTOUT_METRICS {
            if demands.limit(metric).is_none() || self.cuts(lines) {
                continue;
            }
            let key = format!("limits.{metric}");
            if lines == 2 {
                let reason = "no cutouts are sent, so none can be measured";
                let expected = "`cutouts = [\"nominal\"]`, or no limit on it";
                demands.fault(&key, reason.to_owned(), expected.to_owned());
            } else {
                let reason = "a board of one signal line cannot show a cutout";
                let expected = "`signal_lines = 2`, or no limit on it";
                demands.fault(&key, reason.to_owned(), expected.to_owned());
            }
        }
        // The asymmetry must be known to a third of its limit.
        let slowest = demands
            .upper("asymmetry")
            .map_or(SLOWEST_SAMPLING, |upper| {
                (upper / 3.0).min(SLOWEST_FOR_ASYMMETRY)
            });
        if self.sampling_period.si() > slowest * 1.000_001 {
            demands.fault(
                "sampling_period",
                "this is too slow for the limit of the asymmetry".to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
        // Wherever the capture begins, each packet is once in it as a whole.
        let once = self.pattern(lines).map_or(0.0, |pattern| {
            pattern.duration().seconds().si() * (1.0 + 1.0 / self.packets.len() as f64)
        });
        if self.length.si() < once {
            demands.fault(
                "length",
                "the capture is too short to hold every packet".to_owned(),
                format!("{} or more", seconds(once)),
            );
        }
    }

    /// What the bench must have for them beside what the drive asks for.
    pub(in crate::scenario) fn require(&self, bench: &mut Requirements<'_>) {
        bench.line(Carries::InputA);
        if self.cuts(bench.configuration.signal_lines) {
            bench.line(Carries::InputB);
        }
        if self.loads.contains(&SignalLoading::Rated)
            && bench.bench.instrument(Role::Load).is_none()
        {
            bench.fault(
                "loads",
                "nothing on the bench draws the rated current".to_owned(),
                "an `[[instrument]]` with `role = \"load\"` in the bench file".to_owned(),
            );
        }
    }

    /// None of its own.
    pub(in crate::scenario) fn levels(&self) -> Levels {
        Levels::default()
    }

    /// Whether cutouts are sent to a board of so many signal lines: one line
    /// has no state for them.
    pub const fn cuts(&self, signal_lines: u8) -> bool {
        signal_lines == 2 && matches!(self.cutouts, Cutouts::Nominal)
    }

    /// The stream for a board of so many signal lines, to be repeated.
    ///
    /// # Errors
    /// A [`PatternFault`]; none for the packets of [`StreamPacket`].
    pub fn pattern(&self, signal_lines: u8) -> Result<Pattern, PatternFault> {
        let plain = if self.cuts(signal_lines) {
            PacketShape::WITH_CUTOUT
        } else {
            PacketShape::PLAIN
        };
        let packets: Result<Vec<Pattern>, PatternFault> = self
            .packets
            .iter()
            .map(|packet| {
                let shape = match packet {
                    // S-9.2.3:2012 asks for a long preamble.
                    StreamPacket::PagePreset => PacketShape {
                        preamble: 20,
                        ..plain
                    },
                    _ => plain,
                };
                Pattern::packet(&packet.content(), &shape)
            })
            .collect();
        Ok(Pattern::sequence(packets?))
    }
}
