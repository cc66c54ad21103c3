//! Drives `soak`: the board at rest without power, then its rated current for
//! minutes, looked at now and then. What the readings lead to is evaluated
//! elsewhere.

use super::hands::{Halt, Hands, peak};
use crate::clock::BenchInstant;
use crate::envelope::Intent;
use crate::observation::{Drive, Observation, SoakLook, Soaked, Warmth};
use crate::plan;
use crate::units::{Quantity, Seconds};
use crate::waveform::Signal;

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

pub(super) async fn drive(
    settings: &plan::Soak,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    let mut soaks = Vec::new();
    for &drive in &settings.polarities {
        soaks.push(soak(settings, drive, hands).await?);
    }
    Ok(Observation::Soak { soaks })
}

async fn soak(settings: &plan::Soak, drive: Drive, hands: &mut Hands<'_>) -> Result<Soaked, Halt> {
    hands.quiet().await?;
    let rest = rest(settings, hands).await?;
    hands.power_up().await?;
    hands.drive(drive).await?;
    let current = settings.current;
    let text = format!("{} at {current}, held {}", drive.word(), settings.length);
    let on = Intent::LoadHold {
        current,
        duration: settings.length,
    };
    hands.energise(&text, on).await?;
    let zero = hands.bench.now();
    let mut looks = Vec::new();
    let mut longest = Seconds::ZERO;
    let last = libm::floor(settings.length / settings.interval + 1e-9) as u32;
    for index in 0..=last {
        wait_until(zero, settings.interval * f64::from(index), hands).await?;
        // A look over a slow line heats the board as a wait does.
        hands.bench.may_go_on(longest)?;
        let began = hands.bench.now();
        let warmth = warmth(zero, hands).await?;
        // Room for the load's own overshoot.
        let widest = current * 1.5;
        let take = hands
            .snapshot("soak", PERIOD, WINDOW, &SIGNALS, widest)
            .await?;
        let dead =
            peak(&take.capture, Signal::NodeVoltage) < hands.plan.ratings.supply_voltage.si() / 2.0;
        looks.push(SoakLook { warmth, take });
        longest = longest.max((hands.bench.now() - began).seconds());
        if dead {
            // It has shown what it had to; more heat tells nothing.
            break;
        }
    }
    hands.bench.load_off().await?;
    Ok(Soaked {
        drive,
        current,
        rest: shifted(rest, zero),
        looks,
    })
}

/// Readings without power, each with its instant.
async fn rest(
    settings: &plan::Soak,
    hands: &mut Hands<'_>,
) -> Result<Vec<(BenchInstant, Warmth)>, Halt> {
    let text = format!("at rest for {}, its temperature read", settings.rest);
    hands.step(&text).await?;
    let from = hands.bench.now();
    let interval = settings.interval.min(settings.rest / REST_READINGS);
    let interval = interval.max(Seconds::new(1e-3));
    let last = libm::floor(settings.rest / interval + 1e-9) as u32;
    let mut readings = Vec::new();
    for index in 0..=last {
        wait_until(from, interval * f64::from(index), hands).await?;
        readings.push((hands.bench.now(), warmth(from, hands).await?));
    }
    Ok(readings)
}

/// The readings with their time counted from `zero`, which comes after them.
fn shifted(readings: Vec<(BenchInstant, Warmth)>, zero: BenchInstant) -> Vec<Warmth> {
    let shift = |(instant, warmth): (BenchInstant, Warmth)| Warmth {
        at: Seconds::ZERO - (zero - instant).seconds(),
        ..warmth
    };
    readings.into_iter().map(shift).collect()
}

async fn warmth(zero: BenchInstant, hands: &Hands<'_>) -> Result<Warmth, Halt> {
    let at = (hands.bench.now() - zero).seconds();
    let measured = hands.bench.temperature().await?;
    Ok(Warmth {
        at,
        temperature: measured.and_then(|measured| measured.estimate()),
    })
}

/// Waits until `after` has passed since `from`, if it has not yet.
async fn wait_until(from: BenchInstant, after: Seconds, hands: &Hands<'_>) -> Result<(), Halt> {
    let passed = (hands.bench.now() - from).seconds();
    if after > passed {
        hands.bench.wait(after - passed).await?;
    }
    Ok(())
}
