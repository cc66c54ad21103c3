//! Drives `overload`: a slow ramp to find the trip current, timed steps to
//! multiples of the nominal one, and a long hold just below it. The board is
//! left to restart by itself between them.

use super::seen::{OverloadRamp, OverloadStep, Seen};
use super::settings::Settings;
use crate::scenario::acquisition::{Trigger, Window};
use crate::scenario::intent::Intent;
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Provokes, Serves};
use crate::scenario::take::Take;
use crate::scenario::terms::Polarity;
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

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    routine::drive(Polarity::Alternating, session).await?;
    let ramp = ramp(settings, session).await?;
    let mut steps = Vec::new();
    for &multiple in &settings.multiples {
        routine::recover(session).await?;
        steps.push(step(settings, multiple, session).await?);
    }
    routine::recover(session).await?;
    let hold = hold(settings, session).await?;
    Ok(Seen {
        ramp: Some(ramp),
        steps,
        hold: Some(hold),
    })
}

/// What decides how much is drawn, and for how long.
const fn drawing(amount: Serves, time: Serves) -> Provokes {
    Provokes { amount, time }
}

/// Ramps up and captures around the board's fault line; where that never
/// moves, captures the last of the ramp instead, which then still shows the
/// current flowing.
async fn ramp(settings: &Settings, session: &mut impl BenchSession) -> Result<OverloadRamp, Halt> {
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
    let request = routine::request(window, trigger, &SIGNALS, widest, session);
    session.arm("ramp_time", &request).await?;
    session
        .energise(
            drawing("ramp_to", "ramp_time"),
            &text,
            Intent::LoadRamp { from, to, duration },
        )
        .await?;
    // The load holds the ramp's end, so the last look still sees it.
    let take = match routine::take_if_triggered(&text, duration, duration, session).await? {
        Some(take) => take,
        None => {
            let take = Snapshot {
                period,
                length: AFTER_TRIP,
                signals: &SIGNALS,
                current: widest,
            }
            .take("sampling_period", &text, session)
            .await?;
            Take {
                pulse: duration,
                ..take
            }
        }
    };
    session.act(WHOLE, Act::LoadOff).await?;
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
async fn hold(settings: &Settings, session: &mut impl BenchSession) -> Result<OverloadRamp, Halt> {
    let (current, duration) = (settings.hold_current, settings.hold_time);
    let text = format!("hold {current} for {duration}");
    let period = settings.sampling_period.max(duration / HOLD_SAMPLES);
    let take = drawn(
        drawing("hold_current", "hold_time"),
        &text,
        current,
        duration,
        period,
        session,
    )
    .await?;
    Ok(OverloadRamp {
        from: current,
        to: current,
        duration,
        take,
    })
}

async fn step(
    settings: &Settings,
    multiple: f64,
    session: &mut impl BenchSession,
) -> Result<OverloadStep, Halt> {
    let current = session.ratings().trip_current * multiple;
    let duration = settings.pulse;
    let text = format!("step to {multiple} x trip current, {current} for {duration}");
    let take = drawn(
        drawing("multiples", "pulse"),
        &text,
        current,
        duration,
        settings.sampling_period,
        session,
    )
    .await?;
    Ok(OverloadStep {
        multiple,
        current,
        take,
    })
}

/// Draws `current` for `duration` in a pulse that the load ends by itself,
/// captured from just before it to just after it.
async fn drawn(
    provokes: Provokes,
    text: &str,
    current: Amperes,
    duration: Seconds,
    period: Seconds,
    session: &mut impl BenchSession,
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
    let request = routine::request(window, trigger, &SIGNALS, widest, session);
    session.arm("sampling_period", &request).await?;
    let pulse = Intent::LoadPulse { current, duration };
    session.energise(provokes, text, pulse).await?;
    let take = match routine::take_if_triggered(text, duration, duration, session).await? {
        Some(take) => take,
        // The current never came: say so with what there is.
        None => {
            Snapshot {
                period,
                length: AFTER_TRIP,
                signals: &SIGNALS,
                current: widest,
            }
            .take("sampling_period", text, session)
            .await?
        }
    };
    session.act(WHOLE, Act::LoadOff).await?;
    Ok(take)
}
