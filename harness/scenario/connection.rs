//! Before a run lets the full voltage in: whether the board is there, its supply
//! leads are on and the right way round, and nothing on its supply side is shorted,
//! at a voltage that starts no board and a current that hurts none. It judges no
//! limit: what it finds ends the run, with what a person can do about it.
//!
//! Swapped track leads do not show here, since no board delivers at that voltage:
//! `idle.polarity_correct` sees them, and cannot tell them from a board whose output
//! is inverted.

use super::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use super::intent::Intent;
use super::routine::WHOLE;
use super::session::{Act, BenchSession, Halt, Meter, Provokes};
use crate::bench_file::Port;
use crate::ident::Role;
use crate::measurement::{Blame, Estimate};
use crate::units::{Amperes, Quantity, Seconds, Volts};
use crate::waveform::{Capture, Signal, Trace};

/// This part of the lowest voltage that the board works at starts none.
const PART_OF_LOWEST: f64 = 0.3;
/// But no less than that: below it nothing on the rail can be told from an offset.
const LEAST: Volts = Volts::new(2.5);
/// This part of the rated current: well above a board's own appetite, well below any
/// short (a house value).
const PART_OF_RATED: f64 = 0.25;

/// The rail while the supply comes on.
pub(super) const PERIOD: Seconds = Seconds::new(1e-4);
const SAMPLES: u32 = 2000;
/// And when it is on.
pub(super) const SETTLED_SAMPLES: u32 = 200;
/// The capacitors charge, and what is left of the capture passes.
const SETTLE: Seconds = Seconds::new(0.25);

/// Less than this part of the voltage asked for is a short, or nothing connected.
const COMES_UP: f64 = 0.25;
/// A supply that delivers this part of its limit is at it.
const AT_LIMIT: f64 = 0.9;
/// A rail that rises in less than this part of the time that the stated capacitors
/// take has none.
const CHARGES: f64 = 0.1;
/// Beyond three standard uncertainties two instruments disagree (0.3 % of right
/// readings do), and a house allowance for what moves between their readings.
pub(super) const COVERAGE: f64 = 3.0;
const ALLOWANCE: f64 = 0.02;

/// What was asked and what came.
#[derive(Clone, Copy, Debug)]
struct Found {
    asked: Volts,
    limit: Amperes,
    /// What the stated capacitors take from a fifth to four fifths of the voltage.
    charging: f64,
    /// The supply limits.
    limited: bool,
    /// The supply's own reading.
    supply: Option<Estimate>,
    /// The rail at the end, where the capture device sees it.
    rail: Option<Estimate>,
    /// From a fifth to four fifths of the voltage, in seconds, at most.
    rise: Option<f64>,
}

