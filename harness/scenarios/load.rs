//! Drives `load`: the output held in each polarity, then alternating, and the
//! load stepped up to the rated current. It reads waveforms, not meters, so
//! that every step can be evaluated again.

use super::hands::{Halt, Hands};
use crate::bench::Intent;
use crate::instruments::LoadSetting;
use crate::observation::{Drive, LoadStep, Observation};
use crate::plan::{self, Polarity};
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
    for &polarity in &settings.polarities {
        let drive = match polarity {
            Polarity::Positive => Drive::Positive,
            Polarity::Negative => Drive::Negative,
            Polarity::Alternating => Drive::Alternating,
        };
        hands.drive(drive).await?;
        for &current in &settings.steps {
            let text = format!("{} at {current}, held {}", drive.word(), settings.hold);
            hands.step(&text).await?;
            if current.si() > 0.0 {
                hands
                    .energise(&text, Intent::LoadOn(LoadSetting::Current(current)))
                    .await?;
            }
            hands.bench.wait(settings.settle).await?;
            let period = Seconds::new((settings.hold.si() / f64::from(SAMPLES)).max(1e-6));
            let signals = [
                Signal::NodeVoltage,
                Signal::OutputCurrent,
                Signal::BoardSupply,
            ];
            let take = hands
                .snapshot(&text, period, settings.hold, &signals, widest)
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
