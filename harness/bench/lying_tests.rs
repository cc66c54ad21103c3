//! Checks of what is proven by reading back, against instruments that lie, that
//! restart, and contacts that weld. The circuit itself says what is energised.

use super::*;
use crate::clock::{BenchInstant, BenchSpan};
use crate::envelope::{BoardFacts, Refusal};
use crate::model_bench::{Answering, Transport, world};
use crate::model_board::{BoardParameters, ContactDefect};
use crate::plan::demo;
use crate::profile;
use crate::scenario::Place;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::session::Opening;
use crate::seed::Seed;
use crate::units::{Amperes, Farads, Ohms, Quantity, Volts};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

const BOARD: BoardFacts = BoardFacts {
    bulk_capacitance: Farads::new(1e-3),
    source_resistance: Ohms::new(0.1),
    rated_current: Amperes::new(3.0),
};

pub(super) const SUPPLY: Intent = Intent::SupplyOn {
    voltage: Volts::new(18.0),
    current_limit: Amperes::new(6.0),
};

/// The same with a limit that nothing in these tests comes to.
pub(super) const WIDE: Intent = Intent::SupplyOn {
    voltage: Volts::new(18.0),
    current_limit: Amperes::new(20.0),
};

/// What one instrument does with a line instead of obeying it.
#[derive(Clone, Copy)]
pub(super) enum Lie {
    /// Says that all is well and does nothing.
    Ignores,
    /// Does this instead.
    Obeys(&'static str),
    /// Answers this.
    Answers(&'static str),
    /// Answers nothing, from then on.
    FallsSilent,
}

/// From which line on, at which role, which lie; only once it is told to.
#[derive(Clone, Copy)]
pub(super) struct Plot {
    role: Role,
    starts: &'static str,
    lie: Lie,
}

/// A world of which a part lies once `armed`, and that outlives its bench.
pub(super) struct Liar<W> {
    pub(super) world: W,
    /// Bytes either way so far, by role.
    pub(super) bytes: BTreeMap<Role, usize>,
    plots: Vec<Plot>,
    silent: Vec<Role>,
}

pub(super) type Shared<W> = Arc<Mutex<Liar<W>>>;

struct Handle<W>(Shared<W>);

impl<W: Answering> Answering for Handle<W> {
    fn now(&self) -> BenchInstant {
        self.0.lock().expect("unbroken").world.now()
    }

    fn advance(&mut self, span: BenchSpan) {
        self.0.lock().expect("unbroken").world.advance(span);
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let mut liar = self.0.lock().expect("unbroken");
        let answer = liar.exchange(role, line);
        // The line's own ending is a byte as well.
        *liar.bytes.entry(role).or_default() += line.len() + 1 + answer.len();
        answer
    }
}

impl<W: Answering> Liar<W> {
    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let liar = self;
        let text = String::from_utf8_lossy(line).into_owned();
        if liar.silent.contains(&role) {
            return Vec::new();
        }
        let plots = liar.plots.clone();
        let plot = plots
            .iter()
            .find(|plot| plot.role == role && text.starts_with(plot.starts));
        match plot.map(|plot| plot.lie) {
            None => liar.world.exchange(role, line),
            Some(Lie::Answers(answer)) => {
                liar.world.exchange(role, line);
                format!("{answer}\n").into_bytes()
            }
            Some(Lie::Ignores) => liar.world.exchange(role, b"*OPC?;:SYST:ERR?"),
            Some(Lie::Obeys(other)) => {
                let rest = text.find(';').map_or("", |at| &text[at..]);
                let whole = format!("{other}{rest}");
                liar.world.exchange(role, whole.as_bytes())
            }
            Some(Lie::FallsSilent) => {
                liar.silent.push(role);
                Vec::new()
            }
        }
    }
}

pub(super) fn made(
    board: &BoardParameters,
    defect: Option<ContactDefect>,
) -> (bench_file::Bench, Shared<crate::model_instruments::World>) {
    let mut file = bench_file::parse(&demo::bench()).expect("sound").0;
    if let Some(model) = file.model.as_mut() {
        model.fixture.contact_defect = defect;
    }
    let world = world(&file, &profiles(), board, None, Seed(1)).expect("a circuit");
    let liar = Liar {
        world,
        bytes: BTreeMap::new(),
        plots: Vec::new(),
        silent: Vec::new(),
    };
    (file, Arc::new(Mutex::new(liar)))
}

fn profiles() -> BTreeMap<Role, Profile> {
    Role::ALL
        .into_iter()
        .filter_map(|role| Some((role, profile::shipped(role.word())?)))
        .collect()
}

pub(super) async fn open<W: Answering + 'static>(
    file: &bench_file::Bench,
    world: &Shared<W>,
) -> Result<Bench, BenchError> {
    let connection = Connection::Model {
        world: Box::new(Handle(Arc::clone(world))),
        transport: Transport::Memory,
    };
    Bench::open(file, &profiles(), BOARD, connection).await
}

