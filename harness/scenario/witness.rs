//! Whether supply and capture device still say the same of the rail when a scenario is
//! over: a channel that drifts would judge a board, and all that it shows drifts alike.
//! It judges no board, and looks at nothing else than the rail.

use super::connection::{COVERAGE, PERIOD, SETTLED_SAMPLES, arm, mean_rail};
use super::routine::WHOLE;
use super::session::{Act, BenchSession, Halt, Meter};
use super::stimulus::RAIL_DROP;
use crate::bench_file::Port;
use crate::ident::Role;
use crate::measurement::Estimate;
use crate::units::{Quantity, Seconds, Volts};
use crate::waveform::{Capture, Signal};

/// With less than this at its terminals the supply is off, or as good as off.
const ON: Volts = Volts::new(2.5);
/// What moves between the readings of a rail at rest, relative (a house value). What is
/// allowed here may not fail a board: limits are a few parts in a hundred away.
const MOVES: f64 = 0.005;
/// What is left of the capture passes.
const PATIENCE: Seconds = Seconds::new(0.25);
/// One look takes less, on any bench that is not lost already.
const ROOM: Seconds = Seconds::new(2.5);
/// A meter may still show what was before: some renew their readings twice a second
/// (common practice, no source). So often it is looked at, and so long apart.
const LOOKS: u32 = 4;
const APART: Seconds = Seconds::new(0.4);

/// Compares the supply's voltmeter with the rail's channel, the load off; nothing where
/// the supply is off, no channel sees the rail or its range is too small, a person reads
/// the meter, or the envelope leaves no time for it.
///
/// # Errors
/// A [`Halt`] that ends the run where they disagree.
pub async fn witnessed(session: &mut impl BenchSession) -> Result<(), Halt> {
    let supply = session.file().instrument(Role::Supply);
    let by_hand = supply.is_none_or(|supply| supply.port == Port::Person);
    if by_hand || session.shows(Signal::BoardSupply).is_none() {
        return Ok(());
    }
    session.act(WHOLE, Act::CaptureOff).await?;
    session.act(WHOLE, Act::LoadOff).await?;
    let mut found = None;
    for look in 0..LOOKS {
        if session.may_go_on(WHOLE, ROOM).is_err() {
            break;
        }
        if look > 0 {
            session.wait(WHOLE, APART).await?;
        }
        found = disagreement(session).await?;
        if found.is_none() {
            break;
        }
    }
    found.map_or(Ok(()), Err)
}

/// What the two say if they disagree now.
async fn disagreement(session: &mut impl BenchSession) -> Result<Option<Halt>, Halt> {
    let supply = session.read(WHOLE, Meter::SupplyVoltage).await?;
    let Some(supply) = supply.filter(|supply| supply.value > ON.si()) else {
        return Ok(None);
    };
    arm(session, SETTLED_SAMPLES).await?;
    session
        .wait(WHOLE, PERIOD * f64::from(SETTLED_SAMPLES))
        .await?;
    let seen = session.read_out("rail compared", PATIENCE).await?;
    let whole = |seen: &&Capture| {
        let channel = seen.channel(Signal::BoardSupply);
        channel.is_some_and(|channel| !channel.clipped)
    };
    let rail = seen.as_ref().filter(whole).and_then(mean_rail);
    Ok(rail.and_then(|rail| apart(supply, rail)))
}

/// What is said of readings that are farther apart than they may be.
fn apart(supply: Estimate, rail: Estimate) -> Option<Halt> {
    let allowed = COVERAGE * libm::hypot(supply.u, rail.u) + MOVES * supply.value;
    let above = rail.value - supply.value;
    if above <= allowed && above >= -allowed - RAIL_DROP {
        return None;
    }
    let volts = |value| Volts::from_si(value).unwrap_or(Volts::ZERO);
    Some(Halt::danger(format!(
        "after the scenario the supply shows {} and the capture device {} of the board's rail: one \
         of the two is wrong by more than both are stated to err, so nothing that was captured is \
         judged; look at leads, the rail's channel and its `scale` in the bench file",
        volts(supply.value),
        volts(rail.value)
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rail_is_not_above_its_supply() {
        let said = |supply: f64, rail: f64| {
            apart(Estimate::new(supply, 0.01), Estimate::new(rail, 0.05)).is_some()
        };
        // A diode takes 0.4 to 1 V (common practice, no source).
        for rail in [18.0, 17.9, 17.6, 17.1, 18.2] {
            assert!(!said(18.0, rail), "{rail}");
        }
        for rail in [18.7, 16.0, 0.0, -18.0] {
            assert!(said(18.0, rail), "{rail}");
        }
    }
}
