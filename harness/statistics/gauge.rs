//! The study of the measurement system: the same boards, measured several times
//! under each of several conditions, tell how much of what is seen is the bench
//! (AIAG, "Measurement Systems Analysis", 4th edition (2010), from memory). It
//! says nothing about the boards but how much they differ.

use super::charts::RangeConstants;
use super::distribution::fisher_f;
use super::{Sample, StatisticsFault, at_least, in_range, probability};
use serde::{Deserialize, Serialize};

/// A crossed study: every appraiser measures every part equally often. An
/// appraiser is whatever was changed between series: a person, a fixture, a day.
#[derive(Clone, Debug, PartialEq)]
pub struct GaugeStudy {
    appraisers: usize,
    parts: usize,
    trials: usize,
    /// Ordered by appraiser, then part.
    cells: Vec<Sample>,
}

/// Standard deviations, and what they come to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Variation {
    /// Repeatability, "equipment variation".
    pub repeatability: f64,
    /// Reproducibility, "appraiser variation", interaction included.
    pub reproducibility: f64,
    /// Both together: the measurement system.
    pub measurement: f64,
    /// The parts themselves.
    pub part: f64,
    /// All together.
    pub total: f64,
    /// How many kinds of part the measurement tells apart, 1.41 times part over
    /// measurement, rounded down; none where the measurement does not vary.
    pub distinct_categories: Option<u32>,
}

impl Variation {
    fn of(repeatability: f64, reproducibility: f64, part: f64) -> Result<Self, StatisticsFault> {
        let measurement = libm::hypot(repeatability, reproducibility);
        let total = in_range(libm::hypot(measurement, part))?;
        if total == 0.0 {
            return Err(StatisticsFault::NoSpread);
        }
        // The conversion saturates.
        let distinct_categories =
            (measurement > 0.0).then(|| (1.41 * part / measurement).floor() as u32);
        Ok(Self {
            repeatability,
            reproducibility,
            measurement,
            part,
            total,
            distinct_categories,
        })
    }

    /// The measurement system as a share of the total: below 0.1 is good, above
    /// 0.3 is poor, as common practice has it.
    pub fn share_of_total(&self) -> f64 {
        self.measurement / self.total
    }

    /// Six standard deviations of the measurement system as a share of a
    /// tolerance `width`.
    ///
    /// # Errors
    /// `Argument` unless the width is finite and positive.
    pub fn share_of_tolerance(&self, width: f64) -> Result<f64, StatisticsFault> {
        if width.is_finite() && width > 0.0 {
            in_range(6.0 * self.measurement / width)
        } else {
            Err(StatisticsFault::Argument("the tolerance"))
        }
    }
}

/// One row of the analysis of variance.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Effect {
    /// Sum of squares.
    pub squares: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// F, where there is something to divide by.
    pub f: Option<f64>,
    /// Probability of so great an F without the effect.
    pub p: Option<f64>,
}

/// The analysis of variance of a study.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct GaugeAnova {
    /// Between parts.
    pub part: Effect,
    /// Between appraisers.
    pub appraiser: Effect,
    /// Appraisers differ from part to part.
    pub interaction: Effect,
    /// Between repeated readings.
    pub repeatability: Effect,
    /// Whether the interaction was pooled with the repeatability.
    pub pooled: bool,
    /// Variance of repeated readings.
    pub repeatability_variance: f64,
    /// Variance between appraisers; negative estimates count as zero.
    pub appraiser_variance: f64,
    /// Variance of the interaction, zero when pooled.
    pub interaction_variance: f64,
    /// Variance between parts.
    pub part_variance: f64,
    /// The standard deviations.
    pub variation: Variation,
}

impl GaugeStudy {
    /// A study from its readings: for each appraiser, for each part, the
    /// trials.
    ///
    /// # Errors
    /// `TooFew` for no appraiser, fewer than two parts or fewer than two
    /// trials; `Unbalanced` when the number of readings is not their product;
    /// `NotFinite`, `OutOfRange`.
    pub fn new(
        appraisers: usize,
        parts: usize,
        trials: usize,
        readings: &[f64],
    ) -> Result<Self, StatisticsFault> {
        at_least(1, appraisers)?;
        at_least(2, parts)?;
        at_least(2, trials)?;
        let product = appraisers
            .checked_mul(parts)
            .and_then(|x| x.checked_mul(trials));
        if product != Some(readings.len()) {
            return Err(StatisticsFault::Unbalanced);
        }
        let cells: Result<Vec<Sample>, StatisticsFault> =
            readings.chunks(trials).map(Sample::new).collect();
        Ok(Self {
            appraisers,
            parts,
            trials,
            cells: cells?,
        })
    }

    /// The method of averages and ranges. K1, K2 and K3 of the manual are the
    /// inverses of d2 for the trials and of d2* for one group of appraisers and
    /// one of parts.
    ///
    /// # Errors
    /// `NoSpread` when nothing varies; `Argument` for more than a hundred
    /// trials, appraisers or parts.
    pub fn average_and_range(&self) -> Result<Variation, StatisticsFault> {
        let cells = self.cells.len() as f64;
        let mean_range = self.cells.iter().map(Sample::range).sum::<f64>() / cells;
        let repeatability = mean_range / RangeConstants::of(self.trials)?.mean;
        let reproducibility = if self.appraisers > 1 {
            let constant = RangeConstants::of(self.appraisers)?.corrected(1);
            let apparent = range(&self.appraiser_means()) / constant;
            let chance = repeatability * repeatability / (self.parts * self.trials) as f64;
            (apparent * apparent - chance).max(0.0).sqrt()
        } else {
            0.0
        };
        let part = range(&self.part_means()) / RangeConstants::of(self.parts)?.corrected(1);
        Variation::of(repeatability, reproducibility, part)
    }

