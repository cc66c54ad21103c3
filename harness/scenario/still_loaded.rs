//! Whether a board that stays dead starts into something that was switched off: a load
//! that ignores its command holds it down with every retry, and while it is down no
//! meter shows a current. It blames nobody for what a board without a load does.

use super::acquisition::{Trigger, Window};
use super::routine::{WHOLE, request, supply_on};
use super::session::{Act, BenchSession, Halt};
use crate::units::{Quantity as _, Seconds};
use crate::waveform::{Capture, Signal};

/// The supply is off for so long that the board begins anew.
const PAUSE: Seconds = Seconds::new(2.0);
/// How long a start is waited for.
const PATIENCE: Seconds = Seconds::new(1.5);
/// A board that is overloaded lets go after some milliseconds.
const WINDOW: Window = Window {
    period: Seconds::new(5e-6),
    before: Seconds::ZERO,
    after: Seconds::new(1e-3),
};
/// This part of the rated current is far above a bleeder, and far below what holds a
/// board down (a house value).
const PART_OF_RATED: f64 = 0.25;

/// Starts a dead board once more and watches its output's current: with the load off and
/// every contact open there is none. One that flows is told, and nothing more is
/// permitted then.
///
/// # Errors
/// A [`Halt`]; one that ends the run where a current flows.
pub(super) async fn look_for_a_load(session: &mut impl BenchSession) -> Result<(), Halt> {
    let signal = Signal::OutputCurrent;
    if session.shows(signal).is_none() {
        return Ok(());
    }
    session
        .step("still dead: supply off and on once more, the output's current watched")
        .await?;
    session.act(WHOLE, Act::SupplyOff).await?;
    session.wait(WHOLE, PAUSE).await?;
    let rated = session.ratings().rated_current;
    let level = PART_OF_RATED * rated.si();
    let trigger = Trigger::Channel {
        signal,
        level,
        rising: true,
    };
    let watched = request(WINDOW, trigger, &[signal], rated, session);
    session.arm(WHOLE, &watched).await?;
    supply_on(session).await?;
    let seen = session.read_out("start of a dead board", PATIENCE).await?;
    if !seen.is_some_and(|seen| flows(&seen, level)) {
        return Ok(());
    }
    session.act(WHOLE, Act::StillLoaded).await?;
    Err(Halt::danger(
        "the board starts into a current although the load is off and every contact open, so \
         the supply was switched off: look at the load, at the contacts and at what else is on \
         the output",
    ))
}

/// Whether the current is above half of `level` for half of what was seen: charging a
/// line is not.
fn flows(seen: &Capture, level: f64) -> bool {
    let Some(channel) = seen.channel(Signal::OutputCurrent) else {
        return false;
    };
    let amperes = |&code: &i16| (channel.offset + channel.scale * f64::from(code)).abs();
    let above = channel.codes.iter().map(amperes);
    let above = above.filter(|amperes| *amperes > level / 2.0).count();
    2 * above > channel.codes.len()
}
