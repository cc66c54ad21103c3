//! What every scenario does with a bench: power up, provoke, capture, wait for
//! the board to restart, and leave it quiet. It knows no scenario in
//! particular, and no instrument.

use super::acquisition::{CaptureRequest, ChannelRequest, Trigger, Window};
use super::intent::{Intent, gap_branch, short_branch};
use super::session::{Act, BenchSession, Halt, Opening, Provokes, Serves};
use super::still_loaded::look_for_a_load;
use super::take::Take;
use super::terms::{Place, Polarity};
use crate::bench_file::{Closes, Proof};
use crate::measurement::Blame;
use crate::units::{Amperes, Dimension, Quantity, Seconds, Volts};
use crate::waveform::{Capture, LogicLine, Signal};

/// How long a board may take to restart by itself before its supply is cycled.
const PATIENCE: Seconds = Seconds::new(12.0);
/// How often it is looked at meanwhile.
const LOOK: Seconds = Seconds::new(0.1);
/// What a trigger is given that was provoked already.
const GRACE: Seconds = Seconds::new(0.05);
/// How long after a short the board may take to restart, for captures that
/// want to see it.
pub(super) const RETRY_ROOM: Seconds = Seconds::new(1.5);

/// A part of a run that is no setting's own: its faults stand at the scenario.
pub(super) const WHOLE: Serves = "kind";

/// The supply at the rated voltage serves the whole of a scenario.
const SUPPLY: Provokes = Provokes {
    amount: WHOLE,
    time: WHOLE,
};

/// Signal running, board enabled, supply on at the rated voltage.
pub(super) async fn power_up(session: &mut impl BenchSession) -> Result<(), Halt> {
    session
        .act(WHOLE, Act::Drive(Polarity::Alternating))
        .await?;
    session.act(WHOLE, Act::Signal(true)).await?;
    session.act(WHOLE, Act::Enable(true)).await?;
    supply_on(session).await?;
    // The rail charges, and the board's own start-up delay passes.
    session.wait(WHOLE, Seconds::new(0.2)).await?;
    recover(session).await
}

/// Signal running, supply on at the rated voltage, board not enabled.
pub(super) async fn power_disabled(session: &mut impl BenchSession) -> Result<(), Halt> {
    session
        .act(WHOLE, Act::Drive(Polarity::Alternating))
        .await?;
    session.act(WHOLE, Act::Signal(true)).await?;
    session.act(WHOLE, Act::Enable(false)).await?;
    supply_on(session).await?;
    session.wait(WHOLE, Seconds::new(0.2)).await
}

pub(super) async fn supply_on(session: &mut impl BenchSession) -> Result<(), Halt> {
    let (voltage, limit) = (session.ratings().supply_voltage, session.supply_current());
    supply_at(SUPPLY, voltage, limit, session).await
}

/// The supply on at `voltage`, limited to `current_limit`.
pub(super) async fn supply_at(
    provokes: Provokes,
    voltage: Volts,
    current_limit: Amperes,
    session: &mut impl BenchSession,
) -> Result<(), Halt> {
    let intent = Intent::SupplyOn {
        voltage,
        current_limit,
    };
    let text = format!("supply on, {voltage}");
    session.energise(provokes, &text, intent).await
}

/// Drives the board's inputs.
pub(super) async fn drive(polarity: Polarity, session: &mut impl BenchSession) -> Result<(), Halt> {
    session.act("polarities", Act::Drive(polarity)).await?;
    // A few bits, so that the output follows before anything is read.
    session.wait(WHOLE, Seconds::new(2e-3)).await
}

/// Everything off that can put energy into the board, the board empty and no
/// capture left armed, each proven by reading back.
///
/// # Errors
/// A [`Halt`].
pub async fn quiet(session: &mut impl BenchSession) -> Result<(), Halt> {
    let mut done = Ok(());
    // One that fails does not keep the others from being done.
    for act in [
        Act::CaptureOff,
        Act::LoadOff,
        Act::Enable(false),
        Act::SupplyOff,
    ] {
        let one = session.act(WHOLE, act).await;
        done = done.and(one);
    }
    let proven = session.at_rest(Seconds::new(0.5)).await;
    proven.and(done)
}

