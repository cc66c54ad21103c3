//! Starts into a bank of capacitors whose current is a closed form: an RC
//! circuit charged through one resistance, i = V / R exp(-t / RC), Q = C V
//! (any textbook of circuits).

use super::seen::{Bank, InrushStart};
use crate::measurement::{Blame, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::{Proof, Take};
use crate::scenario::tests::made::{CURRENT, Flaws, HALF, VOLTAGE, VOLTS, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::seed::Stream;
use crate::units::{Farads, Volts};
use crate::waveform::Signal;
use crate::waveform::synthetic::{Sampling, ones};

/// A bank of 9400 uF behind 0.7 ohm in all and diodes of 1.4 V.
const CAPACITANCE: f64 = 9.4e-3;
const RESISTANCE: f64 = 0.7;
const DROP: f64 = 1.4;

/// Charge and peak of it, from the closed form.
const CHARGE: f64 = CAPACITANCE * (VOLTS - DROP);
const PEAK: f64 = (VOLTS - DROP) / RESISTANCE;

/// When the output is on, and how far the bank is charged then.
struct Made {
    /// Begin and end of each stretch.
    on: Vec<(f64, f64)>,
    sampling: Sampling,
    /// Share of the charge that the bank still lacks at the first stretch.
    empty: f64,
    /// The supply rail from a stated instant on.
    rail: (f64, f64),
    /// When the signal changes first, and the time constant by which the current
    /// follows it.
    phase: f64,
    follows: f64,
}

impl Made {
    fn fine(on: &[(f64, f64)]) -> Self {
        Self {
            on: on.to_vec(),
            sampling: Sampling {
                first: -2e-3,
                period: 2e-6,
                count: 31_000,
            },
            empty: 1.0,
            rail: (0.0, VOLTS),
            phase: 13e-6,
            follows: 0.0,
        }
    }

    fn coarse(on: &[(f64, f64)]) -> Self {
        let sampling = Sampling {
            first: -2e-3,
            period: 20e-6,
            count: 125_000,
        };
        Self {
            sampling,
            ..Self::fine(on)
        }
    }

    /// Seconds of charging behind the board at `t`.
    fn charged_for(&self, t: f64) -> f64 {
        let spans = self.on.iter().map(|&(from, to)| t.min(to) - from);
        spans.filter(|span| *span > 0.0).sum()
    }

    fn take(&self, chance: &mut Stream) -> Take {
        let on = |t: f64| self.on.iter().any(|&(from, to)| t >= from && t < to);
        let polarity = |t: f64| ones(t, self.phase, HALF);
        // 1 - 2 exp(-t / T) after a change: coil and resistance, from any textbook.
        let follows = |t: f64| {
            let since = (t - self.phase).rem_euclid(HALF);
            let still = match self.follows {
                0.0 => 0.0,
                constant => 2.0 * libm::exp(-since / constant),
            };
            polarity(t) * (1.0 - still)
        };
        let tau = RESISTANCE * CAPACITANCE;
        let mut capture = self.sampling.capture();
        capture.channels = vec![
            self.sampling
                .channel(Signal::NodeVoltage, VOLTAGE, chance, |t| {
                    if on(t) { 15.0 * polarity(t) } else { 0.0 }
                }),
            self.sampling
                .channel(Signal::OutputCurrent, CURRENT, chance, |t| {
                    let size = self.empty * PEAK * libm::exp(-self.charged_for(t) / tau);
                    if on(t) { size * follows(t) } else { 0.0 }
                }),
            self.sampling
                .channel(Signal::BoardSupply, still(VOLTAGE), chance, |t| {
                    if t < self.rail.0 { VOLTS } else { self.rail.1 }
                }),
        ];
        take(capture, 0.0, Proof::None)
    }
}

fn still(flaws: Flaws) -> Flaws {
    Flaws {
        gain_u: 0.0,
        offset_u: 0.0,
        ..flaws
    }
}

const FOR_EVER: f64 = 1e9;

fn judged(fine: Take, coarse: Take) -> Vec<Metric> {
    let starts = vec![InrushStart {
        repeat: 1,
        fine,
        coarse,
    }];
    let bank = Bank {
        capacitance: Farads::new(CAPACITANCE),
        drop: Volts::new(DROP),
    };
    evaluate(
        "inrush",
        &context(),
        &Observation::Inrush(crate::scenario::inrush::Seen { bank, starts }),
    )
}

fn of(coarse: &Made) -> Vec<Metric> {
    let fine = Made::fine(&[(0.0, FOR_EVER)]).take(&mut chance(&[70]));
    judged(fine, coarse.take(&mut chance(&[71])))
}

#[test]
fn a_clean_start_has_no_trip_and_takes_no_time() {
    let metrics = of(&Made::coarse(&[(0.0, FOR_EVER)]));
    assert_eq!(value(&metrics, "starts", "").value, 1.0);
    assert_eq!(value(&metrics, "nuisance_trips", "").value, 0.0);
    assert_eq!(value(&metrics, "time_to_start", "").value, 0.0);
}

/// Peak and charge lie within U of the closed forms about nineteen times in
/// twenty.
#[test]
fn peak_and_charge_are_the_closed_forms() {
    const DRAWS: u64 = 60;
    let mut inside = [0, 0];
    let coarse = Made::coarse(&[(0.0, FOR_EVER)]).take(&mut chance(&[72]));
    // What the close look leaves of the charge after 60 ms, nine time constants.
    let tau = RESISTANCE * CAPACITANCE;
    let charge = CHARGE * (1.0 - libm::exp(-0.060 / tau));
    for draw in 0..DRAWS {
        let fine = Made::fine(&[(0.0, FOR_EVER)]).take(&mut chance(&[73, draw]));
        let metrics = judged(fine, coarse.clone());
        for (hits, (key, truth)) in inside
            .iter_mut()
            .zip([("peak_current", PEAK), ("charge", charge)])
        {
            let found = value(&metrics, key, "");
            *hits += u32::from((found.value - truth).abs() <= found.expanded());
            assert!(found.u < 0.02 * truth, "{found:?}");
        }
    }
    // Binomial with p = 0.954: below 51 of 60 comes about once in 10^3.
    assert!(inside.iter().all(|hits| *hits >= 51), "{inside:?}");
}

/// A channel that shows another current: the close look shows the same bank, and its
/// noise is no charge.
#[test]
fn a_bank_that_takes_nothing_has_neither_peak_nor_charge() {
    let nothing = Made {
        empty: 1e-3,
        ..Made::coarse(&[(0.0, FOR_EVER)])
    };
    let fine = Made {
        empty: 1e-3,
        ..Made::fine(&[(0.0, FOR_EVER)])
    };
    let metrics = judged(
        fine.take(&mut chance(&[74])),
        nothing.take(&mut chance(&[75])),
    );
    for found in &metrics {
        let Finding::Unknown { blame, reason } = &found.finding else {
            panic!("{found:?}");
        };
        assert_eq!(*blame, Blame::Bench, "{reason}");
    }
}

/// The current follows each change of sign by 3 us, which takes 2 x 3 us of a half-bit
/// from the charge. A signal that lasts whole periods of the sampling errs alike at
/// each change, by the phase at the start; one that does not averages that out.
#[test]
fn changes_in_step_with_the_sampling_err_alike() {
    const DRAWS: u64 = 40;
    const FOLLOWS: f64 = 3e-6;
    let coarse = Made::coarse(&[(0.0, FOR_EVER)]).take(&mut chance(&[74]));
    let tau = RESISTANCE * CAPACITANCE;
    let whole = CHARGE * (1.0 - libm::exp(-0.060 / tau));
    let truth = whole * (1.0 - 2.0 * FOLLOWS / HALF);
    let of = |period: f64| -> (f64, f64) {
        let found = (0..DRAWS).map(|draw| {
            let mut made = Made::fine(&[(0.0, FOR_EVER)]);
            made.sampling.period = period;
            made.phase = 13e-6 + draw as f64 / DRAWS as f64 * 2.0 * HALF;
            made.follows = FOLLOWS;
            let fine = made.take(&mut chance(&[75, draw]));
            value(&judged(fine, coarse.clone()), "charge", "")
        });
        let parts = found.map(|found| {
            let error = (found.value - truth) / found.u;
            (error * error, found.u)
        });
        let sums = parts.fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
        (libm::sqrt(sums.0 / DRAWS as f64), sums.1 / DRAWS as f64)
    };
    let (in_step, out_of_step) = (of(2e-6), of(2.03e-6));
    assert!((0.5..1.5).contains(&in_step.0), "{in_step:?}");
    assert!(out_of_step.0 < 1.5, "{out_of_step:?}");
    assert!(
        in_step.1 > 1.2 * out_of_step.1,
        "{in_step:?} {out_of_step:?}"
    );
}

/// A board that trips on the inrush and starts at its second retry, into
/// charged capacitors.
#[test]
fn each_retry_is_seen() {
    let metrics = of(&Made::coarse(&[
        (0.0, 3e-3),
        (0.503, 0.506),
        (1.006, FOR_EVER),
    ]));
    assert_eq!(value(&metrics, "starts", "").value, 1.0);
    assert_eq!(value(&metrics, "nuisance_trips", "").value, 2.0);
    let time = value(&metrics, "time_to_start", "");
    assert!((time.value - 1.006).abs() <= time.expanded(), "{time:?}");
    assert!(time.u < 20e-6, "{time:?}");
    let notes = &metric(&metrics, "starts", "").notes;
    assert!(notes[1].starts_with("on at 503"), "{notes:?}");
}

/// Trips for ever: no start, and trips and time are bounds from below.
#[test]
fn a_board_that_never_recovers_is_censored() {
    let on: Vec<(f64, f64)> = (0..5)
        .map(|k| (0.5 * f64::from(k), 0.5 * f64::from(k) + 3e-3))
        .collect();
    let metrics = of(&Made::coarse(&on));
    assert_eq!(value(&metrics, "starts", "").value, 0.0);
    let above = |key: &str, least: f64| {
        let found = metric(&metrics, key, "");
        assert!(
            matches!(&found.finding, Finding::Above(e) if (e.value - least).abs() < 1e-3),
            "{found:?}"
        );
    };
    above("nuisance_trips", 5.0);
    above("time_to_start", 2.498);
}

/// The last retry has lasted no longer than those that failed: undecided.
#[test]
fn a_retry_cut_off_by_the_end_decides_nothing() {
    let on = [(0.0, 3e-3), (0.5, 0.503), (2.4965, FOR_EVER)];
    let metrics = of(&Made::coarse(&on));
    let found = metric(&metrics, "starts", "");
    assert!(
        matches!(
            &found.finding,
            Finding::Unknown {
                blame: Blame::Plan,
                ..
            }
        ),
        "{found:?}"
    );
}

#[test]
fn what_proves_nothing_says_whose_fault_it_is() {
    let blamed = |made: &Made, word: &str, whose: Blame| {
        let metrics = of(made);
        let found = metric(&metrics, "nuisance_trips", "");
        let Finding::Unknown { reason, blame } = &found.finding else {
            panic!("{word}: {found:?}");
        };
        assert!(reason.contains(word), "{reason}");
        assert_eq!(*blame, whose, "{reason}");
    };
    // The bank is not there, or still charged.
    let full = Made {
        empty: 0.02,
        ..Made::coarse(&[(0.0, FOR_EVER)])
    };
    blamed(&full, "not connected or not empty", Blame::Bench);
    // The rail gives way first, then the output.
    let weak = Made {
        rail: (2e-3, 5.0),
        ..Made::coarse(&[(0.0, 3e-3)])
    };
    blamed(&weak, "does not carry the inrush", Blame::Bench);
    blamed(&Made::coarse(&[]), "never came on", Blame::Board);
    let dead = of(&Made::coarse(&[]));
    assert_eq!(value(&dead, "starts", "").value, 0.0);
}
