//! Lengths between edges and how often each came, in bounded memory. It concludes
//! nothing of them.

use crate::track::Polarity;

/// Different lengths that are told apart.
const MOST: usize = 4096;
/// Twice as many places, so that few lengths ask for the same.
const PLACES: usize = 2 * MOST;

/// A length up to an edge to this polarity, in picoseconds.
pub(super) type Length = (Polarity, i64);

/// Counts lengths. Each has its place by a sum of its bits, or the next free one.
#[derive(Clone, Debug, Default)]
pub(super) struct Lengths {
    places: Vec<Option<(Length, u64)>>,
    kept: usize,
}

impl Lengths {
    /// Counts a length, if it is known or there is room for it; tells whether it
    /// is new.
    #[inline]
    pub(super) fn count(&mut self, length: Length) -> bool {
        let mut place = place(length);
        loop {
            match self.places.get_mut(place) {
                Some(Some((known, count))) if *known == length => {
                    *count += 1;
                    return false;
                }
                // Half of them stay free, so that this ends.
                Some(Some(_)) => place = (place + 1) % PLACES,
                _ => break,
            }
        }
        self.add(place, length);
        true
    }

    #[cold]
    fn add(&mut self, place: usize, length: Length) {
        self.places.resize(PLACES, None);
        if self.kept < MOST {
            self.kept += 1;
            self.places[place] = Some((length, 1));
        }
    }

    /// All of them in order, with their counts.
    pub(super) fn sorted(&self) -> Vec<(Length, u64)> {
        let mut all: Vec<_> = self.places.iter().flatten().copied().collect();
        all.sort_unstable();
        all
    }
}

/// Fibonacci hashing (Knuth, The Art of Computer Programming vol. 3, 6.4): the
/// upper bits of a product with 2^64 over the golden ratio.
fn place((to, length): Length) -> usize {
    const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;
    let key = (length as u64).wrapping_mul(4).wrapping_add(to as u64);
    (key.wrapping_mul(GOLDEN) >> (u64::BITS - PLACES.ilog2())) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::seed::Seed;
    use std::collections::BTreeMap;

    /// The same as a tree that takes no more than so many.
    #[test]
    fn lengths_are_counted_as_a_tree_counts_them() {
        for (seed, different) in [(1, 3), (2, 4_000), (3, 20_000)] {
            let mut stream = Seed(seed).stream(&[1]);
            let (mut lengths, mut tree) = (Lengths::default(), BTreeMap::new());
            for _ in 0..40_000 {
                let to = match stream.uniform() < 0.5 {
                    true => Polarity::Positive,
                    false => Polarity::Negative,
                };
                let length = (to, (stream.uniform() * f64::from(different)) as i64 * 1_000);
                let new = !tree.contains_key(&length);
                if !new || tree.len() < MOST {
                    *tree.entry(length).or_insert(0) += 1;
                }
                assert_eq!(lengths.count(length), new);
            }
            assert_eq!(lengths.sorted(), tree.into_iter().collect::<Vec<_>>());
        }
    }
}