/// Waits until the output is alive again; a board that does not restart by
/// itself in time is helped by cycling its supply.
pub(super) async fn recover(session: &mut impl BenchSession) -> Result<(), Halt> {
    if alive_within(PATIENCE, session).await? {
        return Ok(());
    }
    session
        .step("the board did not restart by itself: supply off and on")
        .await?;
    session.act(WHOLE, Act::SupplyOff).await?;
    session.wait(WHOLE, Seconds::new(2.0)).await?;
    supply_on(session).await?;
    if alive_within(PATIENCE, session).await? {
        return Ok(());
    }
    // What the bench does to it is not the board's fault.
    look_for_a_load(session).await?;
    Err(Halt::trouble(
        Blame::Board,
        "the output stays dead although the supply is on and the signal runs",
    ))
}

async fn alive_within(patience: Seconds, session: &mut impl BenchSession) -> Result<bool, Halt> {
    let looks = (patience / LOOK).ceil() as u32;
    for _ in 0..looks {
        let look = Snapshot {
            period: Seconds::new(5e-6),
            length: Seconds::new(0.5e-3),
            signals: &[Signal::NodeVoltage],
            current: session.ratings().rated_current,
        };
        let capture = look.capture(WHOLE, "look", session).await?;
        if is_alive(&capture, session) {
            return Ok(true);
        }
        session.wait(WHOLE, LOOK).await?;
    }
    Ok(false)
}

/// Whether the output reaches half of the supply voltage.
pub(super) fn is_alive(capture: &Capture, session: &impl BenchSession) -> bool {
    peak(capture, Signal::NodeVoltage) > session.ratings().supply_voltage.si() / 2.0
}

/// A capture of those of `signals` that the bench shows, currents up to
/// `current`.
pub(super) fn request(
    window: Window,
    trigger: Trigger,
    signals: &[Signal],
    current: Amperes,
    session: &impl BenchSession,
) -> CaptureRequest {
    let voltage = session.ratings().highest_supply.si() * 1.25;
    let channels = signals.iter().filter_map(|&signal| {
        let wanted = match signal.dimension() {
            Dimension::Current => current.si(),
            _ => voltage,
        };
        let range = wanted.min(session.shows(signal)?);
        Some(ChannelRequest { signal, range })
    });
    let samples = |time: Seconds| {
        (time / window.period)
            .ceil()
            .clamp(0.0, f64::from(u32::MAX / 2)) as u32
    };
    let before_trigger = samples(window.before);
    CaptureRequest {
        period: window.period,
        length: before_trigger + samples(window.after).max(1),
        before_trigger,
        trigger,
        channels: channels.collect(),
        lines: true,
    }
}

/// A capture of what happens now, without waiting for a trigger.
#[derive(Clone, Copy, Debug)]
pub(super) struct Snapshot<'a> {
    /// Time between samples.
    pub(super) period: Seconds,
    /// How long it is.
    pub(super) length: Seconds,
    /// What it sees.
    pub(super) signals: &'a [Signal],
    /// Currents up to this.
    pub(super) current: Amperes,
}

impl Snapshot<'_> {
    /// Takes it, with what the instruments say of themselves.
    pub(super) async fn take(
        self,
        serves: Serves,
        label: &str,
        session: &mut impl BenchSession,
    ) -> Result<Take, Halt> {
        let capture = self.capture(serves, label, session).await?;
        with_protections(capture, self.length, session).await
    }

    pub(super) async fn capture(
        self,
        serves: Serves,
        label: &str,
        session: &mut impl BenchSession,
    ) -> Result<Capture, Halt> {
        let window = Window {
            period: self.period,
            before: Seconds::ZERO,
            after: self.length,
        };
        let request = request(window, Trigger::Now, self.signals, self.current, session);
        session.arm(serves, &request).await?;
        read_out(label, session).await
    }
}

/// Reads out the armed capture, which must have been triggered.
async fn read_out(label: &str, session: &mut impl BenchSession) -> Result<Capture, Halt> {
    let capture = session.read_out(label, GRACE).await?;
    capture.ok_or_else(|| {
        let what = format!("the capture was not triggered within {GRACE}");
        Halt::trouble(Blame::Bench, what)
    })
}

/// Reads out the armed capture if its trigger comes within `patience`.
pub(super) async fn take_if_triggered(
    label: &str,
    pulse: Seconds,
    patience: Seconds,
    session: &mut impl BenchSession,
) -> Result<Option<Take>, Halt> {
    match session.read_out(label, patience).await? {
        Some(capture) => Ok(Some(with_protections(capture, pulse, session).await?)),
        None => Ok(None),
    }
}

/// Reads out a triggered capture with what the instruments say of themselves.
pub(super) async fn take(
    label: &str,
    pulse: Seconds,
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let capture = read_out(label, session).await?;
    with_protections(capture, pulse, session).await
}

