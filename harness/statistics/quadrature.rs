//! Integrals of smooth functions over finite stretches.
//! It does not adapt: the caller splits where the function bends.

/// Nodes and weights of Gauss and Legendre on -1 to 1 (M. Abramowitz and I. A.
/// Stegun, Handbook of Mathematical Functions, 25.4.29).
pub(super) struct Rule {
    nodes: Vec<(f64, f64)>,
}

const ORDER: usize = 16;

impl Rule {
    /// The rule of 16 points, exact for polynomials up to degree 31.
    pub(super) fn new() -> Self {
        let count = ORDER as f64;
        let nodes = (0..ORDER)
            .map(|index| {
                let angle = std::f64::consts::PI * (index as f64 + 0.75) / (count + 0.5);
                let mut x = libm::cos(angle);
                let mut slope = 1.0;
                // Newton from Tricomi's estimate; five steps are two too many.
                for _ in 0..5 {
                    let (value, before) = legendre(x);
                    slope = count * (x * value - before) / (x * x - 1.0);
                    x -= value / slope;
                }
                (x, 2.0 / ((1.0 - x * x) * slope * slope))
            })
            .collect();
        Self { nodes }
    }

    /// Every node and weight for the stretch from `low` to `high`.
    pub(super) fn points(&self, low: f64, high: f64) -> impl Iterator<Item = (f64, f64)> + '_ {
        let (middle, half) = ((low + high) / 2.0, (high - low) / 2.0);
        self.nodes
            .iter()
            .map(move |(x, weight)| (middle + half * x, half * weight))
    }

    /// Nodes and weights for `panels` equal stretches from `low` to `high`.
    pub(super) fn panels(&self, low: f64, high: f64, panels: usize) -> Vec<(f64, f64)> {
        let width = (high - low) / panels as f64;
        (0..panels)
            .flat_map(|panel| {
                let from = low + width * panel as f64;
                self.points(from, from + width)
            })
            .collect()
    }
}

/// Legendre polynomial of degree `ORDER` and the one before.
fn legendre(x: f64) -> (f64, f64) {
    let (mut value, mut before) = (1.0, 0.0);
    for degree in 0..ORDER {
        let n = degree as f64;
        (value, before) = (
            ((2.0 * n + 1.0) * x * value - n * before) / (n + 1.0),
            value,
        );
    }
    (value, before)
}
