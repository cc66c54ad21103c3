//! Drives `short`: a timed short near the board and through the bus, looked at
//! twice, finely around its inception and coarsely over its retries. Each
//! short is ended by the switch itself, and its opening proven by the current.

use super::hands::{Halt, Hands, Window};
use crate::envelope::Intent;
use crate::instruments::Trigger;
use crate::observation::{Drive, Observation, Place, ShortPulse, Take};
use crate::plan;
use crate::units::Seconds;
use crate::waveform::{LogicLine, Signal};

const SIGNALS: [Signal; 3] = [
    Signal::OutputCurrent,
    Signal::NodeVoltage,
    Signal::BoardSupply,
];
const BEFORE: Seconds = Seconds::new(2e-3);
/// What is kept after the short is removed, so that its opening is seen.
const AFTER: Seconds = Seconds::new(5e-3);

pub(super) async fn drive(
    settings: &plan::Short,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    hands.drive(Drive::Alternating).await?;
    let mut pulses = Vec::new();
    for &place in &settings.places {
        for repeat in 1..=settings.repeats {
            pulses.push(one(settings, place, repeat, hands).await?);
        }
    }
    Ok(Observation::Short { pulses })
}

async fn one(
    settings: &plan::Short,
    place: Place,
    repeat: u32,
    hands: &mut Hands<'_>,
) -> Result<ShortPulse, Halt> {
    hands.recover().await?;
    let window = Seconds::new(2e-3);
    let rated = hands.plan.ratings.rated_current;
    let period = settings.sampling_period;
    let before = hands
        .snapshot("before the short", period, window, &SIGNALS, rated)
        .await?;
    let fast = pulse(place, settings.pulse, period, AFTER, "closely", hands).await?;
    hands.recover().await?;
    // Retries and recovery look alike each time: once a place is enough.
    let slow = if repeat == 1 {
        let tail = hands.retry_room();
        Some(
            pulse(
                place,
                settings.recovery_pulse,
                settings.coarse_period,
                tail,
                "for retries",
                hands,
            )
            .await?,
        )
    } else {
        None
    };
    hands.recover().await?;
    let after = hands
        .snapshot("after the short", period, window, &SIGNALS, rated)
        .await?;
    Ok(ShortPulse {
        place,
        repeat,
        before,
        fast,
        slow,
        after,
    })
}

/// One timed short, captured from its marker to `tail` after its end.
pub(super) async fn pulse(
    place: Place,
    duration: Seconds,
    period: Seconds,
    tail: Seconds,
    how: &str,
    hands: &mut Hands<'_>,
) -> Result<Take, Halt> {
    let text = format!("short {} for {duration}, watched {how}", place.word());
    let line = match place {
        Place::Near => LogicLine::NearMarker,
        Place::Far => LogicLine::FarMarker,
    };
    let window = Window {
        period,
        before: BEFORE,
        after: duration + tail,
    };
    let trigger = Trigger::Line { line, rising: true };
    hands
        .bench
        .arm(&hands.request(window, trigger, &SIGNALS, hands.short_current(place)?))
        .await?;
    hands
        .energise(&text, Intent::ShortPulse { place, duration })
        .await?;
    let take = hands.fetch_short(&text, duration, place).await?;
    hands.prove_open(place, &take).await?;
    Ok(take)
}
