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
    /// Relative standard uncertainty of the time base, common to all.
    pub time_base_u: f64,
}

impl EdgeUncertainty {
    /// Edges known to one sampling period (s): `Ts / sqrt(12)`.
    pub fn sampled(period: f64, time_base_u: f64) -> Self {
        Self {
            edge_u: resolution(period.abs()),
            time_base_u,
        }
    }

    /// Edges interpolated between samples: noise (V) through the slope (V/s),
    /// and half the resolution of the vertical scale (V) likewise. Never
    /// better than a hundredth of a period, nor claimed where the slope takes
    /// less than a period to pass the amplitude (V).
    pub fn interpolated(period: f64, time_base_u: f64, vertical: &VerticalUncertainty) -> Self {
        let sampled = Self::sampled(period, time_base_u);
        let per_period = vertical.slope.abs() * period;
        if per_period.is_nan() || per_period >= vertical.amplitude || per_period == 0.0 {
            return sampled;
        }
        let through = |volts: f64| volts / vertical.slope.abs();
        let edge_u = combined([
            through(vertical.noise),
            through(resolution(vertical.step)),
            period / 100.0,
        ]);
        Self {
            edge_u: edge_u.min(sampled.edge_u),
            time_base_u,
        }
    }

    /// Standard uncertainty of a span of `length` seconds between two edges.
    pub fn span_u(&self, length: f64) -> f64 {
        combined([self.edge_u, self.edge_u, length * self.time_base_u])
    }

    /// Of the difference of two neighbouring spans, `2 t2 - t1 - t3`: edges
    /// weigh 2, 1 and 1.
    pub fn difference_u(&self) -> f64 {
        self.edge_u * libm::sqrt(6.0)
    }
}

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
}
