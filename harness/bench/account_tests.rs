//! Checks of what has flowed by what the meters show, against meters and a supply
//! that lie. The circuit itself says what is energised.

use super::lying_tests::{Lie, SUPPLY, WIDE, deliver, energise, made, open, plot, stout};
use super::*;
use crate::model_board::BoardParameters;
use crate::scenario::Place;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::units::{Amperes, Quantity as _};

/// A supply that is told 6 A, says 6 A and lets 30 A pass is found by what it
/// delivers.
#[tokio::test]
async fn a_supply_that_lies_about_its_limit_is_found_by_what_it_delivers() {
    let (file, world) = made(&stout(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    plot(&world, Role::Supply, "CURR 6", Lie::Obeys("CURR 30"));
    plot(&world, Role::Supply, "CURR?", Lie::Answers("6.000"));
    energise(&mut bench, SUPPLY).await.expect("on");
    deliver(&mut bench, Seconds::new(0.2)).await;
    let short = Intent::ShortPulse {
        place: Place::Near,
        duration: Seconds::new(1.0),
    };
    energise(&mut bench, short).await.expect("closed");
    let error = bench.wait(Seconds::new(0.5)).await.expect_err("too much");
    let words = error.to_string();
    assert!(words.contains("limited to 6.000 A"), "{words}");
    assert!(error.is_gone(), "the run ends");
    let outcome = bench.make_safe().await;
    assert!(!outcome.safe, "a person has to look");
    let energy = world.lock().expect("unbroken").world.circuit().energy();
    assert!(!energy.is_there(), "{energy:?}");
}

/// A meter that shows more than anything was told to draw: at 8 A and 18 V, 144 J a
/// second, the demo bench's 1000 J are freed after 7 s.
#[tokio::test]
async fn a_current_that_nothing_was_told_to_draw_ends_with_the_envelope() {
    for (role, query) in [(Role::Supply, "MEAS:CURR?"), (Role::Load, "MEAS:CURR?")] {
        let (file, world) = made(&BoardParameters::default(), None);
        let mut bench = open(&file, &world).await.expect("it opens");
        energise(&mut bench, WIDE).await.expect("on");
        deliver(&mut bench, Seconds::new(0.2)).await;
        let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
        energise(&mut bench, load).await.expect("it draws");
        bench.wait(Seconds::new(100.0)).await.expect("all is well");
        plot(&world, role, query, Lie::Answers("8.000"));
        let before = bench.now();
        let error = bench.wait(Seconds::new(100.0)).await.expect_err("8 A");
        let took = (bench.now() - before).seconds().si();
        let words = error.to_string();
        assert!(error.is_gone(), "the run ends: {words}");
        if role == Role::Supply {
            assert!(words.contains("the envelope allows 1.000 kJ"), "{words}");
            assert!((6.0..9.0).contains(&took), "{took}");
        } else {
            // The load's own meter is compared with its own setting as well.
            assert!(words.contains("set to 1.000 A"), "{words}");
        }
        assert!(bench.permit(&WIDE).is_err(), "locked");
        assert!(!bench.make_safe().await.safe, "a person has to look");
        let energy = world.lock().expect("unbroken").world.circuit().energy();
        assert!(!energy.is_there(), "{energy:?}");
    }
}

/// More than the envelope allows at all is named as that.
#[tokio::test]
async fn a_meter_beyond_the_envelope_names_it() {
    for (query, answer, words) in [
        (
            "MEAS:CURR?",
            "46.5",
            "46.44 A flow, and the envelope allows 45.00 A",
        ),
        (
            "MEAS:VOLT?",
            "41.5",
            "41.47 V stand there, and the envelope allows 40.00 V",
        ),
    ] {
        let (file, world) = made(&BoardParameters::default(), None);
        let mut bench = open(&file, &world).await.expect("it opens");
        energise(&mut bench, WIDE).await.expect("on");
        plot(&world, Role::Supply, query, Lie::Answers(answer));
        let error = bench.wait(Seconds::new(2.0)).await.expect_err("beyond");
        assert!(matches!(error, BenchError::Beyond { .. }), "{error}");
        assert!(error.to_string().contains(words), "{error}");
        assert!(bench.permit(&WIDE).is_err(), "locked");
    }
}

/// A supply that ignores OFF makes no pause: the envelope's longest time goes on
/// over what was commanded.
#[tokio::test]
async fn a_pause_that_no_meter_shows_does_not_begin_the_time_again() {
    let (mut file, world) = made(&BoardParameters::default(), None);
    file.envelope.seconds = Seconds::new(10.0);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    bench
        .wait(Seconds::new(8.0))
        .await
        .expect("within its time");
    plot(&world, Role::Supply, "OUTP OFF", Lie::Ignores);
    bench.supply_off().await.expect("it says so");
    bench
        .wait(Seconds::new(0.5))
        .await
        .expect("a pause, it seems");
    energise(&mut bench, SUPPLY).await.expect("on, it seems");
    let error = bench.wait(Seconds::new(8.0)).await.expect_err("too long");
    let words = error.to_string();
    assert!(words.contains("the envelope allows 10.00 s"), "{words}");
    // One that obeys may begin again.
    let (mut file, world) = made(&BoardParameters::default(), None);
    file.envelope.seconds = Seconds::new(10.0);
    let mut bench = open(&file, &world).await.expect("it opens");
    for _ in 0..3 {
        energise(&mut bench, SUPPLY).await.expect("on");
        bench
            .wait(Seconds::new(8.0))
            .await
            .expect("within its time");
        bench.supply_off().await.expect("off");
        bench.wait(Seconds::new(2.0)).await.expect("a pause");
    }
}

/// Supply and load meter one current. Meters that say the truth agree with whatever is
/// drawn, held or alternating; a supply that shows half is found by the next look, and is
/// not taken for a board.
#[tokio::test]
async fn a_supply_that_shows_half_of_what_is_drawn_is_found() {
    use crate::scenario::Polarity::{Alternating, Negative, Positive};
    for (drive, amperes, half) in [
        (Positive, 1.0, "0.52"),
        (Negative, 2.0, "1.02"),
        (Alternating, 3.0, "1.52"),
    ] {
        let (file, world) = made(&BoardParameters::default(), None);
        let mut bench = open(&file, &world).await.expect("it opens");
        energise(&mut bench, WIDE).await.expect("on");
        deliver(&mut bench, Seconds::new(0.2)).await;
        bench.set_drive(drive).await.expect("driven");
        let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(amperes)));
        energise(&mut bench, load).await.expect("it draws");
        bench.wait(Seconds::new(5.0)).await.expect("all is well");
        plot(&world, Role::Supply, "MEAS:CURR?", Lie::Answers(half));
        let before = bench.now();
        let error = bench.wait(Seconds::new(5.0)).await.expect_err("half");
        assert!(matches!(error, BenchError::Disagree { .. }), "{error}");
        assert_eq!(error.blame(), crate::measurement::Blame::Bench);
        assert!(error.is_gone(), "the run ends");
        let took = (bench.now() - before).seconds();
        assert!(took < Seconds::new(1.5), "{took}");
    }
}

/// A board that draws more than its load is hungry, and that is a verdict; one that is
/// off draws less, as its load does.
#[tokio::test]
async fn what_a_board_draws_beside_its_load_is_no_disagreement() {
    let hungry = BoardParameters {
        quiescent_current: Amperes::new(0.8),
        ..BoardParameters::default()
    };
    let (file, world) = made(&hungry, None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, WIDE).await.expect("on");
    deliver(&mut bench, Seconds::new(0.2)).await;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    energise(&mut bench, load).await.expect("it draws");
    bench.wait(Seconds::new(3.0)).await.expect("all is well");
    bench.enable(false).await.expect("off");
    bench.wait(Seconds::new(3.0)).await.expect("all is well");
}