/// Reads out the capture of a short, with the state of its fuse.
pub(super) async fn take_short(
    label: &str,
    pulse: Seconds,
    place: Place,
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let taken = take(label, pulse, session).await?;
    let closes = short_branch(place);
    Ok(Take {
        fuse_intact: session.fuse_intact(closes).await?,
        proof: session.proof(closes),
        ..taken
    })
}

async fn with_protections(
    capture: Capture,
    pulse: Seconds,
    session: &mut impl BenchSession,
) -> Result<Take, Halt> {
    let protections = session.protections().await?;
    Ok(Take {
        capture,
        pulse,
        load_protected: protections.load,
        supply_protected: protections.supply,
        fuse_intact: None,
        proof: Proof::None,
    })
}

/// Proves that a short is open again; one that is not has made the supply the
/// second opener, and nothing more can be tested with that contact.
///
/// A board that has tripped draws nothing through a welded contact either, so
/// where there is a pilot current it is asked first.
pub(super) async fn prove_open(
    place: Place,
    take: &Take,
    session: &mut impl BenchSession,
) -> Result<(), Halt> {
    let pilot = match place {
        Place::Near => LogicLine::NearPilot,
        Place::Far => LogicLine::FarPilot,
    };
    let capture = &take.capture;
    let welded = capture
        .line(pilot)
        .is_some_and(|line| !capture.is_empty() && line.level(capture.len() - 1));
    // A quarter of the rated current: well above the board's own appetite
    // and the bleeder, well below any short.
    let off_level = session.ratings().rated_current * 0.25;
    if welded {
        let closes = short_branch(place);
        session.act(WHOLE, Act::SecondOpener(closes)).await?;
    } else if session.prove_open(short_branch(place), off_level).await? == Opening::Proven {
        return Ok(());
    }
    Err(Halt::danger(format!(
        "the {} short did not open after its pulse, so the supply was switched off: \
         look at the contact before you go on",
        place.word()
    )))
}

/// Proves that the load's own short is open again, and switches the load's input off
/// as after any pulse of it.
pub(super) async fn prove_load_open(session: &mut impl BenchSession) -> Result<(), Halt> {
    let off_level = session.ratings().rated_current * 0.25;
    let opening = session.prove_open(Closes::NearShort, off_level).await?;
    if opening == Opening::Proven {
        return session.act(WHOLE, Act::LoadOff).await;
    }
    Err(Halt::danger(
        "the load's own short did not open after its pulse, so the supply was switched off: \
         look at the load before you go on"
            .to_owned(),
    ))
}

/// Proves that a gap is open again at the end of its capture: neither its marker
/// nor its current goes on. Where both sources are in phase no current would flow
/// through a welded contact either; then the marker alone says so.
pub(super) async fn prove_gap_open(
    crossed: bool,
    take: &Take,
    session: &mut impl BenchSession,
) -> Result<(), Halt> {
    let capture = &take.capture;
    let marked = capture
        .line(LogicLine::GapMarker)
        .is_some_and(|line| !capture.is_empty() && line.level(capture.len() - 1));
    let off_level = session.ratings().rated_current.si() * 0.25;
    if !marked && tail(capture, Signal::GapCurrent) < off_level {
        return Ok(());
    }
    let closes = gap_branch(crossed);
    session.act(WHOLE, Act::SecondOpener(closes)).await?;
    Err(Halt::danger(format!(
        "the {} did not open after its pulse, so the supply was switched off: look at the \
         contact before you go on",
        closes.word()
    )))
}

/// The mean magnitude of a signal in the last hundredth of a capture; zero where
/// it is not there.
fn tail(capture: &Capture, signal: Signal) -> f64 {
    capture.channel(signal).map_or(0.0, |channel| {
        let count = (channel.codes.len() / 100).max(1);
        let codes = channel.codes.iter().rev().take(count);
        let sum: f64 = codes
            .map(|&code| (channel.offset + channel.scale * f64::from(code)).abs())
            .sum();
        sum / count as f64
    })
}

/// Largest magnitude of a signal in a capture; zero where it is not there.
pub(super) fn peak(capture: &Capture, signal: Signal) -> f64 {
    capture.channel(signal).map_or(0.0, |channel| {
        channel
            .codes
            .iter()
            .map(|&code| (channel.offset + channel.scale * f64::from(code)).abs())
            .fold(0.0, f64::max)
    })
}
