//! One exponential through points, as something warms up or charges, with the
//! uncertainty of its end. It fits nothing else and says not whether it should.

use super::fit::FitFault;

/// A least-squares exponential
/// `y = end + (start - end) exp(-x / time_constant)`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rise {
    /// Value at x = 0; zero where it was held there.
    pub start: f64,
    /// Value that is approached.
    pub end: f64,
    /// In units of x.
    pub time_constant: f64,
    /// Standard error of the start; zero where it was held.
    pub start_u: f64,
    /// Standard error of the end.
    pub end_u: f64,
    /// Standard error of the time constant.
    pub time_constant_u: f64,
    /// Standard deviation of the residuals, with n - p degrees of freedom for
    /// p parameters.
    pub residual: f64,
    /// How many parameters were fitted.
    pub parameters: usize,
}

impl Rise {
    /// The fitted value at `x`.
    pub fn at(&self, x: f64) -> f64 {
        self.end + (self.start - self.end) * libm::exp(-x / self.time_constant)
    }
}

/// Why no exponential is told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RiseFault {
    /// The points do not determine one.
    #[error(transparent)]
    Fit(#[from] FitFault),
    /// They lie along a line: the end is not in sight.
    #[error("the rise does not bend yet")]
    Straight,
    /// They do not move, or are at their end from the first on.
    #[error("no rise can be distinguished from the scatter")]
    Flat,
}

/// Places on which the time constant is first looked for.
const PLACES: usize = 200;
/// Shares of the span of x between which it is looked for.
const SHORTEST: f64 = 1e-3;
const LONGEST: f64 = 50.0;
/// Steps of the refinement: each halves the distance many times over.
const STEPS: usize = 50;

/// Least squares of one exponential through `points` (x, y) with x of zero and
/// more, through the origin where `held` is set.
///
/// For a given time constant the rest is linear; so the best one is looked for
/// alone (variable projection), then all are refined together by Gauss-Newton
/// steps. The covariance is that of the linearised model, s2 (J'J)^-1
/// (NIST/SEMATECH e-Handbook 4.4.3.2).
///
/// # Errors
/// A [`RiseFault`] when the points do not determine one.
pub fn fit_rise(points: &[(f64, f64)], held: bool) -> Result<Rise, RiseFault> {
    let parameters = if held { 2 } else { 3 };
    if points.len() <= parameters {
        return Err(FitFault::TooFew(points.len()).into());
    }
    if points
        .iter()
        .any(|(x, y)| !(x.is_finite() && y.is_finite()))
    {
        return Err(FitFault::NotFinite.into());
    }
    let last = points.iter().map(|p| p.0).fold(0.0, f64::max);
    let first = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    if last <= first || first < 0.0 {
        return Err(FitFault::OnePlace.into());
    }
    let place = |index: usize| {
        let share = index as f64 / (PLACES - 1) as f64;
        last * SHORTEST * libm::pow(LONGEST / SHORTEST, share)
    };
    let best = (0..PLACES)
        .filter_map(|index| Some((index, linear(points, place(index), held)?.squares)))
        .reduce(|a, b| if b.1 < a.1 { b } else { a });
    let Some((best, _)) = best else {
        return Err(FitFault::OnePlace.into());
    };
    if best == 0 {
        return Err(RiseFault::Flat);
    }
    if best == PLACES - 1 {
        return Err(RiseFault::Straight);
    }
    let rough = narrow(points, (place(best - 1), place(best + 1)), held);
    let fit = linear(points, rough, held).ok_or(RiseFault::Flat)?;
    refine(points, fit, held)
}

/// The best fit for one time constant.
#[derive(Clone, Copy)]
struct Fit {
    start: f64,
    end: f64,
    time_constant: f64,
    squares: f64,
}

fn squares(points: &[(f64, f64)], start: f64, end: f64, time_constant: f64) -> f64 {
    let of = |x: f64, y: f64| y - end - (start - end) * libm::exp(-x / time_constant);
    points.iter().map(|&(x, y)| of(x, y) * of(x, y)).sum()
}

