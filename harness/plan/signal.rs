//! The settings of a signal scenario, how they are read, and the stream of
//! packets they ask for. How it reaches a board is not said here.

use super::parse::{not_empty, period, time};
use crate::document::Table;
use crate::track::{PacketBytes, PacketShape, Pattern, PatternFault, check_byte};
use crate::units::Seconds;
use serde::{Deserialize, Serialize};

/// A closed set of words, one for each variant.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$variant_doc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$variant_doc])* $variant,)*
        }

        impl $name {
            /// Each variant with the word it is written as.
            pub const WORDS: &'static [(&'static str, Self)] = &[$(($word, Self::$variant),)*];

            /// The word used in files and on screens.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }
        }
    };
}

words! {
    /// A packet of the stream.
    StreamPacket {
        /// FF 00 FF (NMRA S-9.2 section B).
        Idle = "idle",
        /// 00 00 00 (NMRA S-9.2 section B).
        Reset = "reset",
        /// Address 55, forward, step 6: 37 74 43 (NMRA S-9.2 figure 1).
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
pub struct Signal {
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

impl Signal {
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

/// Reads the settings.
pub(super) fn read(table: &Table<'_>) -> Signal {
    let packets = not_empty(
        table,
        "packets",
        table.words("packets", StreamPacket::WORDS),
    );
    let loads = not_empty(table, "loads", table.words("loads", SignalLoading::WORDS));
    let cutouts = not_empty(table, "cutouts", table.words("cutouts", Cutouts::WORDS));
    Signal {
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
