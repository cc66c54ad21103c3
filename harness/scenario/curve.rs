//! A time-current characteristic through trip times at multiples of the trip
//! current: definite time first, an inverse form only where it is needed and
//! can be told. It sets no limit.

use crate::measurement::{Estimate, combined};

/// Constants of an inverse time-current characteristic,
/// `t = T (k / (M^alpha - 1) + c)`: the form of IEC 60255-151:2009 and IEEE
/// C37.112, with multiples M of the setting above one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InverseTime {
    /// Numerator in seconds, times the multiplier T.
    pub k: f64,
    /// Asymptote in seconds, times the multiplier T.
    pub c: f64,
    /// Exponent.
    pub alpha: f64,
}

impl InverseTime {
    /// Operate time at `multiple`; `None` at one and below, where it never
    /// operates.
    pub fn time(self, multiple: f64) -> Option<f64> {
        let bottom = libm::pow(multiple, self.alpha) - 1.0;
        (multiple > 1.0 && bottom > 0.0).then(|| self.k / bottom + self.c)
    }
}

/// What was fitted. T cannot be told from k and c, so k and c hold it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Form {
    /// One time at every multiple.
    DefiniteTime(Estimate),
    /// A time that falls with the multiple.
    InverseTime(InverseTime),
}

/// A characteristic with how badly it fits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// The form and its constants.
    pub form: Form,
    /// Largest relative departure of a point from the curve.
    pub lack_of_fit: f64,
    /// Whether the points depart from it by no more than their uncertainty
    /// explains.
    pub fits: bool,
}

/// Why no characteristic can be fitted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CurveFault {
    /// No usable point.
    #[error("there is no trip time to fit")]
    Nothing,
}

/// Fewest different multiples from which an inverse form is told.
pub const FEWEST_FOR_INVERSE: usize = 6;

/// Relative departure up to which trip times count as one definite time: a
/// trip delay's own jitter (common practice, no source).
const DEFINITE_WITHIN: f64 = 0.02;

/// Fits trip times at multiples above one. Definite time is taken where every
/// point lies within its expanded uncertainty, or 2 %, of the weighted mean,
/// and where there are fewer than [`FEWEST_FOR_INVERSE`] different multiples.
///
/// # Errors
/// [`CurveFault::Nothing`] without a finite positive time.
pub fn fit(points: &[(f64, Estimate)]) -> Result<Curve, CurveFault> {
    let points: Vec<(f64, Estimate)> = points
        .iter()
        .copied()
        .filter(|(multiple, time)| {
            multiple.is_finite() && *multiple > 1.0 && time.value.is_finite() && time.value > 0.0
        })
        .collect();
    let definite = definite(&points).ok_or(CurveFault::Nothing)?;
    let mut multiples: Vec<f64> = points.iter().map(|point| point.0).collect();
    multiples.sort_by(f64::total_cmp);
    multiples.dedup();
    if definite.fits || multiples.len() < FEWEST_FOR_INVERSE {
        return Ok(definite);
    }
    Ok(inverse(&points)
        .filter(|curve| curve.lack_of_fit < definite.lack_of_fit)
        .unwrap_or(definite))
}

/// The weighted mean (weights 1 / u squared) with its standard uncertainty:
/// the larger of that of the weights and that of the scatter.
fn definite(points: &[(f64, Estimate)]) -> Option<Curve> {
    if points.is_empty() {
        return None;
    }
    let weights: Vec<f64> = points.iter().map(|(_, time)| weight(*time)).collect();
    let total: f64 = weights.iter().sum();
    let mean = points
        .iter()
        .zip(&weights)
        .map(|((_, time), w)| w * time.value)
        .sum::<f64>()
        / total;
    let count = points.len() as f64;
    let squares: f64 = points
        .iter()
        .map(|(_, time)| (time.value - mean) * (time.value - mean))
        .sum();
    let scatter = if points.len() > 1 {
        libm::sqrt(squares / (count * (count - 1.0)))
    } else {
        0.0
    };
    let u = libm::sqrt(1.0 / total).max(scatter);
    let fits = points
        .iter()
        .all(|(_, time)| (time.value - mean).abs() <= time.expanded().max(DEFINITE_WITHIN * mean));
    Some(Curve {
        form: Form::DefiniteTime(Estimate::new(mean, u)),
        lack_of_fit: departure(points, |_| Some(mean)),
        fits,
    })
}

