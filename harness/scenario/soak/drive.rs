//! Drives `soak`: the board at rest without power, then its rated current for
//! minutes, looked at now and then. What the readings lead to is evaluated
//! elsewhere.

use super::seen::{CaseReading, Seen, SoakLook, Soaked};
use super::settings::Settings;
use crate::clock::BenchInstant;
use crate::scenario::intent::Intent;
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE, is_alive};
use crate::scenario::session::{Act, BenchSession, Halt, Meter, Provokes, Serves};
use crate::scenario::terms::Polarity;
use crate::units::Seconds;
use crate::waveform::Signal;

/// What decides how much is drawn, and for how long.
const DRAWN: Provokes = Provokes {
    amount: "current",
    time: "length",
};

const SIGNALS: [Signal; 3] = [
    Signal::NodeVoltage,
    Signal::OutputCurrent,
    Signal::BoardSupply,
];
/// Readings at rest, at least.
const REST_READINGS: f64 = 6.0;
/// An alternating output needs its half-bits in twenty parts or more (58 us,
/// NMRA S-9.1:2020 table 1).
const PERIOD: Seconds = Seconds::new(2e-6);
/// How long one look is: some thirty half-bits of ones.
const WINDOW: Seconds = Seconds::new(2e-3);

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    let mut soaks = Vec::new();
    for &drive in &settings.polarities {
        soaks.push(soak(settings, drive, session).await?);
    }
    Ok(Seen { soaks })
}

async fn soak(
    settings: &Settings,
    drive: Polarity,
    session: &mut impl BenchSession,
) -> Result<Soaked, Halt> {
    routine::quiet(session).await?;
    let rest = rest(settings, session).await?;
    routine::power_up(session).await?;
    routine::drive(drive, session).await?;
    let current = settings.current;
    let text = format!("{} at {current}, held {}", drive.word(), settings.length);
    let on = Intent::LoadHold {
        current,
        duration: settings.length,
    };
    session.energise(DRAWN, &text, on).await?;
    let zero = session.now();
    let mut looks = Vec::new();
    let mut longest = Seconds::ZERO;
    let last = libm::floor(settings.length / settings.interval + 1e-9) as u32;
    for index in 0..=last {
        wait_until(
            "length",
            zero,
            settings.interval * f64::from(index),
            session,
        )
        .await?;
        // A look over a slow line heats the board as a wait does.
        session.may_go_on("length", longest)?;
        let began = session.now();
        let case = read_case(zero, session).await?;
        // Room for the load's own overshoot.
        let widest = current * 1.5;
        let take = Snapshot {
            period: PERIOD,
            length: WINDOW,
            signals: &SIGNALS,
            current: widest,
        }
        .take("interval", "soak", session)
        .await?;
        let dead = !is_alive(&take.capture, session);
        looks.push(SoakLook { case, take });
        longest = longest.max((session.now() - began).seconds());
        if dead {
            // It has shown what it had to; more heat tells nothing.
            break;
        }
    }
    session.act(WHOLE, Act::LoadOff).await?;
    Ok(Soaked {
        drive,
        current,
        rest: shifted(rest, zero),
        looks,
    })
}

/// Readings without power, each with its instant.
async fn rest(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Vec<(BenchInstant, CaseReading)>, Halt> {
    let text = format!("at rest for {}, its temperature read", settings.rest);
    session.step(&text).await?;
    let from = session.now();
    let interval = settings.interval.min(settings.rest / REST_READINGS);
    let interval = interval.max(Seconds::new(1e-3));
    let last = libm::floor(settings.rest / interval + 1e-9) as u32;
    let mut readings = Vec::new();
    for index in 0..=last {
        wait_until("rest", from, interval * f64::from(index), session).await?;
        readings.push((session.now(), read_case(from, session).await?));
    }
    Ok(readings)
}

/// The readings with their time counted from `zero`, which comes after them.
fn shifted(readings: Vec<(BenchInstant, CaseReading)>, zero: BenchInstant) -> Vec<CaseReading> {
    let shift = |(instant, reading): (BenchInstant, CaseReading)| CaseReading {
        at: Seconds::ZERO - (zero - instant).seconds(),
        ..reading
    };
    readings.into_iter().map(shift).collect()
}

async fn read_case(
    zero: BenchInstant,
    session: &mut impl BenchSession,
) -> Result<CaseReading, Halt> {
    let at = (session.now() - zero).seconds();
    let temperature = session.read(WHOLE, Meter::Temperature).await?;
    Ok(CaseReading { at, temperature })
}

/// Waits until `after` has passed since `from`, if it has not yet.
async fn wait_until(
    serves: Serves,
    from: BenchInstant,
    after: Seconds,
    session: &mut impl BenchSession,
) -> Result<(), Halt> {
    let passed = (session.now() - from).seconds();
    if after > passed {
        session.wait(serves, after - passed).await?;
    }
    Ok(())
}
