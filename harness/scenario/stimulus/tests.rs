//! A right stimulus is let through, a wrong one is the bench's, and what a board
//! does with a right one is never taken for a wrong one. Waveforms are made from
//! closed forms.

use super::*;
use crate::scenario::list::{Observation, evaluate};
use crate::scenario::terms::Polarity;
use crate::scenario::tests::hostile::everything;
use crate::scenario::tests::made::{CURRENT, HALF, VOLTAGE, VOLTS, chance, context, loose};
use crate::scenario::{load, signal};
use crate::seed::Stream;
use crate::units::Seconds;
use crate::waveform::synthetic::{Sampling, ones};

const SAMPLING: Sampling = Sampling {
    first: 0.0,
    period: 2e-6,
    count: 2000,
};

/// An alternating output of `volts` that carries `amperes` behind a rail, in
/// every instant of which `alive` says so.
fn take(
    chance: &mut Stream,
    (rail, volts, amperes): (f64, f64, f64),
    alive: impl Fn(f64) -> bool,
) -> Take {
    let side = |t: f64| if alive(t) { ones(t, 11e-6, HALF) } else { 0.0 };
    let mut capture = SAMPLING.capture();
    capture.channels = vec![
        SAMPLING.channel(Signal::NodeVoltage, VOLTAGE, chance, |t| volts * side(t)),
        SAMPLING.channel(Signal::OutputCurrent, CURRENT, chance, |t| {
            amperes * side(t)
        }),
        SAMPLING.channel(Signal::BoardSupply, VOLTAGE, chance, |_| rail),
    ];
    loose(capture)
}

fn always(_: f64) -> bool {
    true
}

/// What is said of a take in which `load` was asked for at the rated voltage.
fn said(take: &Take, load: Load) -> Vec<String> {
    let asked = Asked {
        take,
        rail: Rail::Rated,
        load,
        inputs: Inputs::Driven(Polarity::Alternating),
        output: Output::Follows,
    };
    departures(&asked, &context()).collect()
}

fn amperes(value: f64) -> Amperes {
    Amperes::new(value)
}

#[test]
fn what_was_asked_is_let_through() {
    let mut chance = chance(&[1]);
    for asked in [0.0, 0.3, 1.5, 3.0] {
        let take = take(&mut chance, (VOLTS, 17.4, asked), always);
        assert_eq!(said(&take, Load::Current(amperes(asked))), [""; 0]);
    }
    // 3 A at 18 V are 2.9 A at 17.4 V: Ohm's law.
    let take = take(&mut chance, (VOLTS, 17.4, 2.9), always);
    assert_eq!(said(&take, Load::Resistance(amperes(3.0))), [""; 0]);
}

#[test]
fn what_was_not_asked_is_named() {
    let mut chance = chance(&[2]);
    for (asked, flowed) in [(3.0, 0.0), (3.0, 1.5), (1.5, 3.0), (0.0, 0.5), (3.0, 3.6)] {
        let take = take(&mut chance, (VOLTS, 17.4, flowed), always);
        for load in [
            Load::Current(amperes(asked)),
            Load::Resistance(amperes(asked)),
        ] {
            let said = said(&take, load);
            assert_eq!(
                said.len(),
                1,
                "{asked} A asked, {flowed} A flowed: {said:?}"
            );
            assert!(said[0].contains("were asked of the load"), "{said:?}");
        }
    }
    for rail in [30.0, 19.0, 16.0, 12.0, 0.0] {
        let take = take(&mut chance, (rail, 17.4, 3.0), always);
        let said = said(&take, Load::Current(amperes(3.0)));
        assert_eq!(said.len(), 1, "{rail} V: {said:?}");
        assert!(said[0].starts_with("18"), "{said:?}");
    }
}

/// A board that is off, trips, or limits until its output falls, was asked
/// rightly: what it does is judged elsewhere.
#[test]
fn what_the_board_does_is_the_boards() {
    let mut chance = chance(&[3]);
    let three = Load::Current(amperes(3.0));
    let dead = take(&mut chance, (VOLTS, 17.4, 3.0), |_| false);
    assert_eq!(said(&dead, three), [""; 0]);
    let tripping = take(&mut chance, (VOLTS, 17.4, 1.0), |t| t < 0.6e-3);
    assert_eq!(said(&tripping, three), [""; 0]);
    let limiting = take(&mut chance, (VOLTS, 4.0, 1.2), always);
    assert_eq!(said(&limiting, three), [""; 0]);
    let mut protected = take(&mut chance, (12.0, 11.0, 1.0), always);
    protected.supply_protected = true;
    assert_eq!(said(&protected, three), [""; 0]);
}

