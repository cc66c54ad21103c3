//! Studies: analysis of variance, the measurement system, risks of production.

use super::super::anova::one_way;
use super::super::gauge::GaugeStudy;
use super::super::risk::{Production, conformance_probability, global_risk};
use super::super::{Sample, StatisticsFault, ToleranceLimits};
use super::data::SIRSTV;
use super::{close, printed, sample};

/// NIST Statistical Reference Datasets, one-way analysis of variance: certified
/// values; the tolerances are what double precision reaches.
#[test]
fn one_way_tables_are_those_certified() {
    let resistivity: Vec<Sample> = SIRSTV.iter().map(|group| sample(group)).collect();
    let constructed = |repeat: usize| -> Vec<Sample> {
        [1.4, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5, 1.3, 1.5]
            .iter()
            .map(|first: &f64| {
                // The data file prints one place.
                let tenth = |x: f64| (x * 10.0).round() / 10.0;
                let mut values = vec![*first];
                for _ in 0..repeat {
                    values.extend([tenth(first - 0.1), tenth(first + 0.1)]);
                }
                sample(&values)
            })
            .collect()
    };
    for (groups, between, within, f, r_squared, residual, tolerance) in [
        (
            resistivity,
            5.11462616000000e-2,
            2.16636560000000e-1,
            1.18046237440255,
            1.90999039051129e-1,
            1.04076068334656e-1,
            1e-10,
        ),
        (
            constructed(10),
            1.68,
            1.8,
            21.0,
            0.482758620689655,
            0.1,
            1e-13,
        ),
        (
            constructed(100),
            16.08,
            18.0,
            201.0,
            0.471830985915493,
            0.1,
            1e-12,
        ),
    ] {
        let table = one_way(&groups).expect("they vary");
        close(table.between, between, tolerance);
        close(table.within, within, tolerance);
        close(table.f, f, tolerance);
        close(table.r_squared, r_squared, tolerance.max(3e-15));
        close(table.residual_sd, residual, tolerance);
    }
    let flat = [sample(&[1.0, 1.0]), sample(&[2.0, 2.0])];
    assert_eq!(one_way(&flat), Err(StatisticsFault::NoSpread));
}

/// AIAG, "Measurement Systems Analysis", 4th edition (2010), 10 parts, 3
/// appraisers, 3 trials: data and results from memory, reproduced elsewhere.
fn manual() -> GaugeStudy {
    // By appraiser and trial, parts across, as the manual prints them.
    let printed = [
        [
            [
                0.29, -0.56, 1.34, 0.47, -0.8, 0.02, 0.59, -0.31, 2.26, -1.36,
            ],
            [
                0.41, -0.68, 1.17, 0.5, -0.92, -0.11, 0.75, -0.2, 1.99, -1.25,
            ],
            [
                0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31,
            ],
        ],
        [
            [
                0.08, -0.47, 1.19, 0.01, -0.56, -0.2, 0.47, -0.63, 1.8, -1.68,
            ],
            [0.25, -1.22, 0.94, 1.03, -1.2, 0.22, 0.55, 0.08, 2.12, -1.62],
            [0.07, -0.68, 1.34, 0.2, -1.28, 0.06, 0.83, -0.34, 2.19, -1.5],
        ],
        [
            [
                0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49,
            ],
            [
                -0.11, -1.13, 1.09, 0.2, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77,
            ],
            [
                -0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16,
            ],
        ],
    ];
    let mut readings = Vec::new();
    for appraiser in &printed {
        for part in 0..10 {
            readings.extend(appraiser.iter().map(|trial| trial[part]));
        }
    }
    GaugeStudy::new(3, 10, 3, &readings).expect("complete")
}

/// The manual rounds K1, K2, K3 to four places and its intermediate results,
/// which full precision misses by up to 2.4e-4 of each.
#[test]
fn averages_and_ranges_of_the_manual() {
    let variation = manual().average_and_range().expect("it varies");
    close(variation.repeatability, 0.20188, 2e-4);
    close(variation.reproducibility, 0.22963, 3e-4);
    close(variation.measurement, 0.30575, 2e-4);
    close(variation.part, 1.10456, 2e-4);
    close(variation.total, 1.1461, 2e-4);
    printed(100.0 * variation.share_of_total(), 26.68, 2);
    assert_eq!(variation.distinct_categories, Some(5));
}

