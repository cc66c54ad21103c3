//! What the supply's ammeter shows of an unloaded board: read until it stands, and held
//! against the load's by what a load adds, since nothing else on a bench says what such
//! a board draws, and a meter that stands or shows half would judge it. It judges no
//! board, and says nothing of meters where the output does not deliver.

use super::intent::{Intent, LoadSetting};
use super::routine::{WHOLE, supply_on};
use super::session::{Act, BenchSession, Halt, Meter, Provokes};
use crate::bench_file::Port;
use crate::ident::Role;
use crate::measurement::{Blame, Estimate, combined};
use crate::units::{Amperes, Quantity, Seconds};

/// This part of the rated current: well within what a sound board delivers, and far
/// above what meters err by (a house value).
const PART_OF_RATED: f64 = 0.5;
/// The load regulates and the meters settle.
const SETTLE: Seconds = Seconds::new(0.3);
/// Meters that disagree may still show what was before: some renew their readings twice a
/// second (common practice, no source). So often they are read.
const LOOKS: u32 = 5;
/// An alternating output gives back to its supply in its dead times and edges: 2 of 58 us
/// (a half-bit of NMRA S-9.1:2020 table 1) are 3.4 %; a house allowance above that.
pub const GIVEN_BACK: f64 = 0.15;
/// What one reading takes, s: one cycle of 50 Hz mains and as much again (common
/// practice, no source).
pub(super) const A_READING: f64 = 40e-3;
/// What moves between readings, as a part of the rated current (a house value).
const MOVES: f64 = 0.02;

/// A meter that renews its reading twice a second shows another one after this.
const RENEWED: Seconds = Seconds::new(0.55);
/// Two readings are the same within this part of what the meter may err by: what it errs
/// by is nearly the same in both (a house value).
const SAME: f64 = 0.25;

/// What the supply's meter shows once it shows the same twice, or at last; `longest` is
/// how long the state of the board may be held for it.
///
/// # Errors
/// A [`Halt`].
pub(super) async fn settled(
    longest: Option<Seconds>,
    session: &mut impl BenchSession,
) -> Result<Option<Estimate>, Halt> {
    let mut shown = session.read(WHOLE, Meter::SupplyCurrent).await?;
    if !is_read_by_program(session, Role::Supply) {
        return Ok(shown);
    }
    let most = longest.map_or(LOOKS, |longest| {
        (longest.si() / (RENEWED.si() + A_READING)) as u32
    });
    for _ in 0..most.min(LOOKS) {
        if session.may_go_on("settle", RENEWED).is_err() {
            break;
        }
        session.wait("settle", RENEWED).await?;
        let before = shown;
        shown = session.read(WHOLE, Meter::SupplyCurrent).await?;
        let same = before.zip(shown).is_none_or(|(before, now)| {
            (before.value - now.value).abs() <= SAME * before.expanded()
        });
        if same {
            break;
        }
    }
    Ok(shown)
}

/// What the meters showed, in amperes.
#[derive(Clone, Copy, Debug)]
struct Shown {
    /// The supply's, without the load and with it.
    delivered: [Estimate; 2],
    /// The load's.
    drawn: Estimate,
    rated: Amperes,
}

/// Draws half of the rated current for a moment from a board that is on and was found to
/// draw little, and compares both ammeters; nothing where the bench has no load, or a
/// person reads for it.
///
/// # Errors
/// A [`Halt`]; the bench's trouble where the meters disagree.
pub(super) async fn compared(session: &mut impl BenchSession) -> Result<(), Halt> {
    let reads = |role| is_read_by_program(session, role);
    if !reads(Role::Supply) || !reads(Role::Load) {
        return Ok(());
    }
    let rated = session.ratings().rated_current;
    let current = rated * PART_OF_RATED;
    supply_on(session).await?;
    let before = session.read(WHOLE, Meter::SupplyCurrent).await?;
    let provokes = Provokes {
        amount: WHOLE,
        time: WHOLE,
    };
    let text = format!("the supply's ammeter compared with the load's at {current}");
    let intent = Intent::LoadOn(LoadSetting::Current(current));
    session.energise(provokes, &text, intent).await?;
    let mut found = Ok(());
    for _ in 0..LOOKS {
        session.wait(WHOLE, SETTLE).await?;
        let drawn = session.read(WHOLE, Meter::LoadCurrent).await?;
        let after = session.read(WHOLE, Meter::SupplyCurrent).await?;
        let protected = session.protections().await?;
        found = match (before, after, drawn) {
            // What protects itself holds no current.
            (Some(before), Some(after), Some(drawn)) if !protected.load && !protected.supply => {
                agree(Shown {
                    delivered: [before, after],
                    drawn,
                    rated,
                })
            }
            _ => Ok(()),
        };
        if found.is_ok() {
            break;
        }
    }
    session.act(WHOLE, Act::LoadOff).await?;
    found
}

/// Whether no person reads that instrument.
fn is_read_by_program(session: &impl BenchSession, role: Role) -> bool {
    let instrument = session.file().instrument(role);
    instrument.is_some_and(|instrument| instrument.port != Port::Person)
}

fn agree(shown: Shown) -> Result<(), Halt> {
    let [before, after] = shown.delivered;
    let drawn = shown.drawn.value.abs();
    if drawn < 0.5 * PART_OF_RATED * shown.rated.si() {
        return Ok(());
    }
    let added = after.value - before.value;
    let own = combined([before.expanded(), after.expanded(), shown.drawn.expanded()]);
    if (added - drawn).abs() <= GIVEN_BACK * drawn + MOVES * shown.rated.si() + own {
        return Ok(());
    }
    let amperes = |value| Amperes::from_si(value).unwrap_or(Amperes::ZERO);
    Err(Halt::trouble(
        Blame::Bench,
        format!(
            "the load draws {} and the supply's ammeter rises by {}: one of the two is wrong by \
             more than both are stated to err, so what the unloaded board draws is not known; \
             look at both meters and their leads",
            amperes(drawn),
            amperes(added)
        ),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(before: f64, after: f64, drawn: f64) -> bool {
        let meter = |value| Estimate::new(value, 0.005);
        let shown = Shown {
            delivered: [meter(before), meter(after)],
            drawn: meter(drawn),
            rated: Amperes::new(3.0),
        };
        agree(shown).is_err()
    }

    /// Kirchhoff's current law, and what an alternating output gives back.
    #[test]
    fn meters_of_one_current_agree() {
        for own in [0.02, 0.06, 0.8] {
            assert!(!said(own, own + 1.5, 1.5), "{own}");
            assert!(!said(own, own + 1.5 * (1.0 - 2.0 / 58.0), 1.5), "{own}");
        }
        // A dead output, or one that tripped, says nothing of meters.
        assert!(!said(0.06, 0.06, 0.0));
    }

    #[test]
    fn a_meter_that_stands_or_shows_another_part_is_found() {
        for stands in [0.0, 0.06, 1.5, 30.0] {
            assert!(said(stands, stands, 1.5), "{stands}");
        }
        for gain in [0.5, 0.75, 1.5, 2.0, -1.0] {
            assert!(said(0.06 * gain, 1.56 * gain, 1.5), "{gain}");
        }
        for gain in [0.7, 1.5, 2.0] {
            assert!(said(0.06, 1.56, 1.5 * gain), "{gain}, the load's");
        }
    }
}
