//! A bench made safe whatever has happened to it: contacts that weld, ports
//! that die, instruments of which nothing is known.

use super::*;
use crate::clock::BenchSpan;
use crate::model_bench::Answering;
use crate::model_board::ContactDefect;
use crate::scenario::session::Opening;

async fn shorted(defect: Option<ContactDefect>) -> (Bench, Opening) {
    let mut file = file();
    let model = file.model.as_mut().expect("a model bench");
    model.fixture.contact_defect = defect;
    // A board that neither trips nor browns out: what flows says whether the
    // contact is open.
    let board = BoardParameters {
        trip_debounce: Seconds::new(10.0),
        under_voltage: Volts::ZERO,
        ..BoardParameters::default()
    };
    let mut bench = opened_with(&file, Transport::Memory, board).await;
    energise(&mut bench, SUPPLY).await;
    bench.set_drive(Polarity::Positive).await.expect("held");
    bench.signal(true).await.expect("on");
    bench.enable(true).await.expect("enabled");
    bench.wait(Seconds::new(0.05)).await.expect("settled");
    energise(&mut bench, short(20.0)).await;
    bench
        .switch_finished(Seconds::new(0.1))
        .await
        .expect("it ends by itself");
    let opening = bench
        .prove_open(bench_file::Closes::NearShort, Amperes::new(0.2))
        .await
        .expect("it is told");
    (bench, opening)
}

#[tokio::test]
async fn a_contact_that_opened_is_proven_open() {
    let (bench, opening) = shorted(None).await;
    assert_eq!(opening, Opening::Proven);
    let intact = bench.fuse_intact(bench_file::Closes::NearShort).await;
    assert_eq!(intact, Ok(Some(true)));
}

#[tokio::test]
async fn a_welded_contact_is_opened_by_the_supply() {
    let (bench, opening) = shorted(Some(ContactDefect::Welded)).await;
    assert_eq!(opening, Opening::SecondOpener);
    let current = bench.supply_current().await.expect("measured");
    let value = current.reading.value().expect("a number");
    assert!(value.abs() < 0.02, "{value}");
}

/// A world in which one instrument stops answering, or its server dies.
struct Ailing<W> {
    world: W,
    role: Role,
    line: &'static [u8],
    dies: bool,
    struck: bool,
}

impl<W: Answering> Answering for Ailing<W> {
    fn now(&self) -> BenchInstant {
        self.world.now()
    }

    fn advance(&mut self, span: BenchSpan) {
        self.world.advance(span);
    }

    fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        if role == self.role && line == self.line && !std::mem::replace(&mut self.struck, true) {
            assert!(!self.dies, "planned: this instrument's server dies");
        }
        if role == self.role && self.struck && !self.dies {
            return Vec::new();
        }
        self.world.exchange(role, line)
    }
}

async fn ailing(role: Role, line: &'static [u8], dies: bool) -> Bench {
    let (file, profiles) = (file(), profiles());
    let board = BoardParameters::default();
    let world = world(&file, &profiles, &board, None, Seed(1)).expect("a circuit");
    let world = Box::new(Ailing {
        world,
        role,
        line,
        dies,
        struck: false,
    });
    let transport = Transport::Memory;
    let connection = Connection::Model { world, transport };
    let mut bench = Bench::open(&file, &profiles, BOARD, connection)
        .await
        .expect("it opens while all is well");
    energise(&mut bench, SUPPLY).await;
    bench
}

#[tokio::test]
async fn a_dead_instrument_does_not_keep_the_others_from_being_made_safe() {
    let mut bench = ailing(Role::Load, b"\n", false).await;
    // Its abandon byte is an empty line; from there on it is silent.
    let strike = bench.session(Role::Load).expect("a load").port().clone();
    let struck = strike.interrupt(b"\n\n".to_vec()).await;
    struck.expect("taken");
    let outcome = bench.make_safe().await;
    let troubled: Vec<Role> = outcome
        .actions
        .iter()
        .filter(|action| action.trouble.is_some())
        .map(|action| action.role)
        .collect();
    assert!(troubled.iter().all(|role| *role == Role::Load));
    let off = |role| {
        outcome
            .actions
            .iter()
            .any(|a| a.role == role && a.trouble.is_none())
    };
    assert!(off(Role::Switch) && off(Role::Supply) && off(Role::Drive));
    assert_eq!(outcome.safe, troubled.is_empty());
}

#[tokio::test]
async fn a_port_that_died_is_opened_again_to_make_safe() {
    let mut bench = ailing(Role::Supply, b"STAT:QUES:COND?", true).await;
    let error = bench.supply_protected().await.expect_err("its server died");
    assert!(error.to_string().contains("gone"), "{error}");
    for _ in 0..2 {
        let outcome = bench.make_safe().await;
        assert!(outcome.safe, "{outcome:?}");
    }
    energise(&mut bench, SUPPLY).await;
}

#[tokio::test]
async fn an_uncertain_supply_permits_nothing_until_made_safe() {
    let mut bench = ailing(Role::Supply, b"VOLT 12;*OPC?;:SYST:ERR?", true).await;
    let intent = Intent::SupplyOn {
        voltage: Volts::new(12.0),
        current_limit: Amperes::new(6.0),
    };
    let permit = bench.permit(&intent).expect("permitted");
    bench.energise(permit).await.expect_err("its server died");
    let refused = refusal(&bench, short(10.0));
    assert!(matches!(refused, Refusal::Unknown { .. }), "{refused}");
    let outcome = bench.make_safe().await;
    assert!(outcome.safe, "{outcome:?}");
    bench.permit(&intent).expect("known again");
}