    /// The analysis of variance with random effects. The interaction is pooled
    /// with the repeatability when its p is above `pool_above` (advice varies
    /// from 0.05 to 0.25).
    ///
    /// # Errors
    /// `NoSpread` when nothing varies; `Argument` for a threshold that is not
    /// between 0 and 1; `OutOfRange`.
    pub fn anova(&self, pool_above: f64) -> Result<GaugeAnova, StatisticsFault> {
        probability("the threshold for pooling", pool_above)?;
        let squares = self.squares();
        let (a, p, t) = (
            self.appraisers as f64,
            self.parts as f64,
            self.trials as f64,
        );
        let crossed = effect(
            (squares.interaction, (a - 1.0) * (p - 1.0)),
            (squares.repeatability, a * p * (t - 1.0)),
        );
        // One appraiser leaves no interaction; nothing at all varies within the
        // cells, then any interaction is real.
        let pooled = crossed.dof == 0.0 || crossed.p.is_some_and(|p| p > pool_above);
        let repeatability_dof = a * p * (t - 1.0);
        let (error, error_dof) = if pooled {
            (
                squares.repeatability + squares.interaction,
                repeatability_dof + crossed.dof,
            )
        } else {
            (squares.repeatability, repeatability_dof)
        };
        let against = if pooled {
            (error, error_dof)
        } else {
            (squares.interaction, crossed.dof)
        };
        let part = effect((squares.part, p - 1.0), against);
        let appraiser = effect((squares.appraiser, a - 1.0), against);
        let mean_square = |e: &Effect| if e.dof > 0.0 { e.squares / e.dof } else { 0.0 };
        let base = against.0 / against.1;
        let repeatability_variance = error / error_dof;
        let appraiser_variance = ((mean_square(&appraiser) - base) / (p * t)).max(0.0);
        let part_variance = ((mean_square(&part) - base) / (a * t)).max(0.0);
        let interaction_variance = if pooled {
            0.0
        } else {
            ((base - repeatability_variance) / t).max(0.0)
        };
        Ok(GaugeAnova {
            part,
            appraiser,
            interaction: crossed,
            repeatability: Effect {
                squares: squares.repeatability,
                dof: repeatability_dof,
                f: None,
                p: None,
            },
            pooled,
            repeatability_variance,
            appraiser_variance,
            interaction_variance,
            part_variance,
            variation: Variation::of(
                repeatability_variance.sqrt(),
                (appraiser_variance + interaction_variance).sqrt(),
                part_variance.sqrt(),
            )?,
        })
    }

    fn cell_mean(&self, appraiser: usize, part: usize) -> f64 {
        self.cells[appraiser * self.parts + part].moments().mean()
    }

    fn appraiser_means(&self) -> Vec<f64> {
        (0..self.appraisers)
            .map(|a| mean((0..self.parts).map(|p| self.cell_mean(a, p))))
            .collect()
    }

    fn part_means(&self) -> Vec<f64> {
        (0..self.parts)
            .map(|p| mean((0..self.appraisers).map(|a| self.cell_mean(a, p))))
            .collect()
    }

    fn squares(&self) -> Squares {
        let (appraisers, parts) = (self.appraiser_means(), self.part_means());
        let grand = mean(parts.iter().copied());
        let sum =
            |values: &[f64]| -> f64 { values.iter().map(|x| (x - grand) * (x - grand)).sum() };
        let trials = self.trials as f64;
        let mut interaction = 0.0;
        for (a, appraiser) in appraisers.iter().enumerate() {
            for (p, part) in parts.iter().enumerate() {
                let rest = (self.cell_mean(a, p) - appraiser) - (part - grand);
                interaction += rest * rest;
            }
        }
        Squares {
            part: sum(&parts) * self.appraisers as f64 * trials,
            appraiser: sum(&appraisers) * self.parts as f64 * trials,
            interaction: interaction * trials,
            repeatability: self
                .cells
                .iter()
                .map(|cell| cell.moments().dof() * cell.moments().variance())
                .sum(),
        }
    }
}

/// Sums of squares.
struct Squares {
    part: f64,
    appraiser: f64,
    interaction: f64,
    repeatability: f64,
}

/// An effect against an error, each as squares and degrees of freedom.
fn effect(own: (f64, f64), error: (f64, f64)) -> Effect {
    let testable = own.1 > 0.0 && error.1 > 0.0 && error.0 > 0.0;
    let f = testable
        .then(|| own.0 / own.1 / (error.0 / error.1))
        .filter(|f| f.is_finite());
    Effect {
        squares: own.0,
        dof: own.1,
        f,
        p: f.map(|f| fisher_f(f, own.1, error.1).upper),
    }
}

/// Mean of at least one number.
fn mean(values: impl ExactSizeIterator<Item = f64>) -> f64 {
    let count = values.len() as f64;
    values.sum::<f64>() / count
}

fn range(values: &[f64]) -> f64 {
    let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = values.iter().copied().fold(f64::INFINITY, f64::min);
    greatest - least
}