/// Sums of squares as the manual prints them; full precision by NumPy, F and p
/// by SciPy.
#[test]
fn analysis_of_variance_of_the_manual() {
    let pooled = manual().anova(0.25).expect("it varies");
    assert!(pooled.pooled);
    close(pooled.part.squares, 88.36193444444447, 1e-12);
    close(pooled.appraiser.squares, 3.167262222222221, 1e-12);
    close(pooled.interaction.squares, 0.35898222222218035, 1e-11);
    close(pooled.repeatability.squares, 2.7589333333333337, 1e-12);
    close(pooled.repeatability_variance, 0.03997327635327582, 1e-12);
    close(pooled.appraiser_variance, 0.05145526115859449, 1e-12);
    close(pooled.part_variance, 1.0864466044106789, 1e-12);
    close(pooled.part.f.expect("testable"), 245.61391038552682, 1e-11);
    close(
        pooled.part.p.expect("testable"),
        2.0210117945184676e-53,
        1e-9,
    );
    close(
        pooled.appraiser.p.expect("testable"),
        1.3375946238361666e-12,
        1e-9,
    );
    close(
        pooled.interaction.f.expect("testable"),
        0.43372103013505253,
        1e-11,
    );
    close(
        pooled.interaction.p.expect("testable"),
        0.9741064043290617,
        1e-11,
    );
    // The manual rounds intermediate results.
    assert!((pooled.variation.measurement - 0.302373).abs() < 4e-5);
    assert!((pooled.variation.part - 1.042327).abs() < 4e-5);

    let full = manual().anova(0.99).expect("it varies");
    assert!(!full.pooled);
    close(full.repeatability_variance, 0.04598222222222223, 1e-12);
    close(full.appraiser_variance, 0.05212292181069965, 1e-12);
    assert_eq!(full.interaction_variance, 0.0);
    close(full.part_variance, 1.088672139917696, 1e-12);
    close(full.part.f.expect("testable"), 492.29142266413254, 1e-11);
    close(
        full.appraiser.p.expect("testable"),
        1.1744776063399342e-9,
        1e-9,
    );
}

/// E. L. Cano, J. M. Moguerza and A. Redchuk, "Six Sigma with R" (2012),
/// chapter 5: sums of squares by R 4.2.2 `aov`.
#[test]
fn analysis_of_variance_of_the_batteries() {
    let readings = [
        1.27, 0.9, 1.09, 1.12, 1.09, 1.15, 1.73, 1.28, 1.77, 1.34, 1.32, 1.27, 1.24, 1.0, 1.14,
        1.64, 1.65, 1.77, 1.09, 1.26, 1.09, 1.48, 1.15, 1.15, 1.64, 1.44, 1.68,
    ];
    let study = GaugeStudy::new(3, 3, 3, &readings).expect("complete");
    let full = study.anova(0.99).expect("it varies");
    close(full.part.squares, 1.200718518518519, 1e-12);
    close(full.appraiser.squares, 0.052940740740740726, 1e-12);
    close(full.interaction.squares, 0.0833925925925918, 1e-11);
    close(full.repeatability.squares, 0.3854000000000001, 1e-12);
    close(full.part.p.expect("testable"), 0.004217448072084275, 1e-10);
    close(
        full.appraiser.p.expect("testable"),
        0.37415438988185573,
        1e-10,
    );
    close(full.part_variance, 0.06439012345679017, 1e-11);
    let pooled = study.anova(0.25).expect("it varies");
    close(pooled.repeatability_variance, 0.021308754208754176, 1e-12);
    close(pooled.appraiser_variance, 0.0005735129068462429, 1e-10);
    close(pooled.part.p.expect("testable"), 8.55668800517763e-7, 1e-10);
}

