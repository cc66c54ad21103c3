//! Drives `supply`: the electronic load straight on the supply rail, stepped up
//! past the trip current, the board connected but off. It ends at the first
//! step that brings the rail down.

use super::hands::{Halt, Hands};
use crate::bench::Intent;
use crate::bench_file::Closes;
use crate::instruments::LoadSetting;
use crate::observation::{Observation, SupplyStep, Take};
use crate::plan::{self, LOAD_ROOM};
use crate::units::{Amperes, Quantity};
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
        drawn: None,
        take: bare,
    }];
    for &current in &settings.steps {
        let step = step(settings, current, hands).await?;
        let fell = falls(&step.take, hands.plan.ratings.lowest_supply.si());
        steps.push(step);
        if fell {
            break;
        }
    }
    Ok(Observation::Supply { steps })
}

async fn step(
    settings: &plan::Supply,
    current: Amperes,
    hands: &mut Hands<'_>,
) -> Result<SupplyStep, Halt> {
    let text = format!("the supply at {current}, held {}", settings.hold);
    let duration = settings.settle + settings.hold + LOAD_ROOM;
    let connect = Intent::Connect {
        closes: Closes::SupplyLoad,
        duration,
    };
    hands
        .energise("the load onto the supply rail", connect)
        .await?;
    let draw = Intent::LoadOn(LoadSetting::Current(current));
    hands.energise(&text, draw).await?;
    hands.bench.wait(settings.settle).await?;
    let drawn = hands.bench.load_current().await?.estimate();
    let take = look(settings, &text, hands).await?;
    hands.bench.load_off().await?;
    hands.bench.switch_finished(duration).await?;
    Ok(SupplyStep {
        current,
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
