//! Drives `idle`: the supply raised in steps under a low current limit with
//! the output off, then the output braked, then on without a load; at last a load for a
//! moment, to compare the meters. A board that draws the limit is taken no further; what
//! that says of it is evaluated elsewhere.

use super::seen::{IdleStep, Seen};
use super::settings::{OutputState, Settings};
use crate::scenario::ammeters;
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Provokes};
use crate::scenario::terms::Polarity;
use crate::units::Volts;
use crate::waveform::Signal;

/// What decides the supply's voltage and current, and for how long.
const RAISED: Provokes = Provokes {
    amount: "current_limit",
    time: "settle",
};

const SIGNALS: [Signal; 2] = [Signal::NodeVoltage, Signal::BoardSupply];

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    let braking = settings.has(OutputState::Braked);
    session
        .act(WHOLE, Act::Drive(Polarity::Alternating))
        .await?;
    session.act(WHOLE, Act::Signal(true)).await?;
    session.act(WHOLE, Act::Enable(false)).await?;
    if braking {
        session.act("states", Act::Brake(false)).await?;
    }
    let mut steps = Vec::new();
    let result = states(settings, session, &mut steps).await;
    // However that ended, the next scenario must not find a braked board.
    if braking {
        session.act("states", Act::Brake(false)).await?;
    }
    result?;
    Ok(Seen { steps })
}

async fn states(
    settings: &Settings,
    session: &mut impl BenchSession,
    steps: &mut Vec<IdleStep>,
) -> Result<(), Halt> {
    let mut supply = Volts::ZERO;
    for &voltage in &settings.supply_steps {
        supply = voltage;
        routine::supply_at(RAISED, voltage, settings.current_limit, session).await?;
        let off = (OutputState::Off, Polarity::Alternating);
        let step = take(settings, session, supply, off).await?;
        let limits = step.take.supply_protected;
        steps.push(step);
        if limits {
            session
                .step("the supply limits its current: the board is taken no further")
                .await?;
            return Ok(());
        }
    }
    if settings.has(OutputState::Braked) {
        session.act("states", Act::Brake(true)).await?;
        session.act(WHOLE, Act::Enable(true)).await?;
        let braked = (OutputState::Braked, Polarity::Alternating);
        steps.push(take(settings, session, supply, braked).await?);
        session.act("states", Act::Brake(false)).await?;
    }
    if settings.has(OutputState::On) {
        session.act(WHOLE, Act::Enable(true)).await?;
        for &polarity in &settings.polarities {
            routine::drive(polarity, session).await?;
            let on = (OutputState::On, polarity);
            steps.push(take(settings, session, supply, on).await?);
        }
        routine::drive(Polarity::Alternating, session).await?;
        // What limits without a load is given no more.
        if !steps.iter().any(|step| step.take.supply_protected) {
            ammeters::compared(session).await?;
        }
    }
    Ok(())
}

async fn take(
    settings: &Settings,
    session: &mut impl BenchSession,
    supply: Volts,
    (state, drive): (OutputState, Polarity),
) -> Result<IdleStep, Halt> {
    let text = match state {
        OutputState::Off => format!("output off at {supply}"),
        OutputState::Braked => "output braked".to_owned(),
        OutputState::On => format!("output on, {}, unloaded", drive.word()),
    };
    session.step(&text).await?;
    session.wait("settle", settings.settle).await?;
    // What else a held polarity may take.
    let longest = session.configuration().longest_hold;
    let longest = longest.filter(|_| drive != Polarity::Alternating);
    let left = longest.map(|longest| longest - settings.held());
    let input_current = ammeters::settled(left, session).await?;
    let widest = session.ratings().rated_current;
    let (period, length) = (settings.sampling_period, settings.length);
    let take = Snapshot {
        period,
        length,
        signals: &SIGNALS,
        current: widest,
    }
    .take("sampling_period", &text, session)
    .await?;
    Ok(IdleStep {
        supply,
        state,
        drive,
        input_current,
        take,
    })
}