/// Looks at supply side and leads at a low voltage, on a bench that was quiet, and
/// leaves the supply off.
///
/// # Errors
/// A [`Halt`] with what is wrong and what to do.
pub async fn connected(session: &mut impl BenchSession) -> Result<(), Halt> {
    let supply = session.file().instrument(Role::Supply);
    if supply.is_none_or(|supply| supply.port == Port::Person) {
        // Whoever turns the knob sees the supply's meters.
        return Ok(());
    }
    let ratings = *session.ratings();
    let asked = (ratings.lowest_supply * PART_OF_LOWEST).max(LEAST);
    let limit = (ratings.rated_current * PART_OF_RATED).min(session.supply_current());
    // A bench that is slow to switch its supply on is through with these samples by
    // then: they tell how fast the rail rose, where they saw it, and nothing else.
    let sees = arm(session, SAMPLES).await?;
    let provokes = Provokes {
        amount: WHOLE,
        time: WHOLE,
    };
    let intent = Intent::SupplyOn {
        voltage: asked,
        current_limit: limit,
    };
    let text = format!("supply side looked at: {asked}, at most {limit}");
    session.energise(provokes, &text, intent).await?;
    session.wait(WHOLE, SETTLE).await?;
    let current = session.read(WHOLE, Meter::SupplyCurrent).await?;
    let supply = session.read(WHOLE, Meter::SupplyVoltage).await?;
    let limiting = session.protections().await?.supply;
    let (mut rising, mut settled) = (None, None);
    if sees {
        rising = session.read_out("supply side, rising", SETTLE).await?;
        arm(session, SETTLED_SAMPLES).await?;
        session
            .wait(WHOLE, PERIOD * f64::from(SETTLED_SAMPLES))
            .await?;
        settled = session.read_out("supply side, settled", SETTLE).await?;
    }
    session.act(WHOLE, Act::SupplyOff).await?;
    session
        .step("compared: the supply's voltage with the rail that the capture shows")
        .await?;
    let at_limit = current.is_some_and(|current| current.value.abs() >= AT_LIMIT * limit.si());
    let rail = settled.as_ref().and_then(mean_rail);
    let found = Found {
        asked,
        limit,
        charging: 0.6 * ratings.bulk_capacitance.si() * asked.si() / limit.si(),
        limited: limiting || at_limit,
        supply,
        rail,
        rise: rising.as_ref().and_then(|seen| rise(seen, asked)),
    };
    verdict(&found)
}

/// Arms a capture of `length` samples of the rail that begins at once, where the
/// bench sees it.
pub(super) async fn arm(session: &mut impl BenchSession, length: u32) -> Result<bool, Halt> {
    let Some(most) = session.shows(Signal::BoardSupply) else {
        return Ok(false);
    };
    let wanted = session.ratings().highest_supply.si() * 1.25;
    let request = CaptureRequest {
        period: PERIOD,
        length,
        before_trigger: 0,
        trigger: Trigger::Now,
        channels: vec![ChannelRequest {
            signal: Signal::BoardSupply,
            range: wanted.min(most),
        }],
        lines: false,
    };
    session.arm(WHOLE, &request).await?;
    Ok(true)
}

fn verdict(found: &Found) -> Result<(), Halt> {
    let (asked, limit) = (found.asked, found.limit);
    let volts = |estimate: Estimate| Volts::from_si(estimate.value).unwrap_or(Volts::ZERO);
    let low = |estimate: Estimate| estimate.value < COMES_UP * asked.si();
    let shown = found.rail.or(found.supply);
    if let Some(rail) = found.rail
        && rail.value + COVERAGE * rail.u < 0.0
    {
        return Err(Halt::trouble(
            Blame::Operator,
            format!(
                "the board's rail shows {} while the supply gives {asked}, at most {limit}: its \
                 supply leads are swapped, or those of the rail's channel; nothing more was \
                 switched on: put them right and test it again",
                volts(rail)
            ),
        ));
    }
    if found.limited
        && let Some(shown) = shown
        && low(shown)
    {
        return Err(Halt::trouble(
            Blame::Board,
            format!(
                "the supply comes to its limit of {limit} at {}: there is a short on the supply \
                 side; nothing more was switched on: look for one on the board, and for swapped \
                 supply leads",
                volts(shown)
            ),
        ));
    }
    if let Some(rail) = found.rail
        && low(rail)
    {
        return Err(Halt::trouble(
            Blame::Operator,
            format!(
                "the supply gives {asked} and the board's rail shows {}: a supply lead is off, or \
                 there is no board in the fixture; nothing more was switched on",
                volts(rail)
            ),
        ));
    }
    if let Some(rise) = found.rise
        && rise < CHARGES * found.charging
    {
        let stated = Seconds::new(found.charging);
        return Err(Halt::trouble(
            Blame::Operator,
            format!(
                "the board's rail came up in less than {}, and the plan's `bulk_capacitance` would \
                 take {stated}: there is no board in the fixture, or it lacks its capacitors; \
                 nothing more was switched on",
                Seconds::new(rise)
            ),
        ));
    }
    if let (Some(supply), Some(rail)) = (found.supply, found.rail) {
        let u = libm::hypot(supply.u, rail.u);
        let allowed = COVERAGE * u + ALLOWANCE * asked.si();
        if (supply.value - rail.value).abs() > allowed {
            return Err(Halt::danger(format!(
                "the supply shows {} and the capture device {} of the board's rail: one of the two \
                 is wrong by more than both are stated to err; look at leads, the rail's channel \
                 and its `scale` in the bench file",
                volts(supply),
                volts(rail)
            )));
        }
    }
    Ok(())
}

