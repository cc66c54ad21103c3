//! How a decoder reads: how well edges are known, and what is a glitch. It
//! reads nothing.

use super::uncertainty::EdgeUncertainty;
use crate::clock::BenchSpan;
use serde::{Deserialize, Serialize};

/// How a [`Decoder`](super::Decoder) reads.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct DecoderSettings {
    /// How well edges are known.
    pub edge: EdgeUncertainty,
    /// Stretches shorter than this are glitches. Below the shortest beginning
    /// of a cutout, 26 us.
    pub glitch: BenchSpan,
    /// How many violations, packets and glitches of a sort are kept.
    pub keep: usize,
    /// The largest error of one edge, s, where sampling alone makes it and so
    /// bounds it.
    #[serde(default)]
    pub bound: Option<f64>,
}

impl DecoderSettings {
    /// For edges of such an uncertainty; glitches up to 20 us, 32 of a sort.
    pub const fn new(edge: EdgeUncertainty) -> Self {
        Self {
            edge,
            glitch: BenchSpan::from_microseconds(20),
            keep: 32,
            bound: None,
        }
    }
}
