//! Drives `idle`: the supply raised in steps under a low current limit with
//! the output off, then the output braked, then on without a load. A board
//! that draws the limit is taken no further; what that says of it is evaluated
//! elsewhere.

use super::hands::{Halt, Hands};
use crate::observation::{Drive, IdleStep, Observation};
use crate::plan::{self, OutputState};
use crate::units::Volts;
use crate::waveform::Signal;

const SIGNALS: [Signal; 2] = [Signal::NodeVoltage, Signal::BoardSupply];

pub(super) async fn drive(
    settings: &plan::Idle,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    let braking = settings.has(OutputState::Braked);
    hands.bench.set_drive(Drive::Alternating).await?;
    hands.bench.signal(true).await?;
    hands.bench.enable(false).await?;
    if braking {
        hands.bench.brake(false).await?;
    }
    let mut steps = Vec::new();
    let result = states(settings, hands, &mut steps).await;
    // However that ended, the next scenario must not find a braked board.
    if braking {
        hands.bench.brake(false).await?;
    }
    result?;
    Ok(Observation::Idle { steps })
}

async fn states(
    settings: &plan::Idle,
    hands: &mut Hands<'_>,
    steps: &mut Vec<IdleStep>,
) -> Result<(), Halt> {
    let mut supply = Volts::ZERO;
    for &voltage in &settings.supply_steps {
        supply = voltage;
        hands.supply_at(voltage, settings.current_limit).await?;
        let off = (OutputState::Off, Drive::Alternating);
        let step = take(settings, hands, supply, off).await?;
        let limits = step.take.supply_protected;
        steps.push(step);
        if limits {
            hands
                .step("the supply limits its current: the board is taken no further")
                .await?;
            return Ok(());
        }
    }
    if settings.has(OutputState::Braked) {
        hands.bench.brake(true).await?;
        hands.bench.enable(true).await?;
        let braked = (OutputState::Braked, Drive::Alternating);
        steps.push(take(settings, hands, supply, braked).await?);
        hands.bench.brake(false).await?;
    }
    if settings.has(OutputState::On) {
        hands.bench.enable(true).await?;
        for &polarity in &settings.polarities {
            hands.drive(polarity).await?;
            let on = (OutputState::On, polarity);
            steps.push(take(settings, hands, supply, on).await?);
        }
        hands.drive(Drive::Alternating).await?;
    }
    Ok(())
}

async fn take(
    settings: &plan::Idle,
    hands: &mut Hands<'_>,
    supply: Volts,
    (state, drive): (OutputState, Drive),
) -> Result<IdleStep, Halt> {
    let text = match state {
        OutputState::Off => format!("output off at {supply}"),
        OutputState::Braked => "output braked".to_owned(),
        OutputState::On => format!("output on, {}, unloaded", drive.word()),
    };
    hands.step(&text).await?;
    hands.bench.wait(settings.settle).await?;
    let input_current = hands.bench.supply_current().await?.estimate();
    let widest = hands.plan.ratings.rated_current;
    let (period, length) = (settings.sampling_period, settings.length);
    let take = hands
        .snapshot(&text, period, length, &SIGNALS, widest)
        .await?;
    Ok(IdleStep {
        supply,
        state,
        drive,
        input_current,
        take,
    })
}