/// The mean of the rail; `None` where it is not in it.
pub(super) fn mean_rail(capture: &Capture) -> Option<Estimate> {
    let trace = Trace::of(capture, Signal::BoardSupply)?;
    let values = trace.values();
    // A rehearsal's capture is no measurement: it has a few samples for their form.
    if values.len() < SETTLED_SAMPLES as usize / 2 {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let u = libm::hypot(trace.scale_u(mean), trace.sample_u());
    Some(Estimate::new(mean, u))
}

/// From a fifth to four fifths of `asked`, with a sample either side; `None` where
/// the rail was up already or never came up.
fn rise(capture: &Capture, asked: Volts) -> Option<f64> {
    let trace = Trace::of(capture, Signal::BoardSupply)?;
    let above = |part: f64| {
        let values = trace.values().iter();
        values.clone().position(|&value| value >= part * asked.si())
    };
    let (from, to) = (above(0.2)?, above(0.8)?);
    (from > 0).then(|| (to - from + 2) as f64 * trace.period())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sound() -> Found {
        Found {
            asked: Volts::new(3.6),
            limit: Amperes::new(0.75),
            charging: 2.9e-3,
            limited: false,
            supply: Some(Estimate::new(3.6, 0.004)),
            rail: Some(Estimate::new(3.58, 0.02)),
            rise: Some(3.1e-3),
        }
    }

    fn told(found: Found) -> String {
        match verdict(&found) {
            Err(Halt::Trouble { what, .. }) => what,
            other => panic!("{found:?}: {other:?}"),
        }
    }

    #[test]
    fn a_sound_board_goes_on() {
        assert_eq!(verdict(&sound()), Ok(()));
        // A bench that sees no rail, or saw it too late, has fewer questions.
        for found in [
            Found {
                rail: None,
                rise: None,
                ..sound()
            },
            Found {
                rise: None,
                ..sound()
            },
            Found {
                supply: None,
                ..sound()
            },
        ] {
            assert_eq!(verdict(&found), Ok(()), "{found:?}");
        }
    }

    /// Each with the words that a person acts on.
    #[test]
    fn each_fault_says_what_to_do() {
        let short = Found {
            limited: true,
            supply: Some(Estimate::new(0.08, 0.004)),
            rail: Some(Estimate::new(0.04, 0.02)),
            rise: None,
            ..sound()
        };
        assert!(told(short).contains("short on the supply side"));
        let unseen = Found {
            rail: None,
            ..short
        };
        assert!(told(unseen).contains("short on the supply side"));
        // Two body diodes in series, about 0.7 V each (common practice, no source).
        let swapped = Found {
            rail: Some(Estimate::new(-1.4, 0.02)),
            ..short
        };
        assert!(told(swapped).contains("supply leads are swapped"));
        let off = Found {
            rail: Some(Estimate::new(0.01, 0.02)),
            rise: None,
            ..sound()
        };
        assert!(told(off).contains("a supply lead is off"));
        let empty = Found {
            rise: Some(2e-4),
            ..sound()
        };
        assert!(told(empty).contains("no board in the fixture"));
        let halved = Found {
            rail: Some(Estimate::new(1.8, 0.02)),
            ..sound()
        };
        assert!(told(halved).contains("one of the two is wrong"));
    }
}
