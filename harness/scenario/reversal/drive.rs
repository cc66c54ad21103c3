//! Drives `reversal`: a section boundary bridged against the polarity that the
//! board has at that moment, both ways, then a true short while reversing is
//! possible. The phase is measured before each closing, never assumed.

use super::seen::{GapClosing, Seen};
use super::settings::{Direction, Settings};
use crate::measurement::{Blame, rectangular};
use crate::scenario::acquisition::{Trigger, Window};
use crate::scenario::intent::Intent;
use crate::scenario::routine::{Snapshot, WHOLE, peak};
use crate::scenario::session::{BenchSession, Halt, Provokes};
use crate::scenario::take::Take;
use crate::scenario::terms::{Place, Polarity};
use crate::scenario::{loops, routine, short};
use crate::units::{Quantity, Seconds, Volts};
use crate::waveform::{LogicLine, Signal};

/// What decides what flows across the gap, and for how long.
const BRIDGED: Provokes = Provokes {
    amount: "directions",
    time: "gap_pulse",
};

const SIGNALS: [Signal; 5] = Signal::ALL;
const BEFORE: Seconds = Seconds::new(2e-3);

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::power_up(session).await?;
    routine::drive(Polarity::Alternating, session).await?;
    let mut closings = Vec::new();
    for &direction in &settings.directions {
        routine::recover(session).await?;
        closings.push(closing(settings, direction, session).await?);
    }
    routine::recover(session).await?;
    let (duration, period) = (settings.short_pulse, settings.sampling_period);
    let tail = BEFORE * 2.0;
    let short = short::pulse(
        Place::Near,
        (
            Provokes {
                amount: "short_pulse",
                time: "short_pulse",
            },
            duration,
        ),
        ("sampling_period", period),
        (tail, "reversing"),
        session,
    )
    .await?;
    let upstream_trip = upstream_trip_time(session)?;
    Ok(Seen {
        closings,
        upstream_trip,
        // The bench file states the time; without a stated tolerance a tenth
        // is taken as the half-width of a rectangle.
        upstream_trip_u: Seconds::new(rectangular(upstream_trip.si() / 10.0)),
        short: Some(short),
    })
}

async fn closing(
    settings: &Settings,
    direction: Direction,
    session: &mut impl BenchSession,
) -> Result<GapClosing, Halt> {
    let inverted = output_is_inverted(session).await?;
    // Against an inverted output the straight gap is the mismatch.
    let crossed = !inverted;
    let gap = if crossed { "crossed" } else { "straight" };
    let duration = settings.gap_pulse;
    let text = format!("gap {gap} closed for {duration}, {}", direction.word());
    let after = settings.pulse.max(duration + BEFORE * 2.0);
    let window = Window {
        period: settings.sampling_period,
        before: BEFORE,
        after,
    };
    let trigger = Trigger::Line {
        line: LogicLine::GapMarker,
        rising: true,
    };
    let widest = loops::mismatch_current(crossed, session)?;
    let request = routine::request(window, trigger, &SIGNALS, widest, session);
    session.arm("sampling_period", &request).await?;
    session
        .energise(BRIDGED, &text, Intent::GapPulse { crossed, duration })
        .await?;
    let take = routine::take(&text, duration, session).await?;
    routine::prove_gap_open(crossed, &take, session).await?;
    let upstream_voltage = upstream_voltage(&take)?;
    Ok(GapClosing {
        direction,
        upstream_voltage,
        take,
    })
}

/// Whether the output is the inverse of the first input line now.
async fn output_is_inverted(session: &mut impl BenchSession) -> Result<bool, Halt> {
    let look = Snapshot {
        period: Seconds::new(1e-6),
        length: Seconds::new(2e-3),
        signals: &[Signal::NodeVoltage],
        current: session.ratings().rated_current,
    };
    let capture = look.capture(WHOLE, "phase", session).await?;
    let lacks = |what: &str| {
        let what = format!("the bench file names no {what}");
        Halt::trouble(Blame::Bench, what)
    };
    let line = capture
        .line(LogicLine::SignalA)
        .ok_or_else(|| lacks("logic line for the board's first input"))?;
    let channel = capture
        .channel(Signal::NodeVoltage)
        .ok_or_else(|| lacks("channel for the node voltage"))?;
    let agreement: f64 = (0..channel.codes.len())
        .map(|at| {
            let value = channel.offset + channel.scale * f64::from(channel.codes[at]);
            if line.level(at) { value } else { -value }
        })
        .sum();
    Ok(agreement < 0.0)
}

/// The upstream source's voltage while the gap was still open.
fn upstream_voltage(take: &Take) -> Result<Volts, Halt> {
    let value = peak(&take.capture, Signal::UpstreamVoltage);
    let missing = || Halt::trouble(Blame::Bench, "no upstream voltage was captured");
    Volts::from_si(value).ok_or_else(missing)
}

/// The stated trip time of the upstream source.
fn upstream_trip_time(session: &impl BenchSession) -> Result<Seconds, Halt> {
    let upstream = session.file().upstream.as_ref();
    upstream
        .map(|upstream| upstream.trip_time)
        .ok_or_else(|| Halt::trouble(Blame::Bench, "the bench file states no upstream source"))
}
