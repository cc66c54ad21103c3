//! How many boards a comparison needs, and what chance it has with those there
//! are. It plans; it judges nothing.

use super::distribution::{normal, normal_critical, student_t_critical};
use super::equivalence::Margin;
use super::noncentral::{noncentral_t, sd_ratio_density, sd_ratio_reach};
use super::quadrature::Rule;
use super::{Moments, StatisticsFault, at_least, probability};

/// The search for a number of boards ends here.
pub const MOST_BOARDS: usize = 1_000_000;

/// One alternative or both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sides {
    /// A difference in the direction expected.
    One,
    /// A difference in either direction.
    Two,
}

/// What a comparison of two lots of equal size is to find out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// True difference of the means.
    pub difference: f64,
    /// Standard deviation within either lot.
    pub sd: f64,
    /// Probability of a false claim.
    pub alpha: f64,
}

impl Aim {
    fn checked(&self) -> Result<&Self, StatisticsFault> {
        // The moments of one reading have the same domain.
        let moments = Moments::new(1, self.difference, self.sd)?;
        if moments.sd() == 0.0 {
            return Err(StatisticsFault::NoSpread);
        }
        if !(self.alpha > 0.0 && self.alpha < 0.5) {
            return Err(StatisticsFault::Argument("alpha"));
        }
        Ok(self)
    }

    /// Chance that the pooled t test of two lots of `boards` each finds the
    /// difference, both tails counted: non-central t, J. Cohen, "Statistical
    /// Power Analysis for the Behavioral Sciences" (1988), chapter 2.
    ///
    /// # Errors
    /// `TooFew`, `NoSpread`, `NotFinite`, `OutOfRange` or `Argument`.
    pub fn t_test_power(&self, boards: usize, sides: Sides) -> Result<f64, StatisticsFault> {
        at_least(2, boards)?;
        Ok(self.checked()?.t_test_power_of(boards as f64, sides))
    }

    /// `boards` need not be whole, as in the tables.
    pub(super) fn t_test_power_of(&self, boards: f64, sides: Sides) -> f64 {
        let dof = 2.0 * (boards - 1.0);
        let delta = self.difference.abs() / self.sd * (boards / 2.0).sqrt();
        match sides {
            Sides::One => noncentral_t(student_t_critical(self.alpha, dof), dof, delta).upper,
            Sides::Two => {
                let critical = student_t_critical(self.alpha / 2.0, dof);
                let near = noncentral_t(critical, dof, delta).upper;
                near + noncentral_t(-critical, dof, delta).lower
            }
        }
    }

    /// Least number of boards a lot with which the t test has `power`.
    ///
    /// # Errors
    /// As [`Aim::t_test_power`]; `Unreachable` beyond [`MOST_BOARDS`].
    pub fn t_test_boards(&self, power: f64, sides: Sides) -> Result<usize, StatisticsFault> {
        self.checked()?;
        probability("the power", power)?;
        least_boards(|boards| self.t_test_power_of(boards as f64, sides) >= power)
    }

    /// Boards a lot by the normal distribution, not rounded: NIST/SEMATECH
    /// e-Handbook 7.2.2.2 for one sample. For two lots it doubles.
    ///
    /// # Errors
    /// As [`Aim::t_test_power`]; `Unreachable` for no difference at all.
    pub fn one_sample_boards_normal(
        &self,
        power: f64,
        sides: Sides,
    ) -> Result<f64, StatisticsFault> {
        self.checked()?;
        let power = probability("the power", power)?;
        let tail = match sides {
            Sides::One => self.alpha,
            Sides::Two => self.alpha / 2.0,
        };
        let root = (normal_critical(tail) + normal_critical(1.0 - power)) * self.sd
            / self.difference.abs();
        let boards = root * root;
        if boards.is_finite() {
            Ok(boards)
        } else {
            Err(StatisticsFault::Unreachable)
        }
    }

    /// Chance that two one-sided tests on two lots of `boards` each prove
    /// equivalence within `margin`: the exact bivariate probability of D. B.
    /// Owen, "A special case of a bivariate non-central t-distribution",
    /// Biometrika 52 (1965) 437-446, integrated over the standard deviation.
    ///
    /// # Errors
    /// As [`Aim::t_test_power`].
    pub fn equivalence_power(
        &self,
        boards: usize,
        margin: &Margin,
    ) -> Result<f64, StatisticsFault> {
        at_least(2, boards)?;
        self.checked()?;
        let n = boards as f64;
        let standard_error = self.sd * (2.0 / n).sqrt();
        Ok(self.equivalence_power_of(standard_error, 2.0 * (n - 1.0), margin))
    }

    /// The same for any design, given the true standard error of the difference
    /// and its degrees of freedom.
    pub(super) fn equivalence_power_of(
        &self,
        standard_error: f64,
        dof: f64,
        margin: &Margin,
    ) -> f64 {
        let critical = student_t_critical(self.alpha, dof);
        let up = (margin.upper() - self.difference) / standard_error;
        let down = (margin.lower() - self.difference) / standard_error;
        let (from, to) = sd_ratio_reach(dof);
        // A greater standard deviation leaves no room between the two tests.
        let to = to.min((up - down) / (2.0 * critical));
        if to <= from {
            return 0.0;
        }
        let rule = Rule::new();
        let both: f64 = rule
            .panels(from, to, 16)
            .into_iter()
            .map(|(ratio, weight)| {
                let room =
                    normal(up - critical * ratio).lower - normal(down + critical * ratio).lower;
                weight * sd_ratio_density(ratio, dof) * room
            })
            .sum();
        both.clamp(0.0, 1.0)
    }

    /// Least number of boards a lot with which equivalence within `margin` is
    /// proven with probability `power`.
    ///
    /// # Errors
    /// As [`Aim::t_test_power`]; `Unreachable` when the true difference is not
    /// inside the margin, or beyond [`MOST_BOARDS`].
    pub fn equivalence_boards(
        &self,
        power: f64,
        margin: &Margin,
    ) -> Result<usize, StatisticsFault> {
        self.checked()?;
        probability("the power", power)?;
        if !margin.contains(self.difference) {
            return Err(StatisticsFault::Unreachable);
        }
        least_boards(|boards| {
            self.equivalence_power(boards, margin)
                .is_ok_and(|reached| reached >= power)
        })
    }
}

/// The least number from 2 on that is enough, where more are always enough too.
fn least_boards(enough: impl Fn(usize) -> bool) -> Result<usize, StatisticsFault> {
    let mut high = 2;
    while !enough(high) {
        if high >= MOST_BOARDS {
            return Err(StatisticsFault::Unreachable);
        }
        high = (2 * high).min(MOST_BOARDS);
    }
    let mut low = high / 2;
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle;
        }
    }
    Ok(high)
}
