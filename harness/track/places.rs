//! Samples of many edges in the order of their places about zero, so that those about
//! any place lie side by side. It fits nothing and knows no level.

use std::ops::Range;

/// One edge: its samples in volts, turned so that it rises, and where among
/// them it passes zero.
pub(super) struct Laid {
    pub(super) volts: Vec<f64>,
    pub(super) zero: f64,
}

/// A sample: how many samples after zero, its volts, and the number of its edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) at: f64,
    pub(super) volts: f64,
    pub(super) edge: u32,
}

/// The samples of all edges, ascending by place.
pub(super) struct Places {
    all: Vec<Place>,
    /// How many edges there are.
    edges: usize,
}

impl Places {
    /// Those from `from` to `to` samples after zero.
    pub(super) fn of(edges: &[Laid], (from, to): (f64, f64)) -> Self {
        // Whole samples apart edges come in one order, that of their phases.
        let mut order: Vec<(f64, i64, u32)> = (0..).zip(edges).map(phase).collect();
        order.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
        let longest = edges.iter().map(|laid| laid.volts.len()).max().unwrap_or(0) as f64;
        let steps = libm::floor(from.max(-longest)) as i64..=libm::ceil(to.min(longest)) as i64;
        let mut all = Vec::new();
        for step in steps {
            for &(phase, zero, edge) in &order {
                let volts = usize::try_from(zero + step)
                    .ok()
                    .and_then(|index| edges[edge as usize].volts.get(index));
                let at = step as f64 - phase;
                if let Some(&volts) = volts
                    && (from..=to).contains(&at)
                {
                    all.push(Place { at, volts, edge });
                }
            }
        }
        let edges = edges.len();
        Self { all, edges }
    }

    /// All of them.
    pub(super) fn all(&self) -> &[Place] {
        &self.all
    }

    /// The numbers of those within `half` of `at`.
    pub(super) fn within(&self, at: f64, half: f64) -> Range<usize> {
        let from = self.all.partition_point(|place| place.at < at - half);
        let behind = self.all[from..].partition_point(|place| place.at <= at + half);
        from..from + behind
    }

    /// Those within `half` of `at`.
    pub(super) fn about(&self, at: f64, half: f64) -> &[Place] {
        &self.all[self.within(at, half)]
    }

    /// The sum of what each of `places` adds, by edges.
    pub(super) fn by_edge(&self, places: &[Place], of: impl Fn(&Place) -> f64) -> Vec<f64> {
        let mut sums = vec![0.0; self.edges];
        for place in places {
            sums[place.edge as usize] += of(place);
        }
        sums
    }

    /// How many edges there are.
    pub(super) const fn edges(&self) -> usize {
        self.edges
    }
}

/// By how much an edge passes zero after a sample, the number of that, and its own.
fn phase((number, laid): (u32, &Laid)) -> (f64, i64, u32) {
    let zero = libm::floor(laid.zero);
    (laid.zero - zero, zero as i64, number)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is found about a place is what a search through every edge finds.
    #[test]
    fn places_are_those_of_every_edge_in_their_order() {
        let edges: Vec<Laid> = [(9, 3.25), (7, 4.0), (8, 2.75), (9, 3.25), (2, -0.5)]
            .into_iter()
            .map(|(length, zero)| Laid {
                volts: (0..length).map(|n| f64::from(n) * zero).collect(),
                zero,
            })
            .collect();
        let places = Places::of(&edges, (f64::NEG_INFINITY, f64::INFINITY));
        let count: usize = edges.iter().map(|laid| laid.volts.len()).sum();
        assert_eq!(places.all().len(), count);
        assert!(places.all().is_sorted_by(|a, b| a.at <= b.at));
        for (at, half) in [(0.0, 0.5), (-1.25, 1.0), (3.0, 2.0), (40.0, 1.0)] {
            let mut expected: Vec<(u32, f64)> = Vec::new();
            for (edge, laid) in (0..).zip(&edges) {
                let near = |n: usize| (n as f64 - laid.zero - at).abs() <= half;
                let found = (0..laid.volts.len()).filter(|&n| near(n));
                expected.extend(found.map(|n| (edge, laid.volts[n])));
            }
            let mut found: Vec<(u32, f64)> = Vec::new();
            found.extend(places.about(at, half).iter().map(|p| (p.edge, p.volts)));
            found.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            expected.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            assert_eq!(found, expected, "{at} {half}");
            let sums = places.by_edge(places.about(at, half), |_| 1.0);
            assert_eq!(sums.iter().sum::<f64>(), expected.len() as f64);
        }
        let part = Places::of(&edges, (-1.0, 1.0));
        assert!(part.all().iter().all(|place| place.at.abs() <= 1.0));
        assert_eq!(part.all().len(), places.about(0.0, 1.0).len());
    }
}