/// An exact time would outweigh all others; a millionth of itself is its floor.
fn weight(time: Estimate) -> f64 {
    let u = combined([time.u, 1e-6 * time.value]);
    1.0 / (u * u)
}

fn departure(points: &[(f64, Estimate)], curve: impl Fn(f64) -> Option<f64>) -> f64 {
    points
        .iter()
        .map(|&(multiple, time)| {
            curve(multiple).map_or(f64::INFINITY, |t| (t / time.value - 1.0).abs())
        })
        .fold(0.0, f64::max)
}

/// For a given alpha the form is a straight line in 1 / (M^alpha - 1), fitted
/// with relative weights; alpha is searched between 0.01 and 4 on a logarithmic
/// scale, coarse first and then by halving the step.
fn inverse(points: &[(f64, Estimate)]) -> Option<Curve> {
    let at = |place: f64| {
        let alpha = 0.01 * libm::pow(400.0, place);
        let constants = straight(points, alpha)?;
        let misfit: f64 = points
            .iter()
            .map(|&(multiple, time)| {
                let t = constants.time(multiple).unwrap_or(f64::MAX);
                (t / time.value - 1.0) * (t / time.value - 1.0)
            })
            .sum();
        Some((misfit, constants))
    };
    const COARSE: usize = 60;
    let mut step = 1.0 / COARSE as f64;
    let (mut place, mut best) = (0..=COARSE)
        .filter_map(|index| {
            let place = index as f64 * step;
            at(place).map(|found| (place, found))
        })
        .reduce(|a, b| if b.1.0 < a.1.0 { b } else { a })?;
    for _ in 0..40 {
        step /= 2.0;
        for next in [place - step, place + step] {
            if !(0.0..=1.0).contains(&next) {
                continue;
            }
            if let Some(found) = at(next)
                && found.0 < best.0
            {
                (place, best) = (next, found);
            }
        }
    }
    let constants = best.1;
    let fits = points.iter().all(|&(multiple, time)| {
        constants
            .time(multiple)
            .is_some_and(|t| (t - time.value).abs() <= time.expanded().max(1e-3 * t))
    });
    Some(Curve {
        form: Form::InverseTime(constants),
        lack_of_fit: departure(points, |multiple| constants.time(multiple)),
        fits,
    })
}