#[test]
fn a_pulse_is_looked_at_until_the_board_trips() {
    let mut chance = chance(&[4]);
    let trips = |t: f64| t < 1e-3;
    let pulsed = |take: Take| Take {
        pulse: Seconds::new(60e-3),
        ..take
    };
    let six = Load::Pulse(amperes(6.0));
    let right = pulsed(take(&mut chance, (VOLTS, 16.8, 6.0), trips));
    assert_eq!(said(&right, six), [""; 0]);
    for flowed in [3.0, 12.0] {
        let wrong = pulsed(take(&mut chance, (VOLTS, 16.8, flowed), trips));
        assert_eq!(said(&wrong, six).len(), 1, "{flowed} A");
    }
}

#[test]
fn a_reading_of_the_load_is_held_to_what_was_asked() {
    let mut chance = chance(&[5]);
    let take = take(&mut chance, (VOLTS, 0.0, 0.0), always);
    let read = |value: f64| Load::Metered(amperes(4.0), Some(Estimate::new(value, 0.01)));
    assert_eq!(said(&take, read(4.01)), [""; 0]);
    assert_eq!(said(&take, read(2.0)).len(), 1);
    assert_eq!(said(&take, read(8.0)).len(), 1);
    assert_eq!(said(&take, Load::Metered(amperes(4.0), None)), [""; 0]);
}

/// Errors as the profiles state them: three standard uncertainties of gain and
/// zero of both channels come with every take, and the load errs by 0.1 % and
/// 10 mA, the shipped profile's accuracy. The allowance must swallow them all.
#[test]
fn a_right_stimulus_is_never_taken_for_a_wrong_one() {
    let mut chance = chance(&[6]);
    for trial in 0..400 {
        let asked = 3.0 * f64::from(trial % 7) / 6.0;
        let error = 0.001 * asked + 0.010;
        let flowed = asked + error * (2.0 * chance.uniform() - 1.0);
        let take = take(&mut chance, (17.9, 17.3, flowed), always);
        let said = said(&take, Load::Current(amperes(asked)));
        assert!(said.is_empty(), "trial {trial}: {said:?}");
    }
}

/// No limit can be passed or failed on a stimulus that did not come.
#[test]
fn a_load_that_draws_half_leaves_nothing_measured() {
    let mut chance = chance(&[7]);
    let seen = |flowed: f64, chance: &mut Stream| {
        let steps = [0.0, 1.5, 3.0].map(|current: f64| load::LoadStep {
            drive: Polarity::Alternating,
            current: amperes(current),
            take: take(chance, (VOLTS, 17.4, current * flowed), always),
        });
        Observation::Load(load::Seen {
            steps: steps.into(),
        })
    };
    let right = evaluate("load", &context(), &seen(1.0, &mut chance));
    assert!(
        right
            .iter()
            .any(|metric| metric.finding.estimate().is_some())
    );
    let halved = evaluate("load", &context(), &seen(0.5, &mut chance));
    assert_eq!(halved.len(), right.len());
    for metric in &halved {
        assert!(
            matches!(
                &metric.finding,
                Finding::Unknown {
                    blame: Blame::Bench,
                    ..
                }
            ),
            "{}: {:?}",
            metric.label(),
            metric.finding
        );
    }
    // What was read is still said beside it.
    assert!(
        halved
            .iter()
            .any(|m| m.notes.iter().any(|note| note.starts_with("read as")))
    );
    let signal = Observation::Signal(signal::Seen {
        sent: None,
        takes: vec![signal::SignalTake {
            loading: signal::Loading::Electronic,
            current: amperes(3.0),
            take: take(&mut chance, (VOLTS, 17.4, 0.0), always),
        }],
    });
    for metric in evaluate("signal", &context(), &signal) {
        assert_eq!(metric.finding.estimate(), None, "{}", metric.label());
    }
}

/// A source that holds the other polarity, or none, or holds where it was to
/// alternate: whatever the output does then was not asked for.
#[test]
fn inputs_that_are_not_driven_as_asked_are_the_sources() {
    let bare = take(&mut chance(&[9]), (VOLTS, 17.4, 0.0), always);
    let driven = |level: &dyn Fn(f64) -> bool| {
        let mut take = bare.clone();
        take.capture.lines = vec![SAMPLING.line(LogicLine::SignalA, level)];
        take
    };
    let high = driven(&|_| true);
    let low = driven(&|_| false);
    let turns = driven(&|t| ones(t, 11e-6, HALF) > 0.0);
    // 20 us of 4 ms: half a per cent.
    let stray = driven(&|t| !(1e-3..1.02e-3).contains(&t));
    let said = |take: &Take, polarity| {
        let asked = Asked {
            take,
            rail: Rail::Rated,
            load: Load::Current(Amperes::ZERO),
            inputs: Inputs::Driven(polarity),
            output: Output::Follows,
        };
        departures(&asked, &context()).collect::<Vec<_>>()
    };
    use Polarity::{Alternating, Negative, Positive};
    for (take, polarity) in [
        (&high, Positive),
        (&stray, Positive),
        (&low, Negative),
        (&turns, Alternating),
        // No line shows it.
        (&bare, Positive),
    ] {
        assert_eq!(said(take, polarity), [""; 0], "{polarity:?}");
    }
    for (take, polarity) in [
        (&low, Positive),
        (&turns, Positive),
        (&high, Negative),
        (&stray, Negative),
        (&turns, Negative),
        (&high, Alternating),
        (&low, Alternating),
    ] {
        let said = said(take, polarity);
        assert_eq!(said.len(), 1, "{polarity:?}: {said:?}");
        assert!(said[0].contains("look at the signal source"), "{said:?}");
    }
    // Samples that come less often than half-bits may all find the same half.
    let mut coarse = high.clone();
    coarse.capture.period = Seconds::new(2.0 * HALF);
    assert_eq!(said(&coarse, Alternating), [""; 0]);
}

