//! The one source of chance: numbers that depend only on a seed and a key.
//! There is no state to carry and no order to keep, so a reading's noise is the
//! same however many other readings were taken before it.

/// A seed from which every random number of a run follows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct Seed(pub u64);

/// A stream of numbers under one key of a seed.
///
/// The generator is SplitMix64 (Steele, Lea and Flood, OOPSLA 2014, section 4)
/// used as a keyed counter.
#[derive(Clone, Debug)]
pub struct Stream {
    state: u64,
}

const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;

fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

impl Seed {
    /// The stream under `key`; every distinct key gives an independent one.
    pub fn stream(self, key: &[u64]) -> Stream {
        let state = key
            .iter()
            .fold(mix(self.0.wrapping_add(GOLDEN)), |state, &part| {
                // Turned, since a key that equals the seed would leave nothing.
                mix(state.rotate_left(32) ^ mix(part.wrapping_add(GOLDEN)))
            });
        Stream { state }
    }

    /// A seed derived from this one, for the `index`-th of several like things.
    pub fn derived(self, index: u64) -> Self {
        Self(self.stream(&[index]).next_u64())
    }
}

impl Stream {
    /// The next 64 uniform bits.
    pub fn next_u64(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GOLDEN);
        mix(self.state)
    }

    /// Uniform in [0, 1), 53 bits.
    pub fn uniform(&mut self) -> f64 {
        (self.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Standard normal, by Box and Muller (1958); one draw uses two numbers.
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        radius * libm::cos(2.0 * std::f64::consts::PI * self.uniform())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference outputs of SplitMix64 from state 1234567, published with the
    /// algorithm's reference code and quoted in many ports (from memory).
    #[test]
    fn matches_the_published_sequence() {
        let mut stream = Stream { state: 1_234_567 };
        assert_eq!(stream.next_u64(), 6_457_827_717_110_365_317);
        assert_eq!(stream.next_u64(), 3_203_168_211_198_807_973);
        assert_eq!(stream.next_u64(), 9_817_491_932_198_370_423);
    }

    #[test]
    fn normal_has_unit_variance_and_no_mean() {
        let mut stream = Seed(7).stream(&[1, 2]);
        let draws: Vec<f64> = (0..100_000).map(|_| stream.normal()).collect();
        let mean = draws.iter().sum::<f64>() / 1e5;
        let variance = draws.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / 1e5;
        // Four standard errors of each estimate.
        assert!(mean.abs() < 4.0 / 316.0, "{mean}");
        assert!(
            (variance - 1.0).abs() < 4.0 * (2.0_f64 / 1e5).sqrt(),
            "{variance}"
        );
    }

    /// A stream under the number that is the seed is a stream like any other.
    #[test]
    fn a_key_may_equal_the_seed() {
        let first = |n: u64| Seed(n).stream(&[n]).next_u64();
        let firsts: std::collections::BTreeSet<u64> = (0..1_000).map(first).collect();
        assert_eq!(firsts.len(), 1_000);
    }

    #[test]
    fn keys_are_independent_of_order_of_use() {
        assert_ne!(
            Seed(1).stream(&[1, 2]).next_u64(),
            Seed(1).stream(&[2, 1]).next_u64()
        );
        assert_eq!(
            Seed(1).stream(&[1, 2]).next_u64(),
            Seed(1).stream(&[1, 2]).next_u64()
        );
    }
}