/// k and c for one alpha, by weighted least squares of t / time = 1: with
/// weights 1 / time squared, since trip times span decades. A negative k or c
/// is no protection characteristic.
fn straight(points: &[(f64, Estimate)], alpha: f64) -> Option<InverseTime> {
    // Dividing t = k x + c by x gives t / x = k + c / x: an ordinary line is
    // enough only where weights are equal, so the normal equations are solved
    // here with x scaled to its largest.
    let abscissa = |multiple: f64| 1.0 / (libm::pow(multiple, alpha) - 1.0);
    let scale = points
        .iter()
        .map(|point| abscissa(point.0))
        .fold(0.0, f64::max);
    if !(scale.is_finite() && scale > 0.0) {
        return None;
    }
    let (mut w0, mut wx, mut wxx, mut wy, mut wxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for &(multiple, time) in points {
        let (x, y) = (abscissa(multiple) / scale, time.value);
        let w = 1.0 / (y * y);
        w0 += w;
        wx += w * x;
        wxx += w * x * x;
        wy += w * y;
        wxy += w * x * y;
    }
    let determinant = w0 * wxx - wx * wx;
    if determinant <= 1e-14 * w0 * wxx {
        return None;
    }
    let slope = (w0 * wxy - wx * wy) / determinant;
    let (k, c) = if (wxx * wy - wx * wxy) / determinant >= 0.0 {
        (slope, (wxx * wy - wx * wxy) / determinant)
    } else {
        (wxy / wxx, 0.0)
    };
    (k > 0.0).then_some(InverseTime {
        k: k / scale,
        c,
        alpha,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const A: InverseTime = form(0.14, 0.0, 0.02);
    const B: InverseTime = form(13.5, 0.0, 1.0);
    const C: InverseTime = form(80.0, 0.0, 2.0);
    const D: InverseTime = form(0.0515, 0.114, 0.02);

    const fn form(k: f64, c: f64, alpha: f64) -> InverseTime {
        InverseTime { k, c, alpha }
    }

    /// Operate times at T = 1 of the curves of IEC 60255-151:2009 and IEEE
    /// C37.112-2018, computed from the constants of their tables; 2.97 s, 1.5 s and
    /// 0.808 s at ten times are well-known values (common practice).
    #[test]
    fn times_of_the_standard_curves() {
        for (curve, multiple, time) in [
            (A, 1.1, 73.374433),
            (A, 2.0, 10.029027),
            (A, 10.0, 2.97059862),
            (B, 1.5, 27.0),
            (B, 3.0, 6.75),
            (B, 10.0, 1.5),
            (C, 2.0, 26.6666667),
            (C, 10.0, 0.808080808),
            (C, 20.0, 0.200501253),
            (D, 1.1, 27.1053093),
        ] {
            let found = curve.time(multiple).expect("above one");
            assert!((found / time - 1.0).abs() < 1e-7, "{found} {time}");
        }
        assert_eq!(A.time(1.0), None);
    }

    fn points(times: &[(f64, f64)]) -> Vec<(f64, Estimate)> {
        times
            .iter()
            .map(|&(m, t)| (m, Estimate::new(t, 1e-4 * t)))
            .collect()
    }

    /// Very and extremely inverse at T = 0.1, from the same file: seven
    /// multiples give the constants back.
    #[test]
    fn an_inverse_curve_is_found_from_six_multiples_on() {
        let very = [
            (1.5, 2.7),
            (2.0, 1.35),
            (3.0, 0.675),
            (5.0, 0.3375),
            (7.0, 0.225),
            (10.0, 0.15),
            (15.0, 0.0964285714),
        ];
        let extreme = [
            (1.5, 6.4),
            (2.0, 2.66666667),
            (3.0, 1.0),
            (5.0, 0.333333333),
            (7.0, 0.166666667),
            (10.0, 0.0808080808),
            (15.0, 0.0357142857),
        ];
        for (times, k, alpha) in [(very, 1.35, 1.0), (extreme, 8.0, 2.0)] {
            let curve = fit(&points(&times)).expect("seven points");
            let Form::InverseTime(found) = curve.form else {
                panic!("{curve:?}")
            };
            assert!((found.alpha / alpha - 1.0).abs() < 1e-2, "{found:?}");
            assert!((found.k / k - 1.0).abs() < 2e-2, "{found:?}");
            assert!(found.c.abs() < 2e-3, "{found:?}");
            assert!(curve.fits && curve.lack_of_fit < 1e-3, "{curve:?}");
        }
        // Five of them are not enough to tell, and the lack of fit says so.
        let few = fit(&points(&very[..5])).expect("five points");
        assert!(matches!(few.form, Form::DefiniteTime(_)));
        assert!(!few.fits && few.lack_of_fit > 0.5, "{few:?}");
    }

    #[test]
    fn one_time_is_definite_however_many_multiples() {
        let times: Vec<(f64, f64)> = (2..12)
            .map(|m| (f64::from(m), 0.008 + 1e-5 * f64::from(m % 3)))
            .collect();
        let curve = fit(&points(&times)).expect("ten points");
        let Form::DefiniteTime(time) = curve.form else {
            panic!("{curve:?}")
        };
        assert!((time.value - 0.00801).abs() < 1e-5 && curve.fits);
        assert_eq!(fit(&[]), Err(CurveFault::Nothing));
        assert_eq!(fit(&points(&[(0.5, 1.0)])), Err(CurveFault::Nothing));
    }
}