/// Whoever does not look says why.
#[test]
fn every_take_of_every_room_is_accounted_for() {
    let any = take(&mut chance(&[8]), (VOLTS, 17.4, 0.0), always);
    for observation in everything(&any) {
        let asked = observation.asked();
        assert_eq!(asked.len(), observation.takes().len());
        for (asked, take) in asked.iter().zip(observation.takes()) {
            assert!(std::ptr::eq(asked.take, take), "{}", observation.kind());
            if let Load::Unchecked(why) = asked.load {
                assert!(why.len() > 20, "{}", observation.kind());
            }
            if let Rail::Unchecked(why) = asked.rail {
                assert!(why.len() > 20, "{}", observation.kind());
            }
            if let Inputs::Unchecked(why) = asked.inputs {
                assert!(why.len() > 20, "{}", observation.kind());
            }
            if let Output::MayStand(why) = asked.output {
                assert!(why.len() > 20, "{}", observation.kind());
            }
        }
    }
}

/// A channel that takes no samples shows one code for ever. Where the output was to
/// alternate no verdict rests on it; where it was to stand, or stands with noise, that
/// is the board's.
#[test]
fn a_channel_that_takes_no_samples_judges_no_output() {
    let mut chance = chance(&[10]);
    let lively = take(&mut chance, (VOLTS, 17.4, 0.0), always);
    let dead = take(&mut chance, (VOLTS, 17.4, 0.0), |_| false);
    let stopped = |take: &Take| {
        let mut take = take.clone();
        let codes = &mut take.capture.channels[0].codes;
        let first = codes[0];
        codes.fill(first);
        take
    };
    let with = |take: &Take, level: &dyn Fn(f64) -> bool| {
        let mut take = take.clone();
        take.capture.lines = vec![SAMPLING.line(LogicLine::SignalA, level)];
        take
    };
    let said = |take: &Take, inputs, output| {
        let asked = Asked {
            take,
            rail: Rail::Rated,
            load: Load::Current(Amperes::ZERO),
            inputs,
            output,
        };
        departures(&asked, &context()).collect::<Vec<_>>()
    };
    let alternating = Inputs::Driven(Polarity::Alternating);
    let lost = Inputs::Unchecked("it goes");
    let stands = Output::MayStand("its lines keep it from driving");
    let turns = |t: f64| ones(t, 11e-6, HALF) > 0.0;
    // The signal goes in the middle.
    let goes = |t: f64| t < 2e-3 && ones(t, 11e-6, HALF) > 0.0;
    let right = [
        (lively.clone(), alternating, Output::Follows),
        (dead.clone(), alternating, Output::Follows),
        (with(&dead, &turns), alternating, Output::Follows),
        (stopped(&dead), alternating, stands),
        (stopped(&dead), alternating, Output::MayTrip),
        (
            with(&stopped(&lively), &|_| true),
            Inputs::Driven(Polarity::Positive),
            Output::Follows,
        ),
        (stopped(&lively), lost, Output::Follows),
    ];
    for (index, (take, inputs, output)) in right.iter().enumerate() {
        assert_eq!(said(take, *inputs, *output), [""; 0], "{index}");
    }
    let wrong = [
        (stopped(&lively), alternating, Output::Follows),
        (stopped(&dead), alternating, Output::Follows),
        (
            with(&stopped(&lively), &turns),
            alternating,
            Output::Follows,
        ),
        (with(&stopped(&lively), &goes), lost, Output::Follows),
        (stopped(&lively), alternating, Output::MayTrip),
    ];
    for (index, (take, inputs, output)) in wrong.iter().enumerate() {
        let said = said(take, *inputs, *output);
        assert_eq!(said.len(), 1, "{index}: {said:?}");
        assert!(said[0].contains("takes no samples"), "{index}: {said:?}");
    }
}
