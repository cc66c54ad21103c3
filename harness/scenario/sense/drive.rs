//! Drives `sense`: the load stepped up to the rated current in each polarity,
//! the board asked for its own reading while the current is captured. What the
//! counts are worth is evaluated elsewhere.

use super::seen::{Seen, SenseStep};
use super::settings::Settings;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Meter, Provokes};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Quantity, Seconds};
use crate::waveform::Signal;

/// What decides how much is drawn, and for how long.
const DRAWN: Provokes = Provokes {
    amount: "steps",
    time: "hold",
};

/// Samples of one step: the mean of so many is as good as the gain.
const SAMPLES: u32 = 2_000;

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    let mut steps = Vec::new();
    for &drive in &settings.polarities {
        routine::drive(drive, session).await?;
        for &current in &settings.steps {
            steps.push(step(settings, drive, current, session).await?);
        }
        session.act(WHOLE, Act::LoadOff).await?;
    }
    Ok(Seen {
        last_count: settings.last_count,
        steps,
    })
}

async fn step(
    settings: &Settings,
    drive: Polarity,
    current: Amperes,
    session: &mut impl BenchSession,
) -> Result<SenseStep, Halt> {
    let text = format!("{} at {current}, the board asked", drive.word());
    if current.si() == 0.0 {
        session.step(&text).await?;
    } else {
        let intent = Intent::LoadOn(LoadSetting::Current(current));
        session.energise(DRAWN, &text, intent).await?;
    }
    session.wait("settle", settings.settle).await?;
    // Half before and half after, so that a slow drift cancels.
    let before = settings.readings.div_ceil(2);
    let mut counts = Vec::new();
    read(session, before, &mut counts).await?;
    let period = period(drive, settings.hold);
    let window = settings.hold.min(period * f64::from(SAMPLES));
    let signals = [Signal::NodeVoltage, Signal::OutputCurrent];
    // Room for the load's own overshoot.
    let widest = session.ratings().rated_current * 1.5;
    let take = Snapshot {
        period,
        length: window,
        signals: &signals,
        current: widest,
    }
    .take("hold", &text, session)
    .await?;
    read(session, settings.readings - before, &mut counts).await?;
    Ok(SenseStep {
        drive,
        current,
        counts,
        take,
    })
}

/// Asks the board `times`; an answer that is no number is left out.
async fn read(
    session: &mut impl BenchSession,
    times: u32,
    counts: &mut Vec<f64>,
) -> Result<(), Halt> {
    for _ in 0..times {
        let reading = session.read("readings", Meter::BoardSense).await?;
        counts.extend(reading.map(|reading| reading.value));
    }
    Ok(())
}

/// An alternating output needs its half-bits in twenty parts or more (58 us,
/// NMRA S-9.1:2020 table 1); a held one is spread over the whole hold.
fn period(drive: Polarity, hold: Seconds) -> Seconds {
    match drive {
        Polarity::Alternating => Seconds::new(2e-6),
        Polarity::Positive | Polarity::Negative => {
            (hold / f64::from(SAMPLES)).max(Seconds::new(1e-6))
        }
    }
}
