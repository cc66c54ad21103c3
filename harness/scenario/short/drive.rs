//! Drives `short`: a timed short near the board and through the bus, looked at
//! twice, finely around its inception and coarsely over its retries. Each
//! short is ended by the switch or load itself, and its opening proven by the current.

use super::seen::{Seen, ShortPulse};
use super::settings::Settings;
use crate::measurement::Blame;
use crate::scenario::acquisition::{Trigger, Window};
use crate::scenario::intent::{Intent, short_branch};
use crate::scenario::routine::{RETRY_ROOM, Snapshot};
use crate::scenario::session::{BenchSession, Halt, Provokes, Serves};
use crate::scenario::take::{Proof, Take};
use crate::scenario::terms::{Place, Polarity};
use crate::scenario::{loops, routine};
use crate::units::{Quantity as _, Seconds};
use crate::waveform::{LogicLine, Signal};

const SIGNALS: [Signal; 3] = [
    Signal::OutputCurrent,
    Signal::NodeVoltage,
    Signal::BoardSupply,
];
const BEFORE: Seconds = Seconds::new(2e-3);
/// What is kept after the short is removed, so that its opening is seen.
const AFTER: Seconds = Seconds::new(5e-3);

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    routine::drive(Polarity::Alternating, session).await?;
    let mut pulses = Vec::new();
    for &place in &settings.places {
        for repeat in 1..=settings.repeats {
            pulses.push(one(settings, place, repeat, session).await?);
        }
    }
    Ok(Seen { pulses })
}

async fn one(
    settings: &Settings,
    place: Place,
    repeat: u32,
    session: &mut impl BenchSession,
) -> Result<ShortPulse, Halt> {
    routine::recover(session).await?;
    let window = Seconds::new(2e-3);
    let rated = session.ratings().rated_current;
    let period = settings.sampling_period;
    let before = Snapshot {
        period,
        length: window,
        signals: &SIGNALS,
        current: rated,
    }
    .take("sampling_period", "before the short", session)
    .await?;
    let fast = pulse(
        place,
        (made("pulse"), settings.pulse),
        ("sampling_period", period),
        (AFTER, "closely"),
        session,
    )
    .await?;
    routine::recover(session).await?;
    // Retries and recovery look alike each time: once a place is enough.
    let slow = if repeat == 1 {
        let slow = pulse(
            place,
            (made("recovery_pulse"), settings.recovery_pulse),
            ("coarse_period", settings.coarse_period),
            (RETRY_ROOM, "for retries"),
            session,
        );
        Some(slow.await?)
    } else {
        None
    };
    routine::recover(session).await?;
    let after = Snapshot {
        period,
        length: window,
        signals: &SIGNALS,
        current: rated,
    }
    .take("sampling_period", "after the short", session)
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

/// Where the short is made, and which setting says for how long.
const fn made(time: Serves) -> Provokes {
    Provokes {
        amount: "places",
        time,
    }
}

/// One timed short, captured from its marker to `tail` after its end.
pub(in crate::scenario) async fn pulse(
    place: Place,
    (provokes, duration): (Provokes, Seconds),
    (samples, period): (Serves, Seconds),
    (tail, how): (Seconds, &str),
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let by_load = session.proof(short_branch(place)) == Proof::Load;
    if by_load {
        let pulse = (provokes, duration);
        return loads_pulse(pulse, (samples, period), (tail, how), session).await;
    }
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
    let widest = loops::short_current(place, session)?;
    let request = routine::request(window, trigger, &SIGNALS, widest, session);
    session.arm(samples, &request).await?;
    session
        .energise(provokes, &text, Intent::ShortPulse { place, duration })
        .await?;
    let take = routine::take_short(&text, duration, place, session).await?;
    routine::prove_open(place, &take, session).await?;
    Ok(take)
}

/// The same by the load, which shorts its own input: nothing but the current shows
/// when. Of an alternating output it begins in either polarity, and a board that ends
/// it within that half-bit is shorted once more, watched for the other.
async fn loads_pulse(
    (provokes, duration): (Provokes, Seconds),
    (samples, period): (Serves, Seconds),
    (tail, how): (Seconds, &str),
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let place = Place::Near;
    let text = format!("short by the load for {duration}, watched {how}");
    let window = Window {
        period,
        before: BEFORE,
        after: duration + tail,
    };
    let level = session.ratings().trip_current.si() / 2.0;
    let widest = loops::short_current(place, session)?;
    for (level, rising) in [(level, true), (-level, false)] {
        let signal = Signal::OutputCurrent;
        let trigger = Trigger::Channel {
            signal,
            level,
            rising,
        };
        let request = routine::request(window, trigger, &SIGNALS, widest, session);
        session.arm(samples, &request).await?;
        session
            .energise(provokes, &text, Intent::LoadShort { duration })
            .await?;
        let take = routine::take_if_triggered(&text, duration, duration, session).await?;
        let take = take.map(|take| Take {
            proof: Proof::Load,
            ..take
        });
        routine::prove_load_open(session).await?;
        match take {
            Some(take) if begins_alive(&take, session) => return Ok(take),
            _ => routine::recover(session).await?,
        }
    }
    Err(Halt::trouble(
        Blame::Bench,
        "the load's short let no current flow that the capture could start on: look at the \
         load, its leads and the current's channel",
    ))
}

/// Whether the output was alive at the beginning of `take`: else its trigger is a
/// retry into a short that began unseen.
fn begins_alive(take: &Take, session: &impl BenchSession) -> bool {
    let capture = &take.capture;
    let least = session.ratings().supply_voltage.si() / 4.0;
    let Some(node) = capture.channel(Signal::NodeVoltage) else {
        return true;
    };
    let (period, before) = (capture.period.si(), -capture.first.si());
    // Half of what comes before the trigger: none of the short's own.
    let count = libm::floor(before / period / 2.0) as usize;
    let volts = |&code: &i16| (node.offset + node.scale * f64::from(code)).abs();
    let alive = node.codes.iter().take(count).map(volts);
    let alive = alive.filter(|volts| *volts > least).count();
    2 * alive >= count
}
