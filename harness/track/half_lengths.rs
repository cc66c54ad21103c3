//! Lengths of the halves of one kind of bit: of each polarity and of both
//! together. It asks no limit.

use super::Polarity;
use super::framing::Half;
use super::report::HalfBits;
use super::spread::{Budget, Spread};
use crate::clock::BenchSpan;

/// Spreads of the positive halves, of the negative ones and of all. The sums of
/// all are those of both, and are added up at the end.
#[derive(Clone, Debug)]
pub(super) struct HalfLengths {
    signs: [Spread; 2],
    all: Spread,
    /// Of edges that no two halves share, how many go upwards and downwards; and the
    /// sign of the last half, whose end none may share.
    apart: [u64; 2],
    last: Option<usize>,
}

impl HalfLengths {
    /// Of lengths most of which are `about` so long.
    pub(super) fn about(about: BenchSpan) -> Self {
        let empty = Spread::about(about);
        Self {
            signs: [empty.clone(), empty.clone()],
            all: empty,
            apart: [0; 2],
            last: None,
        }
    }

    #[inline]
    pub(super) fn push(&mut self, half: &Half) {
        let sign = usize::from(half.polarity == Polarity::Negative);
        if !self.all.ends_at(half.from) {
            self.apart = self.apart_after_last();
            // A positive half begins with an edge upwards and ends with one downwards.
            self.apart[sign] += 1;
        }
        self.last = Some(sign);
        let outermost = self.signs[sign].push_from(half.from, half.to);
        self.all.push_unsummed(half.from, half.to, outermost);
    }

    /// As many edges upwards and downwards, with the one that the last half ended with.
    fn apart_after_last(&self) -> [u64; 2] {
        let mut apart = self.apart;
        if let Some(sign) = self.last {
            apart[1 - sign] += 1;
        }
        apart
    }

    fn upwards(&self) -> f64 {
        let [up, down] = self.apart_after_last().map(|count| count as f64);
        (up - down) / (up + down).max(1.0)
    }

    /// The figures of edges that differ by `skew_u` from sign to sign.
    pub(super) fn figures(&self, spans: Budget, skew_u: f64) -> HalfBits {
        let [positive, negative] = &self.signs;
        // What lengthens the one sign shortens the other.
        let counts = [positive, negative].map(|sign| sign.count() as f64);
        let left = (counts[0] - counts[1]).abs() / (counts[0] + counts[1]).max(1.0);
        let both = self.all.with_sums_of(&self.signs).figures(Budget {
            mixed: true,
            upwards: self.upwards(),
            left: 2.0 * skew_u * left,
            ..spans
        });
        let (positive, negative) = (positive.figures(spans), negative.figures(spans));
        HalfBits {
            all: both.map(|all| all.with_extremes(&positive, &negative)),
            positive,
            negative,
        }
    }
}
