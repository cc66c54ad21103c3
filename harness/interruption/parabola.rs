//! A parabola through noisy samples by least squares, and where it passes a
//! level. It chooses no samples.

/// A parabola through samples by least squares, about a centre; places in
/// samples from it.
pub(super) struct Parabola {
    terms: [f64; 3],
    /// Inverse of the normal equations.
    inverse: [[f64; 3]; 3],
    reach: f64,
    /// Sum of the squared residuals.
    pub(super) squares: f64,
    /// Samples.
    pub(super) count: usize,
}

impl Parabola {
    pub(super) fn of(values: &[f64], sense: f64, centre: f64, reach: f64) -> Option<Self> {
        let from = libm::ceil(centre - reach).max(0.0) as usize;
        let to = libm::floor(centre + reach).max(0.0) as usize;
        if to >= values.len() || to < from + 4 {
            return None;
        }
        let place = |index: usize| (index as f64 - centre) / reach;
        let mut powers = [0.0; 5];
        let mut right = [0.0; 3];
        for (index, value) in values[..=to].iter().enumerate().skip(from) {
            let (x, y) = (place(index), sense * value);
            let mut power = 1.0;
            for (order, sum) in powers.iter_mut().enumerate() {
                *sum += power;
                if let Some(sum) = right.get_mut(order) {
                    *sum += power * y;
                }
                power *= x;
            }
        }
        let normal = [0, 1, 2].map(|row| [0, 1, 2].map(|column| powers[row + column]));
        let inverse = inverse(normal)?;
        let terms = inverse.map(|row| (0..3).map(|k| row[k] * right[k]).sum());
        let mut fit = Self {
            terms,
            inverse,
            reach,
            squares: 0.0,
            count: to - from + 1,
        };
        fit.squares = (from..=to)
            .map(|index| {
                let off = sense * values[index] - fit.at(place(index));
                off * off
            })
            .sum();
        Some(fit)
    }

    fn at(&self, x: f64) -> f64 {
        self.terms[0] + x * (self.terms[1] + x * self.terms[2])
    }

    /// Where it passes `level` nearest to the centre and within reach, and its
    /// slope a sample there.
    pub(super) fn passes(&self, level: f64) -> Option<(f64, f64)> {
        let [c, b, a] = self.terms;
        let c = c - level;
        let root = libm::sqrt(b * b - 4.0 * a * c);
        // The stable form; the other root lies farther out.
        let x = -2.0 * c / (b + b.signum() * root);
        let slope = b + 2.0 * a * x;
        (x.abs() <= 1.0 && slope.is_finite() && slope != 0.0)
            .then(|| (x * self.reach, slope / self.reach))
    }

    /// Variance of its slope a sample at `at` samples from the centre, of unit
    /// noise.
    pub(super) fn slope_variance(&self, at: f64) -> f64 {
        let x = at / self.reach;
        let inverse = &self.inverse;
        let sum = inverse[1][1] + 4.0 * x * inverse[1][2] + 4.0 * x * x * inverse[2][2];
        sum.max(0.0) / (self.reach * self.reach)
    }

    /// Variance of its value at `at` samples from the centre, of unit noise.
    pub(super) fn variance(&self, at: f64) -> f64 {
        let x = at / self.reach;
        let powers = [1.0, x, x * x];
        let mut sum = 0.0;
        for row in 0..3 {
            for column in 0..3 {
                sum += powers[row] * self.inverse[row][column] * powers[column];
            }
        }
        sum.max(0.0)
    }
}

/// The inverse by cofactors.
fn inverse(m: [[f64; 3]; 3]) -> Option<[[f64; 3]; 3]> {
    let minor = |row: usize, column: usize| {
        let (r, s) = ((row + 1) % 3, (row + 2) % 3);
        let (c, d) = ((column + 1) % 3, (column + 2) % 3);
        m[r][c] * m[s][d] - m[r][d] * m[s][c]
    };
    let whole: f64 = (0..3).map(|column| m[0][column] * minor(0, column)).sum();
    if whole.abs() < 1e-12 {
        return None;
    }
    Some([0, 1, 2].map(|row| [0, 1, 2].map(|column| minor(column, row) / whole)))
}
