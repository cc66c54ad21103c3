//! Drives `signal`: a known packet stream on the board's inputs, captured at no
//! load and at the rated current. It reads waveforms alone; what they say of
//! the signal is evaluated elsewhere.

use super::hands::{Halt, Hands};
use crate::envelope::{Intent, LoadSetting};
use crate::observation::{Drive, Loading, Observation, SignalTake, Stream};
use crate::plan::{self, SignalLoading};
use crate::units::{Amperes, Ohms, Quantity};
use crate::waveform::Signal;

const SIGNALS: [Signal; 3] = [
    Signal::NodeVoltage,
    Signal::OutputCurrent,
    Signal::BoardSupply,
];

pub(super) async fn drive(
    settings: &plan::Signal,
    hands: &mut Hands<'_>,
) -> Result<Observation, Halt> {
    let signal_lines = hands.plan.configuration.signal_lines;
    let pattern = settings
        .pattern(signal_lines)
        .map_err(|fault| Halt::Missing(fault.to_string()))?;
    hands.power_up().await?;
    hands.bench.set_pattern(&pattern.text()).await?;
    let mut takes = Vec::new();
    for &load in &settings.loads {
        takes.push(take(settings, load, hands).await?);
    }
    hands.bench.load_off().await?;
    hands.drive(Drive::Alternating).await?;
    let packets = settings.packets.iter().map(|packet| packet.bytes());
    Ok(Observation::Signal {
        sent: Some(Stream {
            packets: packets.collect(),
            cutouts: settings.cuts(signal_lines),
            signal_lines,
        }),
        takes,
    })
}

async fn take(
    settings: &plan::Signal,
    load: SignalLoading,
    hands: &mut Hands<'_>,
) -> Result<SignalTake, Halt> {
    let (loading, current) = match load {
        SignalLoading::None => {
            hands.bench.load_off().await?;
            (Loading::None, Amperes::ZERO)
        }
        SignalLoading::Rated => (Loading::Electronic, hands.plan.ratings.rated_current),
    };
    let text = format!("packet stream, {}", loading.words());
    if loading == Loading::Electronic {
        let ohms = resistance(hands, current);
        let intent = Intent::LoadOn(LoadSetting::Resistance(ohms));
        hands.energise(&text, intent).await?;
    } else {
        hands.step(&text).await?;
    }
    hands.bench.wait(settings.settle).await?;
    // Room for a spike at each edge.
    let widest = hands.plan.ratings.rated_current * 2.0;
    let (period, length) = (settings.sampling_period, settings.length);
    let take = hands
        .snapshot(&text, period, length, &SIGNALS, widest)
        .await?;
    Ok(SignalTake {
        loading,
        current,
        take,
    })
}

/// What the load must be set to so that about `current` flows at the plan's
/// supply voltage: the board's own drop is not known yet and makes it less.
fn resistance(hands: &Hands<'_>, current: Amperes) -> Ohms {
    let voltage = hands.plan.ratings.supply_voltage - hands.rectifier_drop();
    let ohms = voltage.si().max(0.1) / current.si();
    Ohms::from_si(ohms).unwrap_or(Ohms::ZERO)
}
