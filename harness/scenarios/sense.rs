//! Drives `sense`: the load stepped up to the rated current in each polarity,
//! the board asked for its own reading while the current is captured. What the
//! counts are worth is evaluated elsewhere.

use super::hands::{Halt, Hands};
use crate::bench::BenchError;
use crate::envelope::{Intent, LoadSetting};
use crate::ident::Role;
use crate::observation::{Drive, Observation, SenseStep};
use crate::plan;
use crate::units::{Amperes, Quantity, Seconds};
use crate::waveform::Signal;

/// Samples of one step: the mean of so many is as good as the gain.
const SAMPLES: u32 = 2_000;

pub(super) async fn drive(
    settings: &plan::Sense,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    let mut steps = Vec::new();
    for &drive in &settings.polarities {
        hands.drive(drive).await?;
        for &current in &settings.steps {
            steps.push(step(settings, drive, current, hands).await?);
        }
        hands.bench.load_off().await?;
    }
    Ok(Observation::Sense {
        last_count: settings.last_count,
        steps,
    })
}

async fn step(
    settings: &plan::Sense,
    drive: Drive,
    current: Amperes,
    hands: &mut Hands<'_>,
) -> Result<SenseStep, Halt> {
    let text = format!("{} at {current}, the board asked", drive.word());
    if current.si() == 0.0 {
        hands.step(&text).await?;
    } else {
        let intent = Intent::LoadOn(LoadSetting::Current(current));
        hands.energise(&text, intent).await?;
    }
    hands.bench.wait(settings.settle).await?;
    // Half before and half after, so that a slow drift cancels.
    let before = settings.readings.div_ceil(2);
    let mut counts = Vec::new();
    read(hands, before, &mut counts).await?;
    let period = period(drive, settings.hold);
    let window = settings.hold.min(period * f64::from(SAMPLES));
    let signals = [Signal::NodeVoltage, Signal::OutputCurrent];
    // Room for the load's own overshoot.
    let widest = hands.plan.ratings.rated_current * 1.5;
    let take = hands
        .snapshot(&text, period, window, &signals, widest)
        .await?;
    read(hands, settings.readings - before, &mut counts).await?;
    Ok(SenseStep {
        drive,
        current,
        counts,
        take,
    })
}

/// Asks the board `times`; an answer that is no number is left out.
async fn read(hands: &Hands<'_>, times: u32, counts: &mut Vec<f64>) -> Result<(), Halt> {
    let missing = BenchError::Missing(Role::Console);
    let console = hands.bench.console().ok_or(missing)?;
    for _ in 0..times {
        let reading = console.sense().await.map_err(BenchError::from)?;
        counts.extend(reading.value());
    }
    Ok(())
}

/// An alternating output needs its half-bits in twenty parts or more (58 us,
/// NMRA S-9.1:2020 table 1); a held one is spread over the whole hold.
fn period(drive: Drive, hold: Seconds) -> Seconds {
    match drive {
        Drive::Alternating => Seconds::new(2e-6),
        Drive::Positive | Drive::Negative => (hold / f64::from(SAMPLES)).max(Seconds::new(1e-6)),
    }
}
