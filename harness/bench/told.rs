//! What each instrument was told last, as far as that can be read back: what the
//! load may draw, what the switch keeps closed, what the signal source does. It
//! measures nothing.

use super::Bench;
use super::fault::BenchError;
use crate::bench_file::{self, Closes};
use crate::clock::{BenchInstant, BenchSpan};
use crate::envelope::Known;
use crate::ident::Role;
use crate::instruments::InstrumentError;
use crate::scenario::intent::{Intent, LoadSetting};
use crate::units::{Amperes, Ohms, Quantity, Seconds, Volts};

/// How much sooner than stated a switch may end what it times.
const SWITCH_ERR: Seconds = Seconds::new(0.05);

/// What the instruments were told last.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Told {
    /// What the load's input is set to, while it stays there.
    pub(super) load: Option<LoadSetting>,
    /// The most that the load draws by what it was told.
    pub(super) load_most: Option<Amperes>,
    /// Whether that is a short: it is no current that was asked for.
    load_shorts: bool,
    /// Whether the board is enabled, and whether its signal is let through.
    pub(super) enabled: Option<bool>,
    pub(super) signal: Option<bool>,
    /// The branch that the switch closed last, what flows through it for as long as
    /// it is closed, and until when that is.
    closed: Option<(Closes, Amperes, BenchInstant)>,
}

impl Told {
    /// After `intent`, on a bench whose supply is set to `voltage`.
    pub(super) fn after(
        self,
        intent: &Intent,
        (file, voltage): (&bench_file::Bench, Volts),
        now: BenchInstant,
    ) -> Self {
        let load = |setting: Option<LoadSetting>, most: Amperes| Self {
            load: setting,
            load_most: Some(most),
            load_shorts: false,
            ..self
        };
        match *intent {
            Intent::SupplyOn { .. } => self,
            Intent::LoadOn(setting) => load(Some(setting), setting.current_at(voltage)),
            Intent::LoadHold { current, .. } => load(Some(LoadSetting::Current(current)), current),
            Intent::LoadPulse { current, .. } => load(None, current),
            Intent::LoadRamp { from, to, .. } => load(None, from.max(to)),
            Intent::LoadShort { .. } => {
                let closed = file.closed_loop(Closes::NearShort, voltage, Ohms::ZERO);
                Self {
                    load_shorts: true,
                    ..load(
                        None,
                        closed.map_or(Amperes::ZERO, |closed| closed.current()),
                    )
                }
            }
            Intent::ShortPulse { .. } | Intent::GapPulse { .. } | Intent::Connect { .. } => {
                let ends = intent.duration().zip(intent.branch());
                let closed = ends.map(|(duration, closes)| {
                    let until = now + BenchSpan::from_seconds(duration);
                    (closes, settled(closes, file, voltage), until)
                });
                Self { closed, ..self }
            }
        }
    }

    /// Whether the upstream source may feed what is drawn now.
    pub(super) fn closes_a_gap(&self, now: BenchInstant) -> bool {
        let gap = [Closes::GapStraight, Closes::GapCrossed];
        self.closed(now)
            .is_some_and(|(closes, _)| gap.contains(&closes))
    }

    /// The branch that must be closed now.
    pub(super) fn closed(&self, now: BenchInstant) -> Option<(Closes, BenchInstant)> {
        let (closes, _, until) = self.closed?;
        (now < until).then_some((closes, until))
    }
}

/// What flows through a branch for as long as it is closed, where that is no fault
/// and no charging: a resistor's current.
fn settled(closes: Closes, file: &bench_file::Bench, voltage: Volts) -> Amperes {
    let branch = file.branch(closes);
    let resistor = branch.filter(|branch| !closes.is_fault() && branch.bank.is_none());
    let resistor = resistor.filter(|_| closes != Closes::SupplyLoad);
    let current =
        resistor.and_then(|branch| Amperes::from_si(voltage.si() / branch.resistance.si()));
    current.unwrap_or(Amperes::ZERO)
}

impl Bench {
    /// What the present settings let flow for as long as they stay.
    pub(super) fn settled(&self) -> Amperes {
        let load = match self.interlock.load_on() {
            Known::Sure(false) => Amperes::ZERO,
            _ if self.told.load_shorts => Amperes::ZERO,
            _ => self.told.load_most.unwrap_or(Amperes::ZERO),
        };
        let now = self.now();
        match self.told.closed {
            Some((_, through, until)) if now < until => load + through,
            _ => load,
        }
    }

    /// Each instrument still says that it is set as it was told, where its profile
    /// has the question: one that restarted by itself has settings of its own.
    pub(super) async fn prove_told_kept(&self) -> Result<(), BenchError> {
        self.prove_load_kept().await?;
        self.prove_drive_kept().await?;
        self.prove_switch_kept().await?;
        self.prove_capture_kept().await
    }

    async fn prove_load_kept(&self) -> Result<(), BenchError> {
        let on = self.interlock.load_on() == Known::Sure(true);
        let (Ok(load), Some(set), true) = (self.load(), self.told.load, on) else {
            return Ok(());
        };
        self.kept(Role::Load, load.keeps(set).await)
    }

    async fn prove_drive_kept(&self) -> Result<(), BenchError> {
        let Ok(drive) = self.drive() else {
            return Ok(());
        };
        let role = Role::Drive;
        for (told, says) in [
            (self.told.enabled, drive.enable_setting().await?),
            (self.told.signal, drive.signal_setting().await?),
        ] {
            if let (Some(told), Some(says)) = (told, says)
                && told != says
            {
                return Err(BenchError::Restarted { role });
            }
        }
        Ok(())
    }

    async fn prove_switch_kept(&self) -> Result<(), BenchError> {
        let (Ok(switch), Some((closes, until))) = (self.switch(), self.told.closed(self.now()))
        else {
            return Ok(());
        };
        // Its own clock may end the closure while it is asked.
        let closed = switch.closed(self.branch(closes)?).await?;
        if closed || self.now() + BenchSpan::from_seconds(SWITCH_ERR) >= until {
            return Ok(());
        }
        let role = Role::Switch;
        Err(BenchError::Restarted { role })
    }

    async fn prove_capture_kept(&self) -> Result<(), BenchError> {
        let (Ok(capture), Some(request)) = (self.capture(), &self.armed) else {
            return Ok(());
        };
        self.kept(Role::Capture, capture.keeps(request).await)
    }

    /// A setting that reads back as another one is a restart here: it was taken when
    /// it was made.
    pub(super) fn kept<T>(
        &self,
        role: Role,
        kept: Result<T, InstrumentError>,
    ) -> Result<T, BenchError> {
        match kept {
            Err(InstrumentError::ReadsBack { .. }) => Err(BenchError::Restarted { role }),
            other => Ok(other?),
        }
    }
}