pub(super) async fn energise(bench: &mut Bench, intent: Intent) -> Result<(), BenchError> {
    let permit = bench.permit(&intent)?;
    bench.energise(permit).await
}

pub(super) fn plot<W>(world: &Shared<W>, role: Role, starts: &'static str, lie: Lie) {
    let mut liar = world.lock().expect("unbroken");
    liar.plots.push(Plot { role, starts, lie });
}

/// A board that draws a few milliamperes hides a supply that ignores OFF from
/// whoever looks at the current alone.
#[tokio::test]
async fn a_supply_that_ignores_off_is_found_by_its_voltage() {
    let board = BoardParameters {
        quiescent_current: Amperes::new(0.012),
        ..BoardParameters::default()
    };
    let (file, world) = made(&board, None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    plot(&world, Role::Supply, "OUTP OFF", Lie::Ignores);
    // Without the signal the board draws so little that its current is as good as gone.
    bench.supply_off().await.expect("it says so");
    let error = bench.prove_at_rest(Seconds::new(0.5)).await;
    let Err(BenchError::StillOn { role, what }) = &error else {
        panic!("{error:?}");
    };
    assert_eq!(*role, Role::Supply);
    assert!(what.contains("17.99") || what.contains("18"), "{what}");
    let refused = bench.permit(&SUPPLY).expect_err("locked");
    assert!(matches!(
        refused,
        Refusal::Unknown { .. } | Refusal::Locked { .. }
    ));
    let outcome = bench.make_safe().await;
    assert!(!outcome.safe, "{outcome:?}");
    let told = outcome.actions.iter().any(|action| {
        action.role == Role::Supply && action.action.contains("voltage") && action.trouble.is_some()
    });
    assert!(told, "{outcome:?}");
}

#[tokio::test]
async fn a_load_that_ignores_off_is_found_by_its_current() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    deliver(&mut bench, Seconds::new(0.2)).await;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    energise(&mut bench, load).await.expect("it draws");
    plot(&world, Role::Load, "INP OFF", Lie::Ignores);
    let error = bench.load_off().await.expect_err("it draws on");
    assert!(
        matches!(
            error,
            BenchError::Breach {
                role: Role::Load,
                ..
            }
        ),
        "{error}"
    );
    assert!(error.is_gone(), "the run ends");
    assert!(bench.permit(&SUPPLY).is_err(), "locked");
    let outcome = bench.make_safe().await;
    assert!(!outcome.safe, "a person has to look");
    bench.confirm();
    assert!(bench.make_safe().await.safe);
    bench.permit(&SUPPLY).expect("confirmed and proven");
}

/// 30 V instead of 18 V: found before anything else is done.
#[tokio::test]
async fn a_supply_at_another_voltage_is_found_at_once() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    plot(&world, Role::Supply, "VOLT 18", Lie::Obeys("VOLT 30"));
    // One that says so is never switched on.
    let error = energise(&mut bench, SUPPLY).await.expect_err("30 V");
    assert!(error.to_string().contains("says 30"), "{error}");
    let output = world
        .lock()
        .expect("unbroken")
        .world
        .exchange(Role::Supply, b"OUTP?");
    assert_eq!(output, b"0\n");
    plot(&world, Role::Supply, "VOLT?", Lie::Answers("18.000"));
    bench.prove_at_rest(Seconds::ZERO).await.expect("off");
    let error = energise(&mut bench, SUPPLY).await.expect_err("30 V");
    let BenchError::Breach { role, what } = &error else {
        panic!("{error}");
    };
    assert_eq!(*role, Role::Supply);
    assert!(what.contains("set to 18"), "{what}");
    let outcome = bench.make_safe().await;
    assert!(!outcome.safe, "a person has to look");
    let off = world
        .lock()
        .expect("unbroken")
        .world
        .exchange(Role::Supply, b"MEAS:VOLT?");
    let off: f64 = String::from_utf8_lossy(&off)
        .trim()
        .parse()
        .expect("a number");
    assert!(off.abs() < 2.0, "it is off: {off}");
}

#[tokio::test]
async fn a_supply_that_drifts_up_is_found_while_waiting() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    bench.wait(Seconds::new(2.0)).await.expect("all is well");
    let raised = world
        .lock()
        .expect("unbroken")
        .world
        .exchange(Role::Supply, b"VOLT 22;*OPC?");
    assert_eq!(raised, b"1\n");
    let before = bench.now();
    let error = bench.wait(Seconds::new(10.0)).await.expect_err("22 V");
    assert!(
        matches!(
            error,
            BenchError::Breach {
                role: Role::Supply,
                ..
            }
        ),
        "{error}"
    );
    let took = (bench.now() - before).seconds();
    assert!(took < Seconds::new(1.5), "{took}");
}

