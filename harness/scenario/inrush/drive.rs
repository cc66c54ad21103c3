//! Drives `inrush`: the board is let start into an empty bank of capacitors,
//! once looked at finely around the beginning and once coarsely over every
//! retry. The bank bleeds empty before each, with the supply off.

use super::seen::{Bank, InrushStart, Seen};
use super::settings::{BANK_ROOM, Settings};
use crate::bench_file::Closes;
use crate::scenario::acquisition::{Trigger, Window};
use crate::scenario::intent::Intent;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Provokes, Serves};
use crate::scenario::take::Take;
use crate::scenario::{loops, routine};
use crate::units::{Quantity, Seconds};
use crate::waveform::Signal;

const SIGNALS: [Signal; 3] = [
    Signal::OutputCurrent,
    Signal::NodeVoltage,
    Signal::BoardSupply,
];
/// What is kept before the output comes on, for the zero.
const BEFORE: Seconds = Seconds::new(2e-3);
/// Time constants of the bank and its bleeder that are waited for: a
/// hundred-and-fiftieth of the charge is left.
const EMPTY: f64 = 5.0;

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    let bank = loops::bank(session)?;
    let empty = bank.bleeder.si() * bank.capacitance.si() * EMPTY;
    let empty = Seconds::from_si(empty).unwrap_or(Seconds::ZERO);
    let mut starts = Vec::new();
    for repeat in 1..=settings.repeats {
        let fine = ("sampling_period", settings.sampling_period);
        let coarse = ("coarse_period", settings.coarse_period);
        let (close, long) = (
            ("close_look", settings.close_look),
            ("length", settings.length),
        );
        starts.push(InrushStart {
            repeat,
            fine: start(empty, fine, close, "closely", session).await?,
            coarse: start(empty, coarse, long, "for retries", session).await?,
        });
    }
    Ok(Seen {
        bank: Bank {
            capacitance: bank.capacitance,
            drop: bank.drop,
        },
        starts,
    })
}

/// One start, captured from just before the output comes on.
async fn start(
    empty: Seconds,
    (samples, period): (Serves, Seconds),
    (serves, length): (Serves, Seconds),
    how: &str,
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    routine::quiet(session).await?;
    session.wait(WHOLE, empty).await?;
    routine::power_disabled(session).await?;
    let text = format!("start into the empty bank, watched {how} for {length}");
    let window = Window {
        period,
        before: BEFORE,
        after: length,
    };
    let level = session.ratings().supply_voltage.si() / 4.0;
    let trigger = Trigger::Channel {
        signal: Signal::NodeVoltage,
        level,
        rising: true,
    };
    let request = routine::request(
        window,
        trigger,
        &SIGNALS,
        loops::bank_current(session)?,
        session,
    );
    session.arm(samples, &request).await?;
    let connect = Intent::Connect {
        closes: Closes::CapacitorBank,
        duration: length + BANK_ROOM,
    };
    session
        .energise(
            Provokes {
                amount: WHOLE,
                time: serves,
            },
            &text,
            connect,
        )
        .await?;
    session.act(WHOLE, Act::Enable(true)).await?;
    let take = match routine::take_if_triggered(&text, length, BANK_ROOM, session).await? {
        Some(take) => take,
        // The output never came on: say so with what there is.
        None => {
            let widest = loops::bank_current(session)?;
            Snapshot {
                period,
                length: BEFORE,
                signals: &SIGNALS,
                current: widest,
            }
            .take(samples, &text, session)
            .await?
        }
    };
    session.switch_finished(length + BANK_ROOM).await?;
    Ok(take)
}
