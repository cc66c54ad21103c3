//! Drives `supply`: the electronic load straight on the supply rail, stepped up
//! past the trip current, the board connected but off. It ends at the first
//! step that brings the rail down, which is looked at once more with the load
//! as a resistance.

use super::hands::{Halt, Hands};
use crate::bench_file::Closes;
use crate::envelope::{Intent, LoadSetting};
use crate::observation::{Observation, SupplyStep, Take};
use crate::plan::{self, LOAD_ROOM};
use crate::units::{Amperes, Ohms, Quantity};
use crate::waveform::{Signal, Trace};

pub(super) async fn drive(
    settings: &plan::Supply,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    hands.quiet().await?;
    hands.power_disabled().await?;
    hands
        .step("the supply rail before anything is drawn")
        .await?;
    let bare = look(settings, "bare", hands).await?;
    let mut steps = vec![SupplyStep {
        current: Amperes::ZERO,
        resistive: false,
        drawn: None,
        take: bare,
    }];
    for &current in &settings.steps {
        let one = step(settings, current, false, hands).await?;
        let fell = falls(&one.take, hands.plan.ratings.lowest_supply.si());
        steps.push(one);
        if fell {
            steps.push(step(settings, current, true, hands).await?);
            break;
        }
    }
    Ok(Observation::Supply { steps })
}

async fn step(
    settings: &plan::Supply,
    current: Amperes,
    resistive: bool,
    hands: &mut Hands<'_>,
) -> Result<SupplyStep, Halt> {
    let how = if resistive { " as a resistance" } else { "" };
    let text = format!("the supply at {current}{how}, held {}", settings.hold);
    let duration = settings.settle + settings.hold + LOAD_ROOM;
    let connect = Intent::Connect {
        closes: Closes::SupplyLoad,
        duration,
    };
    hands
        .energise("the load onto the supply rail", connect)
        .await?;
    let ohms = hands.plan.ratings.supply_voltage.si() / current.si();
    let setting = match Ohms::from_si(ohms).filter(|_| resistive) {
        Some(ohms) => LoadSetting::Resistance(ohms),
        None => LoadSetting::Current(current),
    };
    hands.energise(&text, Intent::LoadOn(setting)).await?;
    hands.bench.wait(settings.settle).await?;
    let drawn = hands.bench.load_current().await?.estimate();
    let take = look(settings, &text, hands).await?;
    hands.bench.load_off().await?;
    hands.bench.switch_finished(duration).await?;
    Ok(SupplyStep {
        current,
        resistive,
        drawn,
        take,
    })
}

async fn look(settings: &plan::Supply, label: &str, hands: &mut Hands<'_>) -> Result<Take, Halt> {
    let signals = [Signal::BoardSupply];
    let rated = hands.plan.ratings.rated_current;
    let (period, hold) = (settings.sampling_period, settings.hold);
    hands.snapshot(label, period, hold, &signals, rated).await
}

/// Whether the rail is under `lowest` for two samples running.
fn falls(take: &Take, lowest: f64) -> bool {
    Trace::of(&take.capture, Signal::BoardSupply).is_some_and(|rail| {
        let mut pairs = rail.values().windows(2);
        pairs.any(|pair| pair[0] < lowest && pair[1] < lowest)
    })
}
