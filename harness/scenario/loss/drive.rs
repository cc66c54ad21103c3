//! Drives `loss`: the signal stops or a line of it breaks while the unloaded
//! output is captured. What the output should do then is nobody's business
//! here.

use super::seen::{Seen, SignalLost};
use super::settings::{BEFORE_LOSS, LossCause, Settings};
use crate::scenario::acquisition::{Trigger, Window};
use crate::scenario::routine;
use crate::scenario::routine::WHOLE;
use crate::scenario::session::{Act, BenchSession, Halt, InputLine};
use crate::scenario::terms::Polarity;
use crate::units::Seconds;
use crate::waveform::Signal;

const SIGNALS: [Signal; 2] = [Signal::NodeVoltage, Signal::BoardSupply];

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    let mut losses = Vec::new();
    for &cause in &settings.causes {
        let taken = lose(settings, cause, session).await;
        // However that went, the signal comes back and its lines are whole.
        if cause.breaks() {
            session.act("causes", Act::BreakLine(None)).await?;
        }
        session.act(WHOLE, Act::Signal(true)).await?;
        losses.push(taken?);
        routine::drive(Polarity::Alternating, session).await?;
        routine::recover(session).await?;
    }
    Ok(Seen { losses })
}

async fn lose(
    settings: &Settings,
    cause: LossCause,
    session: &mut impl BenchSession,
) -> Result<SignalLost, Halt> {
    let text = format!("{}, output watched", cause.word());
    session.step(&text).await?;
    // It is started first, so that the last edges before the loss are in it.
    let window = Window {
        period: settings.sampling_period,
        before: Seconds::ZERO,
        after: BEFORE_LOSS + settings.length,
    };
    let widest = session.ratings().rated_current;
    let request = routine::request(window, Trigger::Now, &SIGNALS, widest, session);
    session.arm("sampling_period", &request).await?;
    match cause {
        LossCause::SignalStops => session.act(WHOLE, Act::Signal(false)).await?,
        LossCause::LineA => {
            session
                .act("causes", Act::BreakLine(Some(InputLine::A)))
                .await?
        }
        LossCause::LineB => {
            session
                .act("causes", Act::BreakLine(Some(InputLine::B)))
                .await?
        }
    }
    let take = routine::take(&text, settings.length, session).await?;
    Ok(SignalLost { cause, take })
}