/// A look takes its time out of the wait.
#[tokio::test]
async fn a_watched_wait_takes_as_long_as_was_asked() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    for wanted in [0.01, 0.2, 1.0, 7.3] {
        let before = bench.now();
        bench.wait(Seconds::new(wanted)).await.expect("waited");
        let took = (bench.now() - before).seconds().si();
        assert!((took - wanted).abs() < 1e-9, "{took} for {wanted}");
    }
}

#[tokio::test]
async fn one_refused_line_does_not_keep_the_next_from_being_confirmed() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    plot(
        &world,
        Role::Load,
        "ABOR",
        Lie::Answers("1;-222,\"Data out of range\""),
    );
    let outcome = bench.make_safe().await;
    let of = |action: &str| {
        let found = outcome
            .actions
            .iter()
            .find(|a| a.role == Role::Load && a.action == action);
        found.expect("it was tried").trouble.clone()
    };
    assert!(of("ABOR").is_some(), "{outcome:?}");
    assert_eq!(of("INP OFF"), None, "{outcome:?}");
    assert!(!outcome.safe);
}

/// An instrument that is missing keeps no other from being switched off.
// The silence of a model is waited for long; here the clock leaps over it.
#[tokio::test(start_paused = true)]
async fn a_bench_found_energised_is_switched_off_although_another_is_missing() {
    let (file, world) = made(&BoardParameters::default(), None);
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    drop(bench);
    plot(&world, Role::Load, "*IDN?", Lie::FallsSilent);
    let error = open(&file, &world)
        .await
        .err()
        .expect("the load is missing");
    let BenchError::NotReached { role, fault } = &error else {
        panic!("{error}");
    };
    assert_eq!(*role, Role::Load);
    assert!(
        matches!(&**fault, BenchError::Instrument(fault) if fault.role() == Role::Load),
        "{error}"
    );
    let state = world
        .lock()
        .expect("unbroken")
        .world
        .exchange(Role::Supply, b"OUTP?");
    assert_eq!(state, b"0\n");
}

/// The board delivers in one polarity, and has done so for `time`.
pub(super) async fn deliver(bench: &mut Bench, time: Seconds) {
    let held = crate::scenario::Polarity::Positive;
    bench.set_drive(held).await.expect("held");
    bench.signal(true).await.expect("on");
    bench.enable(true).await.expect("on");
    bench.wait(time).await.expect("waited");
}

/// A board that neither trips nor browns out, so that the current shows the weld.
pub(super) fn stout() -> BoardParameters {
    BoardParameters {
        trip_debounce: Seconds::new(10.0),
        under_voltage: Volts::ZERO,
        ..BoardParameters::default()
    }
}

#[tokio::test]
async fn a_weld_locks_the_bench_until_a_person_confirms() {
    let (file, world) = made(&stout(), Some(ContactDefect::Welded));
    let mut bench = open(&file, &world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    deliver(&mut bench, Seconds::new(0.05)).await;
    let short = Intent::ShortPulse {
        place: Place::Near,
        duration: Seconds::new(0.02),
    };
    energise(&mut bench, short).await.expect("closed");
    bench
        .switch_finished(Seconds::new(0.1))
        .await
        .expect("it ends");
    let closes = bench_file::Closes::NearShort;
    let opening = bench
        .prove_open(closes, Amperes::new(0.2))
        .await
        .expect("told");
    assert_eq!(opening, Opening::SecondOpener);
    for intent in [SUPPLY, short] {
        let refused = bench.permit(&intent).expect_err("locked");
        assert!(matches!(refused, Refusal::Locked { .. }), "{refused}");
    }
    let outcome = bench.make_safe().await;
    assert!(!outcome.safe, "a person has to look: {outcome:?}");
    assert!(
        bench.permit(&SUPPLY).is_err(),
        "making safe does not unlock"
    );
}

/// A contact that is closed before anything was energised, behind a switch that
/// calls it open: the pilot current is asked, not the switch.
#[tokio::test]
async fn a_contact_closed_beforehand_is_found_by_its_pilot_current() {
    let (file, world) = made(&stout(), None);
    let closed = world
        .lock()
        .expect("unbroken")
        .world
        .exchange(Role::Switch, b"ROUT:CLOS (@1);*OPC?");
    assert_eq!(closed, b"1\n");
    plot(&world, Role::Switch, "ROUT:OPEN:ALL", Lie::Ignores);
    plot(&world, Role::Switch, "ROUT:CLOS?", Lie::Answers("0"));
    let error = open(&file, &world).await.err().expect("it is closed");
    assert!(
        matches!(
            &error,
            BenchError::StillOn {
                role: Role::Switch,
                ..
            }
        ),
        "{error}"
    );
    assert!(error.to_string().contains("pilot current"), "{error}");
}
