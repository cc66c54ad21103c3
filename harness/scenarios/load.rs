//! Drives `load`: the output held in each polarity, then alternating, and the
//! load stepped up to the rated current. It reads waveforms, not meters, so
//! that every step can be evaluated again.

use super::hands::{Halt, Hands};
use crate::envelope::{Intent, LoadSetting};
use crate::observation::{Drive, LoadStep, Observation};
use crate::plan;
use crate::units::{Amperes, Quantity, Seconds};
use crate::waveform::Signal;

/// Most samples of one step: enough for twenty half-bits of anything.
const SAMPLES: u32 = 10_000;

pub(super) async fn drive(
    settings: &plan::Load,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    let mut steps = Vec::new();
    // Room for the load's own overshoot.
    let widest = settings
        .steps
        .iter()
        .copied()
        .fold(Amperes::ZERO, Amperes::max)
        * 1.5;
    for &drive in &settings.polarities {
        hands.drive(drive).await?;
        for &current in &settings.steps {
            let text = format!("{} at {current}, held {}", drive.word(), settings.hold);
            if current.si() == 0.0 {
                hands.step(&text).await?;
            } else {
                hands
                    .energise(&text, Intent::LoadOn(LoadSetting::Current(current)))
                    .await?;
            }
            hands.bench.wait(settings.settle).await?;
            let period = period(drive, settings.hold);
            let window = settings.hold.min(period * f64::from(SAMPLES));
            // What is read is the end of the hold.
            hands.bench.wait(settings.hold - window).await?;
            let signals = [
                Signal::NodeVoltage,
                Signal::OutputCurrent,
                Signal::BoardSupply,
            ];
            let take = hands
                .snapshot(&text, period, window, &signals, widest)
                .await?;
            steps.push(LoadStep {
                drive,
                current,
                take,
            });
        }
        hands.bench.load_off().await?;
    }
    Ok(Observation::Load { steps })
}

/// A held output may be sampled over the whole hold; an alternating one needs
/// the half-bit of a one (58 us, NMRA S-9.1:2020 table 1) in twenty parts or
/// more, or its levels cannot be told from its edges.
fn period(drive: Drive, hold: Seconds) -> Seconds {
    match drive {
        Drive::Alternating => Seconds::new(2e-6),
        Drive::Positive | Drive::Negative => (hold / f64::from(SAMPLES)).max(Seconds::new(1e-6)),
    }
}
