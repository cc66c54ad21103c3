//! Checks of the typed instruments over a wire in memory, against an
//! instrument that follows a script of expected lines and answers.

use super::*;
use crate::bench_file::{CaptureWiring, WiredChannel};
use crate::ident::Role;
use crate::link::{Deadlines, Habits, Port, PortSettings, Traffic};
use crate::profile::{self, Profile};
use crate::protocol::Reading;
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::units::{Amperes, Ratio, Seconds, Volts};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};

fn shipped(role: Role) -> Profile {
    profile::shipped(role.word())
        .expect("it comes with the program")
        .clone()
}

/// A session with an instrument that expects each line of `script` in turn and
/// gives the answer beside it.
fn scripted(profile: Profile, script: &'static [(&str, &str)]) -> Session {
    let (host, device) = tokio::io::duplex(65_536);
    tokio::spawn(async move {
        let mut device = BufReader::new(device);
        for (expected, answer) in script {
            let mut line = String::new();
            device.read_line(&mut line).await.expect("a line");
            assert_eq!(line.trim_end(), *expected);
            if !answer.is_empty() {
                let answer = format!("{answer}\n");
                device.write_all(answer.as_bytes()).await.expect("taken");
            }
        }
        // Silent from here on.
        let mut rest = String::new();
        let more = device.read_line(&mut rest).await;
        assert!(
            more.is_ok_and(|count| count == 0),
            "not in the script: {rest}"
        );
    });
    let settings = PortSettings {
        name: "script".to_owned(),
        speed: profile.line.speed,
        message_size: 1 << 16,
        block_tail: 0,
        ending: "\n".to_owned(),
        habits: Habits::default(),
        traffic: Traffic::default(),
        dtr: true,
        deadlines: Deadlines {
            write: Duration::from_secs(2),
            reply: Duration::from_secs(2),
            quiet: Duration::from_millis(5),
        },
        abandon: "\n".to_owned(),
        probe: None,
    };
    Session::new(Port::over(host, settings), Arc::new(profile))
}

#[tokio::test]
async fn an_action_and_its_confirmation_share_a_line() {
    let session = scripted(
        shipped(Role::Supply),
        &[
            ("VOLT 18;*OPC?;:SYST:ERR?", "1;0,\"No error\""),
            ("VOLT?", "1.8000E+01"),
            ("MEAS:VOLT?", "1.8003E+01"),
            ("MEAS:CURR?", "9.9E+37"),
            ("STAT:QUES:COND?", "2"),
        ],
    );
    let supply = Supply::new(&session);
    supply.set_voltage(Volts::new(18.0)).await.expect("taken");
    let measured = supply.measure_voltage().await.expect("a number");
    let estimate = measured.estimate().expect("a number");
    assert_eq!(estimate.value, 18.003);
    // By hand from the profile, 0.05 % of reading + 5 mV as a rectangle (GUM
    // 4.3.7) and 1 mV resolution: sqrt((14.0015 mV)^2 / 3 + (1 mV)^2 / 12).
    assert!((estimate.u - 8.0889e-3).abs() < 1e-6, "{}", estimate.u);
    let over = supply.measure_current().await.expect("a reading");
    assert!(matches!(over.reading, Reading::Overflow(_)));
    assert!(over.estimate().is_none());
    let condition = supply.condition().await.expect("a register");
    assert!(condition.current_limiting && condition.protected());
}

/// A part of the range counts whatever the reading is.
#[tokio::test]
async fn a_meter_that_states_a_part_of_its_range_is_trusted_so_much_less() {
    let mut profile = shipped(Role::Supply);
    let stated = profile.accuracy.get_mut("measure_voltage").expect("stated");
    (stated.reading, stated.fixed) = (Ratio::ZERO, 0.0);
    (stated.fixed_of_range, stated.resolution) = (Ratio::new(0.001), 0.0);
    let session = scripted(profile, &[("MEAS:VOLT?", "5.0")]);
    let supply = Supply::new(&session);
    let measured = supply.measure_voltage().await.expect("a number");
    let estimate = measured.estimate().expect("a number");
    // By hand: 0.1 % of 32 V as a rectangle, 32 mV / sqrt(3) (GUM 4.3.7).
    assert!((estimate.u - 18.475e-3).abs() < 1e-6, "{}", estimate.u);
}

#[tokio::test]
async fn an_overlapped_action_is_confirmed_by_the_error_queue_alone() {
    let session = scripted(
        shipped(Role::Switch),
        &[("ROUT:CLOS:PULS (@2),0.04;:SYST:ERR?", "0,\"No error\"")],
    );
    let switch = Switch::new(&session);
    let pulse = switch.pulse(2, Seconds::new(0.04)).await;
    pulse.expect("taken");
}

/// SCPI-1999 21.8: errors queue up, oldest first, and are read until none is
/// left.
#[tokio::test]
async fn a_refusal_names_instrument_command_and_every_error() {
    let session = scripted(
        shipped(Role::Supply),
        &[
            ("CURR 99;*OPC?;:SYST:ERR?", "1;-222,\"Data out of range\""),
            ("SYST:ERR?", "-221,\"Settings conflict\""),
            ("SYST:ERR?", "0,\"No error\""),
        ],
    );
    let supply = Supply::new(&session);
    let refused = supply.set_current_limit(Amperes::new(99.0)).await;
    let error = refused.expect_err("refused");
    assert_eq!(error.role(), Role::Supply);
    assert!(!error.retry_is_safe());
    let text = error.to_string();
    for part in ["supply", "CURR 99", "-222 Data out of range", "-221"] {
        assert!(text.contains(part), "{text}");
    }
}

