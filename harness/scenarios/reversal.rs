//! Drives `reversal`: a section boundary bridged against the polarity that the
//! board has at that moment, both ways, then a true short while reversing is
//! possible. The phase is measured before each closing, never assumed.

use super::hands::{Halt, Hands, Window};
use super::short;
use crate::envelope::Intent;
use crate::instruments::Trigger;
use crate::observation::{Direction, Drive, GapClosing, Observation, Place};
use crate::plan;
use crate::units::{Quantity, Seconds};
use crate::waveform::{LogicLine, Signal};

const SIGNALS: [Signal; 5] = Signal::ALL;
const BEFORE: Seconds = Seconds::new(2e-3);

pub(super) async fn drive(
    settings: &plan::Reversal,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.power_up().await?;
    hands.drive(Drive::Alternating).await?;
    let mut closings = Vec::new();
    for &direction in &settings.directions {
        hands.recover().await?;
        closings.push(closing(settings, direction, hands).await?);
    }
    hands.recover().await?;
    let (duration, period) = (settings.short_pulse, settings.sampling_period);
    let tail = BEFORE * 2.0;
    let short = short::pulse(Place::Near, duration, period, tail, "reversing", hands).await?;
    let upstream_trip = hands.upstream_trip_time()?;
    Ok(Observation::Reversal {
        closings,
        upstream_trip,
        // The bench file states the time; without a stated tolerance a tenth
        // is taken as the half-width of a rectangle.
        upstream_trip_u: Seconds::new(crate::measurement::rectangular(upstream_trip.si() / 10.0)),
        short: Some(short),
    })
}

async fn closing(
    settings: &plan::Reversal,
    direction: Direction,
    hands: &mut Hands<'_>,
) -> Result<GapClosing, Halt> {
    let inverted = hands.output_is_inverted().await?;
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
    hands
        .bench
        .arm(&hands.request(window, trigger, &SIGNALS, hands.mismatch_current(crossed)?))
        .await?;
    hands
        .energise(&text, Intent::GapPulse { crossed, duration })
        .await?;
    let take = hands.fetch(&text, duration).await?;
    let upstream_voltage = hands.upstream_voltage(&take)?;
    Ok(GapClosing {
        direction,
        upstream_voltage,
        take,
    })
}
