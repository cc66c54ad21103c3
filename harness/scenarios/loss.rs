//! Drives `loss`: the signal stops or a line of it breaks while the unloaded
//! output is captured. What the output should do then is nobody's business
//! here.

use super::hands::{Halt, Hands, Window};
use crate::instruments::{InputLine, Trigger};
use crate::observation::{Drive, Observation, SignalLost};
use crate::plan::{self, BEFORE_LOSS, LossCause};
use crate::units::Seconds;
use crate::waveform::Signal;

const SIGNALS: [Signal; 2] = [Signal::NodeVoltage, Signal::BoardSupply];

pub(super) async fn drive(
    settings: &plan::Loss,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    let mut losses = Vec::new();
    for &cause in &settings.causes {
        let taken = lose(settings, cause, hands).await;
        // However that went, the signal comes back and its lines are whole.
        if cause.breaks() {
            hands.bench.break_line(None).await?;
        }
        hands.bench.signal(true).await?;
        losses.push(taken?);
        hands.drive(Drive::Alternating).await?;
        hands.recover().await?;
    }
    Ok(Observation::Loss { losses })
}

async fn lose(
    settings: &plan::Loss,
    cause: LossCause,
    hands: &mut Hands<'_>,
) -> Result<SignalLost, Halt> {
    let text = format!("{}, output watched", cause.word());
    hands.step(&text).await?;
    // It is started first, so that the last edges before the loss are in it.
    let window = Window {
        period: settings.sampling_period,
        before: Seconds::ZERO,
        after: BEFORE_LOSS + settings.length,
    };
    let widest = hands.plan.ratings.rated_current;
    let request = hands.request(window, Trigger::Now, &SIGNALS, widest);
    hands.bench.arm(&request).await?;
    match cause {
        LossCause::SignalStops => hands.bench.signal(false).await?,
        LossCause::LineA => hands.bench.break_line(Some(InputLine::A)).await?,
        LossCause::LineB => hands.bench.break_line(Some(InputLine::B)).await?,
    }
    let take = hands.fetch(&text, settings.length).await?;
    Ok(SignalLost { cause, take })
}
