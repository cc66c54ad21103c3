//! A supply rail under a load that is stepped up: the rail's truth is a source
//! with a resistance, and an end of its strength that is given.

use super::seen::SupplyStep;
use crate::measurement::{Blame, Estimate, Finding, Metric};
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::take::Proof;
use crate::scenario::tests::made::{Flaws, VOLTAGE, VOLTS, chance, context, take};
use crate::scenario::tests::{metric, value};
use crate::seed::Stream;
use crate::units::Amperes;
use crate::waveform::Signal;
use crate::waveform::synthetic::Sampling;

/// Resistance of the source: 18 V - 0.05 ohm x I.
const SOURCE: f64 = 0.05;
/// Beside the trip current of 4 A.
const STEPS: [f64; 6] = [2.0, 3.0, 3.6, 3.8, 4.2, 4.4];

#[derive(Clone, Copy)]
enum Weak {
    /// It folds and stays down.
    Folds,
    /// It rests for 0.6 s and tries for 0.1 s, over and over.
    Rests,
    /// It comes back once, late in the hold.
    Once,
}

fn step(asked: f64, strength: f64, weak: Weak, chance: &mut Stream) -> SupplyStep {
    let sampling = Sampling {
        first: 0.0,
        period: 200e-6,
        count: 15_000,
    };
    let up = |t: f64| match weak {
        _ if asked < strength => true,
        Weak::Folds => false,
        Weak::Rests => t.rem_euclid(0.7) > 0.6,
        Weak::Once => t > 2.9,
    };
    let still = Flaws {
        gain_u: 0.0,
        offset_u: 0.0,
        ..VOLTAGE
    };
    let mut capture = sampling.capture();
    let mut rail = sampling.channel(Signal::BoardSupply, still, chance, |t| {
        if up(t) { VOLTS - SOURCE * asked } else { 2.0 }
    });
    rail.accuracy.gain_u = VOLTAGE.gain_u;
    rail.accuracy.offset_u = VOLTAGE.offset_u;
    capture.channels = vec![rail];
    SupplyStep {
        current: Amperes::new(asked),
        resistive: false,
        drawn: (asked > 0.0).then(|| Estimate::new(asked - 0.003, 0.008)),
        take: take(capture, 0.0, Proof::None),
    }
}

/// The steps up to the first that fails, as the procedure takes them.
fn steps(strength: f64, weak: Weak) -> Vec<SupplyStep> {
    let mut chance = chance(&[80]);
    let mut steps = vec![step(0.0, strength, weak, &mut chance)];
    for asked in STEPS {
        steps.push(step(asked, strength, weak, &mut chance));
        if asked >= strength {
            break;
        }
    }
    steps
}

fn judged(steps: Vec<SupplyStep>) -> Vec<Metric> {
    evaluate(
        "supply",
        &context(),
        &Observation::Supply(crate::scenario::supply::Seen { steps }),
    )
}

#[test]
fn a_strong_supply_is_a_bound() {
    let metrics = judged(steps(40.0, Weak::Folds));
    let found = metric(&metrics, "delivered_current", "");
    assert!(
        matches!(&found.finding, Finding::Above(e) if (e.value - 4.397).abs() < 1e-9),
        "{found:?}"
    );
    let droop = value(&metrics, "droop", "");
    assert!(
        (droop.value - SOURCE * 4.4).abs() <= droop.expanded(),
        "{droop:?}"
    );
    assert!(droop.u < 0.1, "{droop:?}");
    assert_eq!(value(&metrics, "hiccup", "").value, 0.0);
    assert_eq!(value(&metrics, "trip_reachable", "").value, 1.0);
}

/// For every strength the verdict is what the strength says, undecided only
/// between the two steps beside the trip current.
#[test]
fn the_trip_current_is_reached_or_not() {
    for strength in [2.5, 3.3, 3.7, 3.79, 3.9, 4.1, 4.21, 4.3, 9.0] {
        let metrics = judged(steps(strength, Weak::Folds));
        let found = metric(&metrics, "trip_reachable", "");
        match &found.finding {
            Finding::Value(e) => assert_eq!(e.value == 1.0, strength > 4.0, "{strength}"),
            Finding::Unknown { .. } => assert!((3.8..=4.2).contains(&strength), "{strength}"),
            other => panic!("{strength}: {other:?}"),
        }
        let delivered = metric(&metrics, "delivered_current", "");
        if let Finding::Value(e) = &delivered.finding {
            let holds = STEPS.into_iter().filter(|asked| *asked < strength);
            let most = holds.fold(0.0, f64::max);
            assert!((e.value - most).abs() <= 2.0 * e.u, "{strength} {e:?}");
        }
    }
    let none = judged(steps(1.0, Weak::Folds));
    let found = metric(&none, "delivered_current", "");
    assert!(
        matches!(&found.finding, Finding::Below(e) if e.value == 2.0),
        "{found:?}"
    );
    assert_eq!(value(&none, "trip_reachable", "").value, 0.0);
}

/// A step that lies at the trip current decides nothing, within U of it.
#[test]
fn within_u_of_the_trip_current_nothing_is_decided() {
    let mut chance = chance(&[81]);
    for (asked, sure) in [(4.0, false), (4.01, false), (4.02, true)] {
        let seen = [0.0, asked].map(|a| step(a, 40.0, Weak::Folds, &mut chance));
        let metrics = judged(seen.into());
        let found = metric(&metrics, "trip_reachable", "");
        let known = matches!(found.finding, Finding::Value(_));
        assert_eq!(known, sure, "{asked}: {found:?}");
    }
}

#[test]
fn a_supply_that_rests_and_tries_again_hiccups() {
    let rests = judged(steps(3.1, Weak::Rests));
    assert_eq!(value(&rests, "hiccup", "").value, 1.0);
    assert_eq!(value(&rests, "trip_reachable", "").value, 0.0);
    let folds = judged(steps(3.1, Weak::Folds));
    assert_eq!(value(&folds, "hiccup", "").value, 0.0);
    let once = judged(steps(3.1, Weak::Once));
    let found = metric(&once, "hiccup", "");
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
    let blamed = |steps: Vec<SupplyStep>, word: &str| {
        for found in judged(steps) {
            let Finding::Unknown { reason, blame } = &found.finding else {
                panic!("{word}: {found:?}");
            };
            assert!(reason.contains(word), "{reason}");
            assert_eq!(*blame, Blame::Bench);
        }
    };
    let mut idle = steps(40.0, Weak::Folds);
    idle[3].drawn = Some(Estimate::new(0.01, 0.006));
    blamed(idle, "drew only 10.00 mA when asked for 3.600 A");
    let mut silent = steps(40.0, Weak::Folds);
    silent[2].drawn = None;
    blamed(silent, "gave no reading");
    let mut dead = steps(40.0, Weak::Folds);
    dead[0] = SupplyStep {
        current: Amperes::ZERO,
        ..step(5.0, 4.0, Weak::Folds, &mut chance(&[82]))
    };
    blamed(dead, "too low before anything is drawn");
}
