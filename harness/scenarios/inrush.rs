//! Drives `inrush`: the board is let start into an empty bank of capacitors,
//! once looked at finely around the beginning and once coarsely over every
//! retry. The bank bleeds empty before each, with the supply off.

use super::hands::{Halt, Hands, Window};
use crate::bench_file::Closes;
use crate::envelope::Intent;
use crate::instruments::Trigger;
use crate::observation::{Bank, InrushStart, Observation, Take};
use crate::plan::{self, BANK_ROOM};
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

pub(super) async fn drive(
    settings: &plan::Inrush,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    let bank = hands.bank()?;
    let empty = bank.bleeder.si() * bank.capacitance.si() * EMPTY;
    let empty = Seconds::from_si(empty).unwrap_or(Seconds::ZERO);
    let mut starts = Vec::new();
    for repeat in 1..=settings.repeats {
        let (fine, coarse) = (settings.sampling_period, settings.coarse_period);
        starts.push(InrushStart {
            repeat,
            fine: start(empty, fine, settings.close_look, "closely", hands).await?,
            coarse: start(empty, coarse, settings.length, "for retries", hands).await?,
        });
    }
    Ok(Observation::Inrush {
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
    period: Seconds,
    length: Seconds,
    how: &str,
    hands: &mut Hands<'_>,
) -> Result<Take, Halt> {
    hands.quiet().await?;
    hands.bench.wait(empty).await?;
    hands.power_disabled().await?;
    let text = format!("start into the empty bank, watched {how} for {length}");
    let window = Window {
        period,
        before: BEFORE,
        after: length,
    };
    let level = hands.plan.ratings.supply_voltage.si() / 4.0;
    let trigger = Trigger::Channel {
        signal: Signal::NodeVoltage,
        level,
        rising: true,
    };
    let request = hands.request(window, trigger, &SIGNALS, hands.bank_current()?);
    hands.bench.arm(&request).await?;
    let connect = Intent::Connect {
        closes: Closes::CapacitorBank,
        duration: length + BANK_ROOM,
    };
    hands.energise(&text, connect).await?;
    hands.bench.enable(true).await?;
    let take = match hands.fetch_if_triggered(&text, length, BANK_ROOM).await? {
        Some(take) => take,
        // The output never came on: say so with what there is.
        None => {
            let widest = hands.bank_current()?;
            hands
                .snapshot(&text, period, BEFORE, &SIGNALS, widest)
                .await?
        }
    };
    hands.bench.switch_finished(length + BANK_ROOM).await?;
    Ok(take)
}
