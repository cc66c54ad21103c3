//! Drives `supply`: the electronic load straight on the supply rail, stepped up
//! past the trip current, the board connected but off. It ends at the first
//! step that brings the rail down, which is looked at once more with the load
//! as a resistance.

use super::seen::{Seen, SupplyStep};
use super::settings::{LOAD_ROOM, Settings};
use crate::bench_file::Closes;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Meter, Provokes};
use crate::scenario::take::Take;
use crate::units::{Amperes, Ohms, Quantity};
use crate::waveform::{Signal, Trace};

/// What decides how much is drawn, and for how long.
const DRAWN: Provokes = Provokes {
    amount: "steps",
    time: "hold",
};

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    routine::quiet(session).await?;
    routine::power_disabled(session).await?;
    session
        .step("the supply rail before anything is drawn")
        .await?;
    let bare = look(settings, "bare", session).await?;
    let mut steps = vec![SupplyStep {
        current: Amperes::ZERO,
        resistive: false,
        drawn: None,
        take: bare,
    }];
    for &current in &settings.steps {
        let one = step(settings, current, false, session).await?;
        let fell = falls(&one.take, session.ratings().lowest_supply.si());
        steps.push(one);
        if fell {
            steps.push(step(settings, current, true, session).await?);
            break;
        }
    }
    Ok(Seen { steps })
}

async fn step(
    settings: &Settings,
    current: Amperes,
    resistive: bool,
    session: &mut impl BenchSession,
) -> Result<SupplyStep, Halt> {
    let how = if resistive { " as a resistance" } else { "" };
    let text = format!("the supply at {current}{how}, held {}", settings.hold);
    let duration = settings.settle + settings.hold + LOAD_ROOM;
    let connect = Intent::Connect {
        closes: Closes::SupplyLoad,
        duration,
    };
    session
        .energise(DRAWN, "the load onto the supply rail", connect)
        .await?;
    let ohms = session.ratings().supply_voltage.si() / current.si();
    let setting = match Ohms::from_si(ohms).filter(|_| resistive) {
        Some(ohms) => LoadSetting::Resistance(ohms),
        None => LoadSetting::Current(current),
    };
    session
        .energise(DRAWN, &text, Intent::LoadOn(setting))
        .await?;
    session.wait("settle", settings.settle).await?;
    let drawn = session.read(WHOLE, Meter::LoadCurrent).await?;
    let take = look(settings, &text, session).await?;
    session.act(WHOLE, Act::LoadOff).await?;
    session.switch_finished(duration).await?;
    Ok(SupplyStep {
        current,
        resistive,
        drawn,
        take,
    })
}

async fn look(
    settings: &Settings,
    label: &str,
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let signals = [Signal::BoardSupply];
    let rated = session.ratings().rated_current;
    let (period, hold) = (settings.sampling_period, settings.hold);
    Snapshot {
        period,
        length: hold,
        signals: &signals,
        current: rated,
    }
    .take("sampling_period", label, session)
    .await
}

/// Whether the rail is under `lowest` for two samples running.
fn falls(take: &Take, lowest: f64) -> bool {
    Trace::of(&take.capture, Signal::BoardSupply).is_some_and(|rail| {
        let mut pairs = rail.values().windows(2);
        pairs.any(|pair| pair[0] < lowest && pair[1] < lowest)
    })
}