#[test]
fn a_study_with_one_appraiser_has_no_reproducibility() {
    let study = GaugeStudy::new(1, 3, 2, &[1.0, 1.1, 2.0, 2.1, 3.0, 2.9]).expect("complete");
    let table = study.anova(0.25).expect("it varies");
    // Mean square within is 0.005, between parts 1.8067, by hand.
    close(table.repeatability_variance, 0.005, 1e-12);
    close(table.part.squares, 3.6133333333333333, 1e-12);
    assert_eq!(table.variation.reproducibility, 0.0);
    assert!(table.appraiser.f.is_none());
    let ranges = study.average_and_range().expect("it varies");
    close(ranges.repeatability, 0.1 / 1.1283791670955126, 1e-12);
    close(
        ranges.share_of_tolerance(2.0).expect("sound"),
        3.0 * ranges.measurement,
        1e-15,
    );
    assert_eq!(
        GaugeStudy::new(2, 3, 2, &[0.0; 11]),
        Err(StatisticsFault::Unbalanced)
    );
    let flat = GaugeStudy::new(2, 2, 2, &[5.0; 8]).expect("complete");
    assert_eq!(flat.average_and_range(), Err(StatisticsFault::NoSpread));
    assert_eq!(flat.anova(0.25), Err(StatisticsFault::NoSpread));
}

/// The precision resistor of JCGM 106:2012, 9.5 (inputs from memory): risks by
/// quadrature and by the bivariate normal distribution (SciPy).
#[test]
fn global_risks_of_the_resistors() {
    let limits = ToleranceLimits::new(Some(1499.8), Some(1500.2)).expect("in order");
    for (uncertainty, guard, consumer, producer) in [
        (0.02, 0.0, 0.011143497751052021, 0.01574108743171907),
        (0.02, 0.04, 0.00025646652265345926, 0.093121179219753),
        (0.02, 0.08, 2.2322672601695781e-7, 0.22835936427922518),
        (0.04, 0.0, 0.01894220671694175, 0.037207800177953596),
        (0.04, 0.06, 0.0015753532011314882, 0.17437627594783078),
        (0.06, 0.02, 0.016364005796567577, 0.10049579612964214),
        (0.06, 0.08, 0.003054075669815355, 0.27856674064630155),
    ] {
        let production = Production {
            mean: 1500.0,
            sd: 0.12,
            uncertainty,
        };
        let risk = global_risk(&production, &limits, guard).expect("sound");
        close(risk.consumer, consumer, 1e-9);
        close(risk.producer, producer, 1e-9);
        close(risk.nonconforming, 0.0955807045455539, 1e-9);
    }
}

/// Without uncertainty nothing is misjudged, except what the guard band cuts
/// off: the share of the process between limit and guard.
#[test]
fn an_exact_bench_takes_no_risk() {
    let production = Production {
        mean: 0.0,
        sd: 1.0,
        uncertainty: 0.0,
    };
    let limits = ToleranceLimits::new(None, Some(2.0)).expect("one is enough");
    let plain = global_risk(&production, &limits, 0.0).expect("sound");
    assert_eq!((plain.consumer, plain.producer), (0.0, 0.0));
    let guarded = global_risk(&production, &limits, 1.0).expect("sound");
    // Normal distribution between 1 and 2, from any table.
    close(guarded.producer, 0.135905121983278, 1e-12);
    let both = ToleranceLimits::new(Some(-2.0), Some(2.0)).expect("in order");
    assert!(global_risk(&production, &both, 2.0).is_err());
}

/// JCGM 106:2012, clause 7, worked examples (from memory).
#[test]
fn probabilities_of_conformance() {
    let upper = ToleranceLimits::new(None, Some(-5.4)).expect("one is enough");
    let p = conformance_probability(-5.47, 0.05, &upper).expect("sound");
    printed(p, 0.92, 2);
    close(p, 0.9192433407662273, 1e-12);
    let lower = ToleranceLimits::new(Some(490.0), None).expect("one is enough");
    let p = conformance_probability(509.7, 8.6, &lower).expect("sound");
    printed(p, 0.99, 2);
    close(p, 0.9890095473848222, 1e-12);
}
