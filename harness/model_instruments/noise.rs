//! Converter noise, fast: a normal variate a sample, from a table of quantiles.
//! It is chance keyed like all other; it is no generator of its own.

use crate::seed::Stream;
use crate::statistics::distribution::normal_critical;
use std::sync::LazyLock;

/// Quantiles in the table, as a power of two.
const BITS: u32 = 12;
const SIZE: usize = 1 << BITS;

/// Quantiles of the normal distribution at the middles of equal parts, scaled
/// so that the sum of two of them has unit variance. Twice 12 bits give 16
/// million values up to five standard deviations, far finer than one code of
/// any converter here.
static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| {
    let quantile = |index: usize| normal_critical((index as f64 + 0.5) / SIZE as f64);
    let mut table: Vec<f64> = (0..SIZE).map(quantile).collect();
    let variance = table.iter().map(|z| z * z).sum::<f64>() / SIZE as f64;
    let scale = 1.0 / libm::sqrt(2.0 * variance);
    for z in &mut table {
        *z *= scale;
    }
    table
});

/// Noise of unit standard deviation under one key.
pub(super) struct Noise {
    stream: Stream,
    table: &'static [f64],
}

impl Noise {
    /// The noise that `stream` gives, one draw a sample in order.
    pub(super) fn new(stream: Stream) -> Self {
        Self {
            stream,
            table: &TABLE,
        }
    }

    /// The next sample's.
    pub(super) fn next(&mut self) -> f64 {
        let bits = self.stream.next_u64();
        let quantile = |bits: u64| self.table[(bits >> (64 - BITS)) as usize];
        quantile(bits) + quantile(bits << BITS)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::Seed;

    /// Moments and tails of the normal distribution (probabilities beyond one,
    /// two and three standard deviations: any table, from memory), each within
    /// five standard errors.
    #[test]
    fn it_is_normal_as_far_as_a_converter_can_tell() {
        const DRAWS: usize = 400_000;
        let mut noise = Noise::new(Seed(3).stream(&[1]));
        let draws: Vec<f64> = (0..DRAWS).map(|_| noise.next()).collect();
        let n = DRAWS as f64;
        let moment = |power: i32| draws.iter().map(|x| x.powi(power)).sum::<f64>() / n;
        assert!(moment(1).abs() < 5.0 / n.sqrt());
        assert!((moment(2) - 1.0).abs() < 5.0 * (2.0 / n).sqrt());
        assert!(moment(3).abs() < 5.0 * (15.0 / n).sqrt());
        assert!((moment(4) - 3.0).abs() < 5.0 * (96.0 / n).sqrt());
        for (beyond, expected) in [(1.0, 0.317_311), (2.0, 0.045_500), (3.0, 0.002_700)] {
            let found = draws.iter().filter(|x| x.abs() > beyond).count() as f64 / n;
            let error = (expected * (1.0 - expected) / n).sqrt();
            assert!((found - expected).abs() < 5.0 * error, "{beyond}: {found}");
        }
    }
}
