//! What an edge's instant is worth: sampling, noise through the slope, and the
//! time base. It reads no signal.

use crate::measurement::{combined, resolution};
use serde::{Deserialize, Serialize};

/// How well an edge is known in time.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct EdgeUncertainty {
    /// Standard uncertainty of one edge in seconds, edges independent of each
    /// other.
    pub edge_u: f64,
    /// Standard uncertainty by which every edge upwards is too early and every
    /// edge downwards too late, or the other way round, in seconds: what an
    /// offset of the channel does through the slope.
    #[serde(default)]
    pub skew_u: f64,
    /// Relative standard uncertainty of the time base, common to all.
    pub time_base_u: f64,
}

impl EdgeUncertainty {
    /// Edges known to one sampling period (s): `Ts / sqrt(12)`.
    pub fn sampled(period: f64, time_base_u: f64) -> Self {
        Self {
            edge_u: resolution(period.abs()),
            skew_u: 0.0,
            time_base_u,
        }
    }

    /// Edges interpolated between samples, by the slope (V/s):
    /// * noise (V), which holds the resolution of the vertical scale and is
    ///   never below it, `s sqrt(2/3) / slope`: at the share f of the way
    ///   between two samples it is `s sqrt(f^2 + (1 - f)^2)`, of which the mean
    ///   square over f is 2/3;
    /// * what bends between two samples. A line errs by `y'' Ts^2 f (1 - f) / 2`
    ///   through the slope; of an exponential edge, bent the most of those met,
    ///   `y'' / slope` is twice the slope over the amplitude, and over f its
    ///   deviation is `sqrt(1/180)`: `Ts^2 slope / (sqrt(180) amplitude)`;
    /// * the offset (V) of the channel, which skews edges.
    ///
    /// Not claimed for edges of fewer than [`STRAIGHT`] samples.
    pub fn interpolated(period: f64, time_base_u: f64, vertical: &VerticalUncertainty) -> Self {
        let sampled = Self::sampled(period, time_base_u);
        match Self::straight(period, time_base_u, vertical) {
            None => sampled,
            Some(edge) => Self {
                edge_u: edge.edge_u.min(sampled.edge_u),
                ..edge
            },
        }
    }

    /// The same of edges that hold [`STRAIGHT`] samples, whatever noise makes of
    /// them; `None` of steeper ones.
    pub fn straight(period: f64, time_base_u: f64, vertical: &VerticalUncertainty) -> Option<Self> {
        let per_period = vertical.slope.abs() * period;
        let straight = STRAIGHT * per_period <= 0.8 * vertical.amplitude;
        if !straight || per_period == 0.0 {
            return None;
        }
        let through = |volts: f64| volts / vertical.slope.abs();
        let noise = vertical.noise.max(resolution(vertical.step));
        let edge_u = combined([
            through(noise) * libm::sqrt(2.0 / 3.0),
            period * per_period / vertical.amplitude / libm::sqrt(180.0),
        ]);
        Some(Self {
            edge_u,
            skew_u: through(vertical.offset_u),
            time_base_u,
        })
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

/// Fewest sampling periods from 10 % to 90 % of an edge for which a straight
/// line between two samples stands for it. Faster edges are known to a sample.
pub const STRAIGHT: f64 = 3.5;

/// What turns volts into time at an interpolated edge.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct VerticalUncertainty {
    /// Slope at the crossing, V/s.
    pub slope: f64,
    /// From one state level to the other, V.
    pub amplitude: f64,
    /// Standard deviation of the noise, V.
    pub noise: f64,
    /// Step of the converter, V.
    pub step: f64,
    /// Standard uncertainty of the offset, V.
    pub offset_u: f64,
}
