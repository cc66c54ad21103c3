//! Drives `load`: the output held in each polarity, then alternating, and the
//! load stepped up to the rated current. It reads waveforms, not meters, so
//! that every step can be evaluated again.

use super::seen::{LoadStep, Seen};
use super::settings::Settings;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Provokes};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Quantity, Seconds};
use crate::waveform::Signal;

/// What decides how much is drawn, and for how long.
const DRAWN: Provokes = Provokes {
    amount: "steps",
    time: "hold",
};

/// Most samples of one step: enough for twenty half-bits of anything.
const SAMPLES: u32 = 10_000;

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    let mut steps = Vec::new();
    // Room for the load's own overshoot.
    let widest = settings
        .steps
        .iter()
        .copied()
        .fold(Amperes::ZERO, Amperes::max)
        * 1.5;
    for &drive in &settings.polarities {
        routine::drive(drive, session).await?;
        for &current in &settings.steps {
            let text = format!("{} at {current}, held {}", drive.word(), settings.hold);
            if current.si() == 0.0 {
                session.step(&text).await?;
            } else {
                session
                    .energise(DRAWN, &text, Intent::LoadOn(LoadSetting::Current(current)))
                    .await?;
            }
            session.wait("settle", settings.settle).await?;
            let period = period(drive, settings.hold);
            let window = settings.hold.min(period * f64::from(SAMPLES));
            // What is read is the end of the hold.
            session.wait("hold", settings.hold - window).await?;
            let signals = [
                Signal::NodeVoltage,
                Signal::OutputCurrent,
                Signal::BoardSupply,
            ];
            let take = Snapshot {
                period,
                length: window,
                signals: &signals,
                current: widest,
            }
            .take("hold", &text, session)
            .await?;
            steps.push(LoadStep {
                drive,
                current,
                take,
            });
        }
        session.act(WHOLE, Act::LoadOff).await?;
    }
    Ok(Seen { steps })
}

/// A held output may be sampled over the whole hold; an alternating one needs
/// the half-bit of a one (58 us, NMRA S-9.1:2020 table 1) in twenty parts or
/// more, or its levels cannot be told from its edges.
fn period(drive: Polarity, hold: Seconds) -> Seconds {
    match drive {
        Polarity::Alternating => Seconds::new(2e-6),
        Polarity::Positive | Polarity::Negative => {
            (hold / f64::from(SAMPLES)).max(Seconds::new(1e-6))
        }
    }
}
