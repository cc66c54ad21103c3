//! Checks that an instrument which restarts in mid-run is found, by what it says of
//! itself or by settings that are gone, and what looking costs of a line.

use super::lying_tests::{Lie, SUPPLY, deliver, energise, made, open, plot, stout};
use super::*;
use crate::model_board::BoardParameters;
use crate::model_instruments::World;
use crate::scenario::acquisition::{ChannelRequest, Trigger};
use crate::scenario::intent::{Intent, LoadSetting};
use crate::units::Amperes;
use crate::waveform::{LogicLine, Signal};
use bench_file::Closes;

/// What has settings that a restart loses.
const SETTABLE: [Role; 5] = [
    Role::Supply,
    Role::Load,
    Role::Capture,
    Role::Switch,
    Role::Drive,
];

#[tokio::test]
async fn an_instrument_that_restarts_in_mid_run_is_found() {
    for role in SETTABLE {
        let (file, world) = made(&BoardParameters::default(), None);
        let mut bench = open(&file, &world).await.expect("it opens");
        bench
            .prove_at_rest(Seconds::new(0.5))
            .await
            .expect("at rest");
        // Bit 7 of the standard event status register (IEEE 488.2, 11.5.1.1.2).
        plot(&world, role, "*ESR?", Lie::Answers("128"));
        let error = bench
            .prove_at_rest(Seconds::new(0.5))
            .await
            .expect_err("restarted");
        assert_eq!(error, BenchError::Restarted { role });
    }
}

/// Everything is set to something, and the capture waits for what never comes.
async fn busy(file: &bench_file::Bench, world: &super::lying_tests::Shared<World>) -> Bench {
    let mut bench = open(file, world).await.expect("it opens");
    energise(&mut bench, SUPPLY).await.expect("on");
    deliver(&mut bench, Seconds::new(0.2)).await;
    let load = Intent::LoadOn(LoadSetting::Current(Amperes::new(1.0)));
    energise(&mut bench, load).await.expect("it draws");
    let request = CaptureRequest {
        period: Seconds::new(4e-6),
        length: 1000,
        before_trigger: 10,
        trigger: Trigger::Line {
            line: LogicLine::NearMarker,
            rising: true,
        },
        channels: vec![ChannelRequest {
            signal: Signal::NodeVoltage,
            range: 20.0,
        }],
        lines: true,
    };
    bench.arm(&request).await.expect("armed");
    bench
}

/// Without a power-on bit the settings say it: each instrument is set back behind
/// its back, as mains that failed would do.
#[tokio::test]
async fn settings_that_are_gone_show_a_restart() {
    for role in SETTABLE {
        let (file, world) = made(&stout(), None);
        let mut bench = busy(&file, &world).await;
        let bank = Intent::Connect {
            closes: Closes::ResistorBank,
            duration: Seconds::new(8.0),
        };
        energise(&mut bench, bank).await.expect("connected");
        bench.wait(Seconds::new(2.5)).await.expect("all is well");
        world
            .lock()
            .expect("unbroken")
            .world
            .exchange(role, b"*RST");
        let before = bench.now();
        let error = bench.wait(Seconds::new(4.0)).await.expect_err("restarted");
        assert_eq!(error, BenchError::Restarted { role });
        let took = (bench.now() - before).seconds();
        assert!(took < Seconds::new(1.5), "{role}: {took}");
    }
}

/// At whatever line of setting up: what is lost then is set by nobody any more, and
/// the device states with its samples how it took them.
#[tokio::test]
async fn a_capture_that_restarts_while_it_is_set_up_is_found_in_what_it_took() {
    let lines = [
        ("SWE:POIN ", "*RST;:SWE:POIN 2000"),
        ("SWE:OFFS", "*RST;:SWE:OFFS:POIN -20"),
        ("VOLT1:RANG", "*RST;:VOLT1:RANG 2"),
        ("TRIG:SOUR", "*RST;:TRIG:SOUR IMM"),
        ("INIT", "*RST;:INIT"),
    ];
    // Neither is the device's own after a reset.
    for period in [Seconds::new(0.5e-6), Seconds::new(4e-6)] {
        let request = CaptureRequest {
            period,
            length: 2000,
            before_trigger: 20,
            trigger: Trigger::Now,
            channels: vec![ChannelRequest {
                signal: Signal::NodeVoltage,
                range: 20.0,
            }],
            lines: true,
        };
        let (file, world) = made(&stout(), None);
        let mut bench = open(&file, &world).await.expect("it opens");
        bench.arm(&request).await.expect("armed");
        bench.fetch("sound").await.expect("as it was asked");
        for (line, instead) in lines {
            let (file, world) = made(&stout(), None);
            let mut bench = open(&file, &world).await.expect("it opens");
            plot(&world, Role::Capture, line, Lie::Obeys(instead));
            bench.arm(&request).await.expect("armed");
            let error = bench.fetch("spoiled").await.expect_err("restarted");
            let role = Role::Capture;
            assert_eq!(error, BenchError::Restarted { role }, "{line}, {period}");
        }
    }
}

/// Where there is a power-on bit, it is read with each look.
#[tokio::test]
async fn a_power_on_bit_is_found_while_waiting() {
    for role in [
        Role::Supply,
        Role::Load,
        Role::Capture,
        Role::Switch,
        Role::Drive,
        Role::Thermometer,
    ] {
        let (file, world) = made(&stout(), None);
        let bench = busy(&file, &world).await;
        bench.wait(Seconds::new(2.0)).await.expect("all is well");
        plot(&world, role, "*ESR?", Lie::Answers("128"));
        let error = bench.wait(Seconds::new(4.0)).await.expect_err("restarted");
        assert_eq!(error, BenchError::Restarted { role });
    }
}

/// A line of 115,200 baud carries 11,520 bytes a second, of which a look may take a
/// fiftieth.
#[tokio::test]
async fn looking_costs_little_of_a_line() {
    let (file, world) = made(&stout(), None);
    let bench = busy(&file, &world).await;
    world.lock().expect("unbroken").bytes.clear();
    let time = 60.0;
    bench.wait(Seconds::new(time)).await.expect("all is well");
    let bytes = world.lock().expect("unbroken").bytes.clone();
    for (role, bytes) in &bytes {
        let part = *bytes as f64 / time / 11_520.0;
        // The supply's has the most: 71 bytes a look, 0.62 %.
        assert!(part > 0.0 && part <= 0.02, "{role}: {bytes} in {time} s");
    }
    assert_eq!(bytes.len(), 6, "{bytes:?}");
}
