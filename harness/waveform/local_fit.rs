//! Where a sampled transition passes a level, by a line or a parabola through
//! all samples near it. It knows no signal and finds no transition by itself.

/// Weights of a least-squares line or parabola through `2 reach + 1` evenly
/// spaced samples, read at its middle (Savitzky and Golay, Analytical Chemistry
/// 36, 1964, p. 1627; the sums are elementary).
#[derive(Clone, Debug, PartialEq)]
pub struct LocalFit {
    value: Vec<f64>,
    bend: Vec<f64>,
    /// Sum of the squares of the places.
    squares: f64,
}

/// What a fit says at its middle, per sample period.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// The value.
    pub value: f64,
    /// The slope.
    pub slope: f64,
    /// Half of the second derivative; zero for a line.
    pub bend: f64,
}

impl LocalFit {
    /// A line over `reach` samples either side, at least one.
    pub fn line(reach: usize) -> Self {
        let reach = reach.max(1);
        let count = (2 * reach + 1) as f64;
        Self {
            value: vec![count.recip(); 2 * reach + 1],
            bend: vec![0.0; 2 * reach + 1],
            squares: sum_of(reach, 2),
        }
    }

    /// A parabola over `reach` samples either side, at least one.
    pub fn parabola(reach: usize) -> Self {
        let reach = reach.max(1);
        let count = (2 * reach + 1) as f64;
        let (squares, fourths) = (sum_of(reach, 2), sum_of(reach, 4));
        let divisor = count * fourths - squares * squares;
        let places = || (0..=2 * reach).map(move |index| index as f64 - reach as f64);
        Self {
            value: places()
                .map(|x| (fourths - squares * x * x) / divisor)
                .collect(),
            bend: places()
                .map(|x| (count * x * x - squares) / divisor)
                .collect(),
            squares,
        }
    }

    /// Samples either side of the middle.
    pub fn reach(&self) -> usize {
        self.value.len() / 2
    }

    /// The weights of the value at the middle, first sample first.
    pub fn weights(&self) -> &[f64] {
        &self.value
    }

    /// Of independent samples' variance the share that is left in the value.
    pub fn gain(&self) -> f64 {
        self.value.iter().map(|w| w * w).sum()
    }

    /// The value at the middle of the fit about sample `middle`.
    pub fn value(&self, at: impl Fn(usize) -> f64, middle: usize) -> f64 {
        let from = middle - self.reach();
        let terms = self.value.iter().enumerate();
        terms.map(|(index, w)| w * at(from + index)).sum()
    }

    /// The whole fit about sample `middle`.
    pub fn fit(&self, at: impl Fn(usize) -> f64, middle: usize) -> Fitted {
        let reach = self.reach();
        let from = middle - reach;
        let mut fitted = Fitted {
            value: 0.0,
            slope: 0.0,
            bend: 0.0,
        };
        for (index, (value, bend)) in self.value.iter().zip(&self.bend).enumerate() {
            let sample = at(from + index);
            fitted.value += value * sample;
            fitted.bend += bend * sample;
            fitted.slope += (index as f64 - reach as f64) * sample;
        }
        fitted.slope /= self.squares;
        fitted
    }
}

impl Fitted {
    /// Where, counted from the middle, the parabola is at `level`, on the
    /// branch of its slope; the line's answer where the parabola misses it.
    pub fn reaches(&self, level: f64) -> f64 {
        let short = level - self.value;
        let root = self.slope * self.slope + 4.0 * self.bend * short;
        if root <= 0.0 {
            return short / self.slope;
        }
        2.0 * short / (self.slope + self.slope.signum() * libm::sqrt(root))
    }
}

/// Sum of the places from `-reach` to `reach` to an even `power`.
fn sum_of(reach: usize, power: i32) -> f64 {
    let places = (1..=reach).map(|x| (x as f64).powi(power));
    2.0 * places.sum::<f64>()
}

#[cfg(test)]
mod tests {
    //! Polynomials come back exactly; the weights are those of published tables.

    use super::*;

    #[test]
    fn weights_are_those_of_the_published_tables() {
        // Savitzky and Golay 1964, table I: 5 points -3 12 17 12 -3 over 35;
        // 7 points -2 3 6 7 6 3 -2 over 21 (from memory).
        for (reach, table, over) in [
            (2, &[-3.0, 12.0, 17.0, 12.0, -3.0][..], 35.0),
            (3, &[-2.0, 3.0, 6.0, 7.0, 6.0, 3.0, -2.0][..], 21.0),
        ] {
            let fit = LocalFit::parabola(reach);
            for (weight, expected) in fit.weights().iter().zip(table) {
                assert!((weight - expected / over).abs() < 1e-12);
            }
        }
    }

    #[test]
    fn a_parabola_is_found_where_it_was_put() {
        let at = |index: usize| {
            let x = index as f64 - 20.3;
            2.0 * x + 0.05 * x * x
        };
        let found = LocalFit::parabola(6).fit(at, 20);
        assert!((found.reaches(0.0) - 0.3).abs() < 1e-9, "{found:?}");
        let line = LocalFit::line(6).fit(|index| 3.0 * (index as f64 - 19.8), 20);
        assert!((line.reaches(0.0) + 0.2).abs() < 1e-12, "{line:?}");
    }
}
