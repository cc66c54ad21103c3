//! Straight lines through points, with the uncertainty of slope and intercept.
//! It fits nothing but straight lines.

/// A least-squares line `y = intercept + slope x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Change of y for one of x.
    pub slope: f64,
    /// Standard error of the intercept.
    pub intercept_u: f64,
    /// Standard error of the slope.
    pub slope_u: f64,
    /// Standard deviation of the residuals, with n - 2 degrees of freedom;
    /// zero for two points.
    pub residual: f64,
}

/// Why no line can be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitFault {
    /// Fewer than two points.
    #[error("a line needs two points or more, not {0}")]
    TooFew(usize),
    /// All points share one x.
    #[error("all points lie at one place")]
    OnePlace,
    /// An infinite or missing number.
    #[error("a point is not finite")]
    NotFinite,
}

/// Ordinary least squares through `points` (x, y), about the means so that
/// large offsets cost no digits (NIST/SEMATECH e-Handbook 4.4.3.1).
///
/// # Errors
/// A [`FitFault`] when the points do not determine a line.
pub fn fit_line(points: &[(f64, f64)]) -> Result<Line, FitFault> {
    if points.len() < 2 {
        return Err(FitFault::TooFew(points.len()));
    }
    if points
        .iter()
        .any(|(x, y)| !(x.is_finite() && y.is_finite()))
    {
        return Err(FitFault::NotFinite);
    }
    let count = points.len() as f64;
    let mean = |pick: fn(&(f64, f64)) -> f64| {
        let first = points.iter().map(pick).sum::<f64>() / count;
        // A second pass takes back what the first one rounded.
        first + points.iter().map(|p| pick(p) - first).sum::<f64>() / count
    };
    let (x_mean, y_mean) = (mean(|p| p.0), mean(|p| p.1));
    let x_spread: f64 = points.iter().map(|p| (p.0 - x_mean) * (p.0 - x_mean)).sum();
    if x_spread == 0.0 {
        return Err(FitFault::OnePlace);
    }
    let product: f64 = points.iter().map(|p| (p.0 - x_mean) * (p.1 - y_mean)).sum();
    let slope = product / x_spread;
    let intercept = y_mean - slope * x_mean;
    let squares: f64 = points
        .iter()
        .map(|p| (p.1 - y_mean) - slope * (p.0 - x_mean))
        .map(|residual| residual * residual)
        .sum();
    let freedom = count - 2.0;
    let residual = if freedom > 0.0 {
        libm::sqrt(squares / freedom)
    } else {
        0.0
    };
    Ok(Line {
        intercept,
        slope,
        intercept_u: residual * libm::sqrt(1.0 / count + x_mean * x_mean / x_spread),
        slope_u: residual / libm::sqrt(x_spread),
        residual,
    })
}

/// A least-squares line through the origin, `y = slope x`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proportion {
    /// Change of y for one of x.
    pub slope: f64,
    /// Its standard error.
    pub slope_u: f64,
    /// Standard deviation of the residuals, with n - 1 degrees of freedom;
    /// zero for one point.
    pub residual: f64,
}

/// Ordinary least squares through the origin.
///
/// # Errors
/// A [`FitFault`] when the points do not determine a slope.
pub fn fit_proportional(points: &[(f64, f64)]) -> Result<Proportion, FitFault> {
    if points.is_empty() {
        return Err(FitFault::TooFew(0));
    }
    if points
        .iter()
        .any(|(x, y)| !(x.is_finite() && y.is_finite()))
    {
        return Err(FitFault::NotFinite);
    }
    let spread: f64 = points.iter().map(|p| p.0 * p.0).sum();
    if spread == 0.0 {
        return Err(FitFault::OnePlace);
    }
    let slope = points.iter().map(|p| p.0 * p.1).sum::<f64>() / spread;
    let squares: f64 = points
        .iter()
        .map(|p| p.1 - slope * p.0)
        .map(|residual| residual * residual)
        .sum();
    let residual = libm::sqrt(squares / (points.len() as f64 - 1.0).max(1.0));
    Ok(Proportion {
        slope,
        slope_u: residual / libm::sqrt(spread),
        residual,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NIST StRD, Norris: 36 calibration points, certified values from
    /// <https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml>.
    #[test]
    fn norris() {
        let y = [
            0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1,
            778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6,
            339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2,
        ];
        let x = [
            0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6,
            775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8,
            339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5,
        ];
        let points: Vec<_> = x.into_iter().zip(y).collect();
        let line = fit_line(&points).expect("Norris has 36 points");
        let close = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-9, "{a} {b}");
        close(line.intercept, -0.262_323_073_774_029);
        close(line.slope, 1.002_116_818_020_45);
        close(line.intercept_u, 0.232_818_234_301_152);
        close(line.slope_u, 0.429_796_848_199_937e-3);
        close(line.residual, 0.884_796_396_144_373);
    }

    /// NIST StRD, NoInt1 and NoInt2: lines through the origin, certified
    /// values from <https://www.itl.nist.gov/div898/strd/lls/lls.shtml>.
    #[test]
    fn no_intercept() {
        let close = |a: f64, b: f64| assert!((a / b - 1.0).abs() < 1e-12, "{a} {b}");
        let points: Vec<_> = (0..11)
            .map(|k| (60.0 + f64::from(k), 130.0 + f64::from(k)))
            .collect();
        let first = fit_proportional(&points).expect("eleven points");
        close(first.slope, 2.074_380_165_289_26);
        close(first.slope_u, 0.165_289_256_198_347e-1);
        close(first.residual, 3.567_530_340_063_38);
        let points = [(4.0, 3.0), (5.0, 4.0), (6.0, 4.0)];
        let second = fit_proportional(&points).expect("three points");
        close(second.slope, 0.727_272_727_272_727);
        close(second.slope_u, 0.420_827_318_078_432e-1);
        close(second.residual, 0.369_274_472_937_998);
        let none = fit_proportional(&[(0.0, 1.0), (0.0, 2.0)]);
        assert_eq!(none, Err(FitFault::OnePlace));
    }

    #[test]
    fn what_is_no_line() {
        assert_eq!(fit_line(&[(1.0, 1.0)]), Err(FitFault::TooFew(1)));
        assert_eq!(fit_line(&[(1.0, 1.0), (1.0, 2.0)]), Err(FitFault::OnePlace));
        assert_eq!(
            fit_line(&[(1.0, 1.0), (f64::NAN, 2.0)]),
            Err(FitFault::NotFinite)
        );
    }
}