/// Start and end by least squares with the time constant given.
fn linear(points: &[(f64, f64)], time_constant: f64, held: bool) -> Option<Fit> {
    let (start, end) = if held {
        let (mut product, mut square) = (0.0, 0.0);
        for &(x, y) in points {
            let share = -libm::expm1(-x / time_constant);
            product += share * y;
            square += share * share;
        }
        (0.0, product / square)
    } else {
        // A line over what is left of the way: about the means, so that a
        // large offset costs no digits.
        let count = points.len() as f64;
        let left = |x: f64| libm::exp(-x / time_constant);
        let x_mean = points.iter().map(|p| left(p.0)).sum::<f64>() / count;
        let y_mean = points.iter().map(|p| p.1).sum::<f64>() / count;
        let (mut product, mut square) = (0.0, 0.0);
        for &(x, y) in points {
            let about = left(x) - x_mean;
            product += about * (y - y_mean);
            square += about * about;
        }
        let slope = product / square;
        let end = y_mean - slope * x_mean;
        (end + slope, end)
    };
    (start.is_finite() && end.is_finite()).then(|| Fit {
        start,
        end,
        time_constant,
        squares: squares(points, start, end, time_constant),
    })
}

/// Golden section between `low` and `high`.
fn narrow(points: &[(f64, f64)], (mut low, mut high): (f64, f64), held: bool) -> f64 {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let of = |at: f64| linear(points, at, held).map_or(f64::INFINITY, |fit| fit.squares);
    for _ in 0..STEPS {
        let (left, right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
        if of(left) < of(right) {
            high = right;
        } else {
            low = left;
        }
    }
    (low + high) / 2.0
}

/// Gauss-Newton from a fit that is nearly there, and the covariance.
fn refine(points: &[(f64, f64)], mut fit: Fit, held: bool) -> Result<Rise, RiseFault> {
    let mut inverse = None;
    for _ in 0..STEPS {
        let (normal, pull) = normal_equations(points, &fit, held);
        let Some(inverted) = invert(normal) else {
            return Err(RiseFault::Flat);
        };
        inverse = Some(inverted);
        let step: Vec<f64> = inverted
            .iter()
            .map(|row| row.iter().zip(pull).map(|(a, b)| a * b).sum())
            .collect();
        let (start, end) = (fit.start + step[0], fit.end + step[1]);
        let time_constant = fit.time_constant + step[2];
        if time_constant.partial_cmp(&0.0) != Some(std::cmp::Ordering::Greater) {
            break;
        }
        let after = squares(points, start, end, time_constant);
        if after.partial_cmp(&fit.squares) != Some(std::cmp::Ordering::Less) {
            break;
        }
        fit = Fit {
            start,
            end,
            time_constant,
            squares: after,
        };
    }
    let inverse = inverse.ok_or(RiseFault::Flat)?;
    let parameters = if held { 2 } else { 3 };
    let freedom = (points.len() - parameters) as f64;
    let residual = libm::sqrt(fit.squares / freedom);
    let error = |index: usize| residual * libm::sqrt(inverse[index][index].max(0.0));
    let rise = Rise {
        start: fit.start,
        end: fit.end,
        time_constant: fit.time_constant,
        start_u: if held { 0.0 } else { error(0) },
        end_u: error(1),
        time_constant_u: error(2),
        residual,
        parameters,
    };
    let finite = [
        rise.end,
        rise.start,
        rise.end_u,
        rise.start_u,
        rise.time_constant_u,
        residual,
    ];
    if finite.iter().all(|number| number.is_finite()) {
        Ok(rise)
    } else {
        Err(RiseFault::Flat)
    }
}

type Matrix = [[f64; 3]; 3];

/// J'J and J'r for start, end and time constant; a held start has a row of its
/// own that moves nothing.
fn normal_equations(points: &[(f64, f64)], fit: &Fit, held: bool) -> (Matrix, [f64; 3]) {
    let (mut normal, mut pull) = ([[0.0; 3]; 3], [0.0; 3]);
    for &(x, y) in points {
        let left = libm::exp(-x / fit.time_constant);
        let bend = (fit.start - fit.end) * left * x / (fit.time_constant * fit.time_constant);
        let row = [if held { 0.0 } else { left }, 1.0 - left, bend];
        let residual = y - fit.end - (fit.start - fit.end) * left;
        for (index, first) in row.iter().enumerate() {
            pull[index] += first * residual;
            for (cell, second) in normal[index].iter_mut().zip(row) {
                *cell += first * second;
            }
        }
    }
    if held {
        normal[0][0] = 1.0;
    }
    (normal, pull)
}

/// The inverse of a symmetric positive matrix by its adjugate, scaled first so
/// that unlike units cost no digits; `None` where it has none.
fn invert(matrix: Matrix) -> Option<Matrix> {
    let scale: Vec<f64> = (0..3).map(|k| libm::sqrt(matrix[k][k])).collect();
    if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
        return None;
    }
    let m = |row: usize, column: usize| matrix[row][column] / (scale[row] * scale[column]);
    let minor = |row: usize, column: usize| {
        let (a, b) = ((row + 1) % 3, (row + 2) % 3);
        let (c, d) = ((column + 1) % 3, (column + 2) % 3);
        m(a, c) * m(b, d) - m(a, d) * m(b, c)
    };
    let whole: f64 = (0..3).map(|column| m(0, column) * minor(0, column)).sum();
    // Of a correlation matrix the determinant is one at most.
    if !whole.is_finite() || whole <= 1e-14 {
        return None;
    }
    let mut inverse = [[0.0; 3]; 3];
    for (row, cells) in inverse.iter_mut().enumerate() {
        for (column, cell) in cells.iter_mut().enumerate() {
            *cell = minor(column, row) / whole / (scale[row] * scale[column]);
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, within: f64) {
        assert!((a / b - 1.0).abs() < within, "{a} {b}");
    }

    /// NIST StRD, Misra1a, y = b1 (1 - exp(-b2 x)): data and certified values
    /// from <https://www.itl.nist.gov/div898/strd/nls/data/misra1a.shtml> (from
    /// memory; a second fit of the data by SciPy agrees).
    #[test]
    fn misra_1a() {
        let x = [
            77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1,
            689.1, 760.0,
        ];
        let y = [
            10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40,
            75.47, 81.78,
        ];
        let points: Vec<_> = x.into_iter().zip(y).collect();
        let rise = fit_rise(&points, true).expect("an exponential");
        close(rise.end, 2.389_421_291_8e2, 1e-8);
        close(rise.end_u, 2.707_007_524_1, 1e-6);
        close(1.0 / rise.time_constant, 5.501_564_318_1e-4, 1e-8);
        let rate_u = rise.time_constant_u / (rise.time_constant * rise.time_constant);
        close(rate_u, 7.266_868_843_6e-6, 1e-6);
        close(rise.residual, 1.018_787_633_0e-1, 1e-8);
    }

    /// NIST StRD, BoxBOD, the same model: from
    /// <https://www.itl.nist.gov/div898/strd/nls/data/boxbod.shtml> (from
    /// memory; a second fit of the data by SciPy agrees).
    #[test]
    fn box_bod() {
        let points = [
            (1.0, 109.0),
            (2.0, 149.0),
            (3.0, 149.0),
            (5.0, 191.0),
            (7.0, 213.0),
            (10.0, 224.0),
        ];
        let rise = fit_rise(&points, true).expect("an exponential");
        close(rise.end, 2.138_094_088_9e2, 1e-8);
        close(rise.end_u, 1.235_451_517_6e1, 1e-6);
        close(1.0 / rise.time_constant, 5.472_374_854_2e-1, 1e-8);
        close(rise.residual, 1.708_807_242_3e1, 1e-8);
    }

    #[test]
    fn an_exact_exponential_comes_back() {
        for (start, end, tau) in [(25.0, 45.0, 60.0), (300.0, 20.0, 7.0), (-5.0, 5.0, 200.0)] {
            let of = |x: f64| end + (start - end) * libm::exp(-x / tau);
            let points: Vec<_> = (0..40)
                .map(|k| f64::from(k) * 5.0)
                .map(|x| (x, of(x)))
                .collect();
            let rise = fit_rise(&points, false).expect("an exponential");
            close(rise.start, start, 1e-7);
            close(rise.end, end, 1e-7);
            close(rise.time_constant, tau, 1e-7);
            assert!(rise.residual < 1e-7);
            close(rise.at(33.0), of(33.0), 1e-7);
        }
    }

    #[test]
    fn what_is_no_rise() {
        let line: Vec<_> = (0..20).map(|k| (f64::from(k), f64::from(k))).collect();
        assert_eq!(fit_rise(&line, false), Err(RiseFault::Straight));
        let flat = [(0.0, 1.0), (1.0, 1.0), (2.0, 1.0), (3.0, 1.0), (4.0, 1.0)];
        assert!(fit_rise(&flat, false).is_err());
        assert!(fit_rise(&flat[..3], false).is_err());
        let broken = [(0.0, 1.0), (1.0, f64::NAN), (2.0, 3.0), (3.0, 3.5)];
        assert_eq!(
            fit_rise(&broken, false),
            Err(RiseFault::Fit(FitFault::NotFinite))
        );
        assert!(fit_rise(&[(1.0, 1.0); 5], false).is_err());
    }
}
