//! A case that warms up by theta(t) = R P (1 - exp(-t / tau)) over its ambient
//! (one thermal resistance and one heat capacity; any textbook of heat), read
//! by a thermometer with errors.

use super::seen::{CaseReading, SoakLook, Soaked};
use crate::measurement::{Blame, Estimate, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::Polarity;
use crate::scenario::tests::made::{CURRENT, Flaws, HALF, VOLTAGE, VOLTS, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::seed::Stream;
use crate::units::{Amperes, Seconds};
use crate::waveform::Signal;
use crate::waveform::synthetic::{Sampling, ones};

/// What the thermometer may be off by, as a standard uncertainty: 0.5 K as a
/// rectangle.
const PROBE_U: f64 = 0.29;

#[derive(Clone, Copy)]
struct Made {
    /// R P in kelvins.
    rise: f64,
    tau: f64,
    ambient: f64,
    /// Still warm by this much when the rest begins.
    warm: f64,
    length: f64,
    noise: f64,
    /// A second, slower part of the rise, as a share, and its time constant.
    second: (f64, f64),
    /// Volts that the output loses by the end, and when it goes dead.
    drift: f64,
    dead: f64,
}

const MADE: Made = Made {
    rise: 10.0,
    tau: 60.0,
    ambient: 24.0,
    warm: 0.0,
    length: 240.0,
    noise: 0.01,
    second: (0.0, 1.0),
    drift: 0.0,
    dead: f64::INFINITY,
};

impl Made {
    /// The case at `t` seconds under load; negative before it.
    fn truth(&self, t: f64) -> f64 {
        if t < 0.0 {
            return self.ambient + self.warm * libm::exp(-(t + 60.0) / self.tau);
        }
        let left = self.warm * libm::exp(-(t + 60.0) / self.tau);
        let (share, slow) = self.second;
        let grown = |tau: f64| -libm::expm1(-t / tau);
        let rise = (1.0 - share) * grown(self.tau) + share * grown(slow);
        self.ambient + left + self.rise * rise
    }

    fn reading(&self, t: f64, error: f64, chance: &mut Stream) -> CaseReading {
        let shown = self.truth(t) + error + self.noise * chance.normal();
        CaseReading {
            at: Seconds::new(t),
            temperature: Some(Estimate::new(libm::round(shown * 100.0) / 100.0, PROBE_U)),
        }
    }

    fn soaked(&self, error: f64, chance: &mut Stream) -> Soaked {
        let count = libm::round(self.length / 10.0) as u32;
        let rest = (0..=6)
            .map(|k| self.reading(f64::from(k) * 10.0 - 60.5, error, chance))
            .collect();
        let looks = (0..=count)
            .map(|k| f64::from(k) * 10.0)
            .map(|t| SoakLook {
                case: self.reading(t, error, chance),
                take: self.output(t, chance),
            })
            .collect();
        Soaked {
            drive: Polarity::Alternating,
            current: Amperes::new(3.0),
            rest,
            looks,
        }
    }

    fn output(&self, t: f64, chance: &mut Stream) -> Take {
        let sampling = Sampling {
            first: 0.0,
            period: 2e-6,
            count: 1000,
        };
        let level = if t >= self.dead {
            0.0
        } else {
            VOLTS - self.drift * t / self.length
        };
        let amperes = if t >= self.dead { 0.0 } else { 3.0 };
        let same = |flaws: Flaws| Flaws {
            gain_u: 0.0,
            offset_u: 0.0,
            ..flaws
        };
        let mut capture = sampling.capture();
        capture.channels = vec![
            sampling.channel(Signal::NodeVoltage, same(VOLTAGE), chance, |s| {
                level * ones(s, 0.0, HALF)
            }),
            sampling.channel(Signal::OutputCurrent, same(CURRENT), chance, |s| {
                amperes * ones(s, 0.0, HALF)
            }),
        ];
        take(capture, 0.0, Proof::None)
    }

    fn metrics(&self, key: u64) -> Vec<Metric> {
        judged(self.soaked(0.0, &mut chance(&[90, key])))
    }
}

fn judged(soaked: Soaked) -> Vec<Metric> {
    let soaks = vec![soaked];
    evaluate(
        "soak",
        &context(),
        &Observation::Soak(crate::scenario::soak::Seen { soaks }),
    )
}

const AT: &str = "alternating";

/// Rise and time constant come back within U about nineteen times in twenty,
/// for records of two and a half time constants and more, the thermometer's
/// error drawn anew at each end.
#[test]
fn the_closed_form_comes_back() {
    const DRAWS: u64 = 200;
    let (mut rises, mut constants) = (0, 0);
    for draw in 0..DRAWS {
        let mut chance = chance(&[91, draw]);
        let made = Made {
            rise: 8.0 + 30.0 * chance.uniform(),
            tau: 40.0 + 50.0 * chance.uniform(),
            ambient: 15.0 + 15.0 * chance.uniform(),
            noise: 0.03,
            ..MADE
        };
        let metrics = judged(made.soaked(0.3, &mut chance));
        let rise = value(&metrics, "temperature_rise", AT);
        let constant = value(&metrics, "thermal_time_constant", AT);
        rises += u32::from((rise.value - made.rise).abs() <= rise.expanded());
        constants += u32::from((constant.value - made.tau).abs() <= constant.expanded());
        assert!(
            rise.u < 1.0 && constant.u < 0.06 * made.tau,
            "{rise:?} {constant:?}"
        );
    }
    // The thermometer's error is common here and cancels, so the rise's U is
    // wide; binomial with p = 0.954: below 180 of 200 comes once in 10^3.
    assert!(rises >= 180, "{rises}");
    assert!(constants >= 180, "{constants}");
}

/// A board still warm from what came before: its ambient is where it cools to.
#[test]
fn the_ambient_is_what_the_rest_leads_to() {
    let warm = Made { warm: 4.0, ..MADE };
    // After a minute of rest 1.5 K of it are left.
    assert!((warm.truth(-0.5) - warm.ambient - 1.48).abs() < 0.02);
    let metrics = warm.metrics(0);
    let rise = value(&metrics, "temperature_rise", AT);
    assert!(
        (rise.value - warm.rise).abs() <= rise.expanded(),
        "{rise:?}"
    );
    assert!((rise.value - warm.rise).abs() < 0.6, "{rise:?}");
}

/// A record of too few time constants gives what it saw, as a bound.
#[test]
fn a_short_record_is_not_extrapolated() {
    for (made, word) in [
        (Made { tau: 200.0, ..MADE }, "time constants long"),
        (
            Made {
                tau: 900.0,
                noise: 0.0,
                ..MADE
            },
            "",
        ),
        (Made { noise: 2.0, ..MADE }, ""),
        (
            Made {
                second: (0.5, 300.0),
                ..MADE
            },
            "",
        ),
    ] {
        let metrics = made.metrics(1);
        let found = metric(&metrics, "temperature_rise", AT);
        let Finding::Above(least) = &found.finding else {
            panic!("{found:?}");
        };
        let seen = made.truth(made.length) - made.ambient;
        let within = 0.3 + 4.0 * made.noise;
        assert!((least.value - seen).abs() < within, "{found:?}");
        assert!(
            found.notes.iter().any(|note| note.contains(word)),
            "{found:?}"
        );
        let constant = metric(&metrics, "thermal_time_constant", AT);
        assert!(
            matches!(
                &constant.finding,
                Finding::Unknown {
                    blame: Blame::Plan,
                    ..
                }
            ),
            "{constant:?}"
        );
    }
}

#[test]
fn the_output_drifts_by_what_it_loses() {
    let metrics = Made { drift: 0.2, ..MADE }.metrics(2);
    let drift = value(&metrics, "output_drift", AT);
    assert!((drift.value - 0.2).abs() <= drift.expanded(), "{drift:?}");
    assert!(drift.u < 0.05, "{drift:?}");
    let steady = value(&MADE.metrics(3), "output_drift", AT);
    assert!(steady.value < steady.expanded(), "{steady:?}");
}

/// A board that switches off on the way: it drifted by all of its voltage, and
/// its temperature is a bound that the board is to blame for.
#[test]
fn a_board_that_gives_up_is_a_fail_of_the_drift() {
    let metrics = Made { dead: 85.0, ..MADE }.metrics(4);
    let drift = value(&metrics, "output_drift", AT);
    assert!((drift.value - VOLTS).abs() < 0.1, "{drift:?}");
    let found = metric(&metrics, "temperature_rise", AT);
    assert!(
        matches!(&found.finding, Finding::Above(e) if e.value > 7.0),
        "{found:?}"
    );
    let constant = metric(&metrics, "thermal_time_constant", AT);
    assert!(
        matches!(
            &constant.finding,
            Finding::Unknown {
                blame: Blame::Board,
                ..
            }
        ),
        "{constant:?}"
    );
}

#[test]
fn no_thermometer_leaves_the_drift_alone() {
    let mut soaked = MADE.soaked(0.0, &mut chance(&[92]));
    for look in &mut soaked.looks {
        look.case.temperature = None;
    }
    let metrics = judged(soaked);
    let found = metric(&metrics, "temperature_rise", AT);
    assert!(
        matches!(
            &found.finding,
            Finding::Unknown {
                blame: Blame::Bench,
                ..
            }
        ),
        "{found:?}"
    );
    value(&metrics, "output_drift", AT);
}
