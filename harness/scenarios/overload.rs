//! Drives `overload`: a slow ramp to find the trip current, timed steps to
//! multiples of the nominal one, and a long hold just below it. The board is
//! left to restart by itself between them.

use super::hands::{Halt, Hands, Window};
use crate::envelope::Intent;
use crate::instruments::Trigger;
use crate::observation::{Drive, Observation, OverloadRamp, OverloadStep, Take};
use crate::plan;
use crate::units::{Amperes, Quantity, Seconds};
use crate::waveform::{LogicLine, Signal};

const SIGNALS: [Signal; 3] = [
    Signal::OutputCurrent,
    Signal::NodeVoltage,
    Signal::BoardSupply,
];

/// What is kept before and after a trip that the fault line announces.
const BEFORE_TRIP: Seconds = Seconds::new(20e-3);
const AFTER_TRIP: Seconds = Seconds::new(5e-3);
/// What is kept before a pulse, for its zero.
const BEFORE_PULSE: Seconds = Seconds::new(2e-3);

pub(super) async fn drive(
    settings: &plan::Overload,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    hands.drive(Drive::Alternating).await?;
    let ramp = ramp(settings, hands).await?;
    let mut steps = Vec::new();
    for &multiple in &settings.multiples {
        hands.recover().await?;
        steps.push(step(settings, multiple, hands).await?);
    }
    hands.recover().await?;
    let hold = hold(settings, hands).await?;
    Ok(Observation::Overload {
        ramp: Some(ramp),
        steps,
        hold: Some(hold),
    })
}

/// Ramps up and captures around the board's fault line; where that never
/// moves, captures the last of the ramp instead, which then still shows the
/// current flowing.
async fn ramp(settings: &plan::Overload, hands: &mut Hands<'_>) -> Result<OverloadRamp, Halt> {
    let (from, to, duration) = (settings.ramp_from, settings.ramp_to, settings.ramp_time);
    let text = format!("ramp from {from} to {to} in {duration}");
    let period = settings.sampling_period;
    let window = Window {
        period,
        before: BEFORE_TRIP,
        after: AFTER_TRIP,
    };
    let trigger = Trigger::Line {
        line: LogicLine::Fault,
        rising: true,
    };
    let widest = to * 1.5;
    hands
        .bench
        .arm(&hands.request(window, trigger, &SIGNALS, widest))
        .await?;
    hands
        .energise(&text, Intent::LoadRamp { from, to, duration })
        .await?;
    // The load holds the ramp's end, so the last look still sees it.
    let take = match hands.fetch_if_triggered(&text, duration, duration).await? {
        Some(take) => take,
        None => {
            let take = hands
                .snapshot(&text, period, AFTER_TRIP, &SIGNALS, widest)
                .await?;
            Take {
                pulse: duration,
                ..take
            }
        }
    };
    hands.bench.load_off().await?;
    Ok(OverloadRamp {
        from,
        to,
        duration,
        take,
    })
}

/// Most samples of the hold: it only has to show every trip, and a trip lasts.
const HOLD_SAMPLES: f64 = 20_000.0;

/// Holds just below the trip current and watches all of it.
async fn hold(settings: &plan::Overload, hands: &mut Hands<'_>) -> Result<OverloadRamp, Halt> {
    let (current, duration) = (settings.hold_current, settings.hold_time);
    let text = format!("hold {current} for {duration}");
    let period = settings.sampling_period.max(duration / HOLD_SAMPLES);
    let take = drawn(&text, current, duration, period, hands).await?;
    Ok(OverloadRamp {
        from: current,
        to: current,
        duration,
        take,
    })
}

async fn step(
    settings: &plan::Overload,
    multiple: f64,
    hands: &mut Hands<'_>,
) -> Result<OverloadStep, Halt> {
    let current = hands.plan.ratings.trip_current * multiple;
    let duration = settings.pulse;
    let text = format!("step to {multiple} x trip current, {current} for {duration}");
    let take = drawn(&text, current, duration, settings.sampling_period, hands).await?;
    Ok(OverloadStep {
        multiple,
        current,
        take,
    })
}

/// Draws `current` for `duration` in a pulse that the load ends by itself,
/// captured from just before it to just after it.
async fn drawn(
    text: &str,
    current: Amperes,
    duration: Seconds,
    period: Seconds,
    hands: &mut Hands<'_>,
) -> Result<Take, Halt> {
    let window = Window {
        period,
        before: BEFORE_PULSE,
        after: duration + AFTER_TRIP,
    };
    let trigger = Trigger::Channel {
        signal: Signal::OutputCurrent,
        level: current.si() / 2.0,
        rising: true,
    };
    let widest = current * 1.5;
    let request = hands.request(window, trigger, &SIGNALS, widest);
    hands.bench.arm(&request).await?;
    let pulse = Intent::LoadPulse { current, duration };
    hands.energise(text, pulse).await?;
    let take = match hands.fetch_if_triggered(text, duration, duration).await? {
        Some(take) => take,
        // The current never came: say so with what there is.
        None => {
            hands
                .snapshot(text, period, AFTER_TRIP, &SIGNALS, widest)
                .await?
        }
    };
    hands.bench.load_off().await?;
    Ok(take)
}
