//! What an edge's instant is worth: sampling, noise through the slope, and the
//! time base. It reads no signal.

use crate::measurement::{combined, resolution};
use serde::{Deserialize, Serialize};

/// How well an edge is known in time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeUncertainty {
    /// Standard uncertainty of one edge in seconds, edges independent of each
    /// other, both parts together: noise and `grid_u`.
    pub edge_u: f64,
    /// The part of `edge_u` that is the same again on the same phase of the
    /// sampling: its period, or the converter's step through the slope. No
    /// more than `edge_u`.
    #[serde(default)]
    pub grid_u: f64,
    /// What `grid_u` may be at most: where samples are too few to show the
    /// shape of an edge, readings that scatter more than `grid_u` and noise
    /// explain are believed no better than they scatter, up to this.
    #[serde(default)]
    pub sampled_u: f64,
    /// The part of `grid_u` that only their scatter showed: what samples do not
    /// show of an edge's shape does not cancel between edges of two kinds.
    #[serde(default)]
    pub unseen_u: f64,
    /// Standard uncertainty of the edge that is known least well for pausing near
    /// zero between two samples; where only some do, `grid_u` holds it on average.
    #[serde(default)]
    pub paused_u: f64,
    /// What noise makes of an edge of the direction that it shifts more: halves
    /// that follow each other begin and end with edges of one direction.
    #[serde(default)]
    pub worse_u: f64,
    /// By what share of itself the square of `grid_u` is larger for edges upwards and
    /// smaller for edges downwards: halves of a kind that follow each other begin and
    /// end with edges of one direction.
    #[serde(default)]
    pub uneven: f64,
    /// Standard uncertainty by which every edge upwards is too early and every
    /// edge downwards too late, or the other way round, in seconds: what an
    /// offset of the channel does through the slope, and what a fit makes of an
    /// edge's shape.
    #[serde(default)]
    pub skew_u: f64,
    /// The part of `skew_u` that the channel's offset makes, alike for all that
    /// the channel measures; the rest is what a fit makes of an edge's shape.
    #[serde(default)]
    pub offset_u: f64,
    /// Relative standard uncertainty of the time base, common to all.
    pub time_base_u: f64,
}

impl EdgeUncertainty {
    /// Edges known to one sampling period (s): `Ts / sqrt(12)`.
    pub fn sampled(period: f64, time_base_u: f64) -> Self {
        Self {
            edge_u: resolution(period.abs()),
            grid_u: resolution(period.abs()),
            sampled_u: resolution(period.abs()),
            unseen_u: 0.0,
            paused_u: 0.0,
            worse_u: 0.0,
            uneven: 0.0,
            skew_u: 0.0,
            offset_u: 0.0,
            time_base_u,
        }
    }

    /// The same where readings of two edges each, all alike, scatter by
    /// `deviation` (s): where samples do not show the shape of an edge, known no
    /// better than that. `None` where it stays as it is.
    pub fn scattered(&self, deviation: f64) -> Option<Self> {
        let noise = self.noise_u();
        let left = deviation * deviation / 2.0 - noise * noise;
        let shown = libm::sqrt(left.max(0.0)).min(self.sampled_u);
        // A fifth more is chance.
        (shown > 1.2 * self.grid_u).then(|| Self {
            edge_u: combined([noise, shown]),
            grid_u: shown,
            unseen_u: libm::sqrt(shown * shown - self.grid_u * self.grid_u),
            ..*self
        })
    }

    /// Whether an edge is known to a sampling period and nothing else matters.
    pub fn sampling_alone(&self) -> bool {
        self.sampled_u > 0.0
            && self.grid_u >= 0.99 * self.sampled_u
            && self.noise_u() + self.skew_u < 0.01 * self.grid_u
    }

    /// The part of `edge_u` that noise makes, s.
    pub fn noise_u(&self) -> f64 {
        let squares = self.edge_u * self.edge_u - self.grid_u * self.grid_u;
        libm::sqrt(squares.max(0.0))
    }

    /// Standard uncertainty of a span of `length` seconds between two edges,
    /// one upwards and one downwards.
    pub fn span_u(&self, length: f64) -> f64 {
        let skew = 2.0 * self.skew_u;
        combined([self.edge_u, self.edge_u, skew, length * self.time_base_u])
    }

    /// Of the difference of two neighbouring spans, `2 t2 - t1 - t3`: edges
    /// weigh 2, 1 and 1, and the middle one goes the other way.
    pub fn difference_u(&self) -> f64 {
        combined([self.edge_u * libm::sqrt(6.0), 4.0 * self.skew_u])
    }
}
