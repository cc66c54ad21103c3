//! Drives `signal`: a known packet stream on the board's inputs, captured at no
//! load and at the rated current. It reads waveforms alone; what they say of
//! the signal is evaluated elsewhere.

use super::seen::{Loading, Seen, SignalTake, Stream};
use super::settings::{Settings, SignalLoading};
use crate::measurement::Blame;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::scenario::routine;
use crate::scenario::routine::{Snapshot, WHOLE};
use crate::scenario::session::{Act, BenchSession, Halt, Provokes};
use crate::scenario::terms::Polarity;
use crate::units::{Amperes, Ohms, Quantity};
use crate::waveform::Signal;

/// What decides how much is drawn, and for how long.
const DRAWN: Provokes = Provokes {
    amount: "loads",
    time: "length",
};

const SIGNALS: [Signal; 3] = [
    Signal::NodeVoltage,
    Signal::OutputCurrent,
    Signal::BoardSupply,
];

pub(in crate::scenario) async fn drive(
    settings: &Settings,
    session: &mut impl BenchSession,
) -> Result<Seen, Halt> {
    let signal_lines = session.configuration().signal_lines;
    let pattern = settings
        .pattern(signal_lines)
        .map_err(|fault| Halt::trouble(Blame::Plan, fault.to_string()))?;
    routine::power_up(session).await?;
    session.act("packets", Act::Pattern(pattern.text())).await?;
    let mut takes = Vec::new();
    for &load in &settings.loads {
        takes.push(take(settings, load, session).await?);
    }
    session.act(WHOLE, Act::LoadOff).await?;
    routine::drive(Polarity::Alternating, session).await?;
    let packets = settings.packets.iter().map(|packet| packet.bytes());
    Ok(Seen {
        sent: Some(Stream {
            packets: packets.collect(),
            cutouts: settings.cuts(signal_lines),
            signal_lines,
        }),
        takes,
    })
}

async fn take(
    settings: &Settings,
    load: SignalLoading,
    session: &mut impl BenchSession,
) -> Result<SignalTake, Halt> {
    let (loading, current) = match load {
        SignalLoading::None => {
            session.act(WHOLE, Act::LoadOff).await?;
            (Loading::None, Amperes::ZERO)
        }
        SignalLoading::Rated => (Loading::Electronic, session.ratings().rated_current),
    };
    let text = format!("packet stream, {}", loading.words());
    if loading == Loading::Electronic {
        let ohms = resistance(session, current);
        let intent = Intent::LoadOn(LoadSetting::Resistance(ohms));
        session.energise(DRAWN, &text, intent).await?;
    } else {
        session.step(&text).await?;
    }
    session.wait("settle", settings.settle).await?;
    // Room for a spike at each edge.
    let widest = session.ratings().rated_current * 2.0;
    let (period, length) = (settings.sampling_period, settings.length);
    let take = Snapshot {
        period,
        length,
        signals: &SIGNALS,
        current: widest,
    }
    .take("sampling_period", &text, session)
    .await?;
    Ok(SignalTake {
        loading,
        current,
        take,
    })
}

/// What the load must be set to so that about `current` flows at the plan's
/// supply voltage: the board's own drop is not known yet and makes it less.
fn resistance(session: &impl BenchSession, current: Amperes) -> Ohms {
    let voltage = session.ratings().supply_voltage - session.file().wiring.rectifier_drop;
    let ohms = voltage.si().max(0.1) / current.si();
    Ohms::from_si(ohms).unwrap_or(Ohms::ZERO)
}