#[tokio::test]
async fn another_instrument_on_the_port_is_a_stranger() {
    let session = scripted(
        shipped(Role::Load),
        &[("*IDN?", "BUFFERSTOP MODEL,SUPPLY,0001,1.0")],
    );
    let error = session.identify().await.expect_err("a stranger");
    assert!(
        matches!(error, InstrumentError::WrongIdentity { .. }),
        "{error}"
    );
    assert!(error.to_string().contains("SUPPLY"), "{error}");
}

#[tokio::test]
async fn commands_that_may_not_be_joined_go_apart() {
    let mut profile = shipped(Role::Supply);
    let renamed = crate::template::Template::parse("done?").expect("a template");
    profile.commands.insert("complete".to_owned(), renamed);
    let session = scripted(
        profile,
        &[
            ("OUTP OFF", ""),
            ("done?", "1"),
            ("SYST:ERR?", "0,\"No error\""),
        ],
    );
    let supply = Supply::new(&session);
    supply.output_off().await.expect("taken");
}

#[tokio::test]
async fn an_answer_of_another_kind_is_told_as_such() {
    let session = scripted(shipped(Role::Console), &[("sense", "tripped")]);
    let console = Console::new(&session);
    let error = console.sense().await.expect_err("no number");
    assert!(matches!(error, InstrumentError::Answer { .. }), "{error}");
}

fn wiring() -> CaptureWiring {
    CaptureWiring {
        channels: vec![WiredChannel {
            signal: crate::waveform::Signal::OutputCurrent,
            number: 2,
            scale: 0.05,
            scale_u: 0.002,
            range: 100.0,
        }],
        lines: Vec::new(),
    }
}

fn capture(script: &'static [(&str, &str)]) -> Session {
    scripted(shipped(Role::Capture), script)
}

fn request(length: u32) -> CaptureRequest {
    CaptureRequest {
        period: Seconds::new(1e-6),
        length,
        before_trigger: 1,
        trigger: Trigger::Now,
        channels: vec![ChannelRequest {
            signal: crate::waveform::Signal::OutputCurrent,
            range: 40.0,
        }],
        lines: false,
    }
}

#[tokio::test]
async fn codes_become_amperes_with_their_uncertainty() {
    // 2 V range asked for (40 A at 50 mohm), 12 bits; two samples, big end
    // first: 256 and -1.
    let (session, wiring) = (
        capture(&[
            (
                "TRAC:PRE? CHAN2",
                "2,1.0E-06,-1.0E-06,9.765625E-04,0.0E+00,0,12",
            ),
            ("TRAC? CHAN2,0,2", "#14\u{1}\u{0}\u{7f}\u{7f}"),
        ]),
        wiring(),
    );
    let device = CaptureDevice::new(&session, &wiring);
    let capture = device.read_out(&request(2), "step").await.expect("data");
    let channel = &capture.channels[0];
    assert_eq!(channel.codes, [256, 0x7f7f]);
    assert_eq!(capture.first, Seconds::new(-1e-6));
    // 2 V / 2048 / 50 mohm.
    assert!((channel.scale - 0.01953125).abs() < 1e-12);
    // By hand: 0.5 % as a rectangle with 0.2 % of the sensor; 0.25 % of 40 A
    // as a rectangle with the resolution's 19.5 mA / sqrt 12.
    assert!((channel.accuracy.gain_u - 3.5119e-3).abs() < 1e-6);
    assert!((channel.accuracy.offset_u - 58.009e-3).abs() < 1e-5);
}

#[tokio::test]
async fn what_the_wiring_lacks_is_refused_before_anything_is_sent() {
    let (session, wiring) = (capture(&[]), wiring());
    let device = CaptureDevice::new(&session, &wiring);
    let mut asked = request(2);
    asked.channels[0].signal = crate::waveform::Signal::GapCurrent;
    asked.before_trigger = 2;
    let error = device.arm(&asked).await.expect_err("no capture");
    assert!(
        matches!(error, InstrumentError::BeyondInstrument { .. }),
        "{error}"
    );
}

/// What confirms nothing might begin after whatever it is to watch: the scope that
/// lists volts has neither an error queue nor an acknowledgement.
#[tokio::test]
async fn a_capture_that_confirms_nothing_is_asked_whether_it_has_begun() {
    let text = include_str!("../../fixtures/strangers/list-scope.toml");
    let source = crate::document::Source::new("list-scope.toml", text);
    let (profile, _) = crate::profile::parse(&source).expect("a sound profile");
    let (host, device) = tokio::io::duplex(65_536);
    let heard = Arc::new(std::sync::Mutex::new(Vec::new()));
    let notes = Arc::clone(&heard);
    tokio::spawn(async move {
        let mut device = BufReader::new(device);
        let mut line = String::new();
        while device
            .read_line(&mut line)
            .await
            .is_ok_and(|count| count > 0)
        {
            let said = std::mem::take(&mut line).trim_end().to_owned();
            let answer = match said.as_str() {
                "DEPTH?" => "2\r\n",
                "STATE" => "state=filling\r\n",
                _ => "",
            };
            notes.lock().expect("no panic").push(said);
            device.write_all(answer.as_bytes()).await.expect("taken");
        }
    });
    let settings = crate::link::PortSettings {
        ending: profile.line.ending.clone(),
        ..scripted(shipped(Role::Supply), &[])
            .port()
            .settings()
            .clone()
    };
    let session = Session::new(Port::over(host, settings), Arc::new(profile));
    let wiring = wiring();
    let device = CaptureDevice::new(&session, &wiring);
    device.arm(&request(2)).await.expect("armed");
    let heard = heard.lock().expect("no panic").clone();
    assert!(
        heard.ends_with(&["RUN".to_owned(), "STATE".to_owned()]),
        "{heard:?}"
    );
}
