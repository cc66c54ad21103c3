//! What can be done on the bench. The one function that lets energy into the
//! board takes a permit; all others take it away or change a signal.

use super::Bench;
use super::fault::BenchError;
use super::interlock::Permit;
use crate::bench_file::{Closes, Probed};
use crate::envelope::Refusal;
use crate::ident::Role;
use crate::instruments::Measured;
use crate::protocol::Reading;
use crate::scenario::intent::{Intent, LoadSetting, gap_branch, short_branch};
use crate::scenario::session::InputLine;
use crate::scenario::{Polarity, Proof};
use crate::units::{Amperes, Quantity, Seconds, Volts};

/// How often a running pulse is asked after while it is awaited.
const POLLS: u32 = 64;

impl Bench {
    /// Leave for `intent` in the present state of the bench.
    ///
    /// # Errors
    /// A [`Refusal`] with its numbers.
    pub fn permit(&self, intent: &Intent) -> Result<Permit, Refusal> {
        self.interlock.permit(intent, self.now())
    }

    /// Lets energy into the board: the only function that does.
    ///
    /// # Errors
    /// A [`BenchError`]; after one that leaves the outcome open the interlock
    /// permits nothing more until the bench was made safe.
    pub async fn energise(&mut self, permit: Permit) -> Result<(), BenchError> {
        let intent = self.interlock.redeem(permit)?;
        tracing::info!(?intent, "energises");
        let begun = self.clock.now();
        let result = self.carry_out(&intent).await;
        let now = self.clock.now();
        let around = (&self.file, self.set_voltage());
        self.told = self.told.after(&intent, around, begun);
        match &result {
            Ok(()) => self.interlock.learn(|state| state.after(&intent, now)),
            Err(error) if leaves_open(&intent, error) => {
                self.interlock
                    .learn(|state| state.perhaps_after(&intent, now));
            }
            Err(_) => {}
        }
        result?;
        // What was commanded is not what happened: it is read back.
        match intent {
            Intent::SupplyOn { .. } => {
                let delivers = self.read_back_supply().await?;
                self.enter(delivers, None)
            }
            Intent::LoadOn(_) | Intent::LoadHold { .. } => {
                let draws = self.read_back_load().await?;
                self.enter(None, draws)
            }
            _ => Ok(()),
        }
    }

    async fn carry_out(&self, intent: &Intent) -> Result<(), BenchError> {
        match *intent {
            Intent::SupplyOn {
                voltage,
                current_limit,
            } => self.supply_on(voltage, current_limit).await,
            Intent::LoadOn(setting) => self.load_on(setting).await,
            Intent::LoadHold { current, .. } => self.load_on(LoadSetting::Current(current)).await,
            Intent::LoadPulse { current, duration } => {
                let load = self.load()?;
                Ok(load.pulse(current, duration).await?)
            }
            Intent::LoadRamp { from, to, duration } => {
                let load = self.load()?;
                Ok(load.ramp(from, to, duration).await?)
            }
            Intent::ShortPulse { place, duration } => {
                self.close(short_branch(place), duration).await
            }
            Intent::LoadShort { duration } => {
                let load = self.load()?;
                Ok(load.short(duration).await?)
            }
            Intent::GapPulse { crossed, duration } => {
                self.close(gap_branch(crossed), duration).await
            }
            Intent::Connect { closes, duration } => self.close(closes, duration).await,
        }
    }

    async fn load_on(&self, setting: LoadSetting) -> Result<(), BenchError> {
        let load = self.load()?;
        load.set(setting).await?;
        Ok(load.input_on().await?)
    }

    async fn supply_on(&self, voltage: Volts, limit: Amperes) -> Result<(), BenchError> {
        let supply = self.supply()?;
        // A restart since it was set last would be covered up by new settings.
        self.prove_supply_kept(self.interlock.supply()).await?;
        self.prove_pause().await?;
        // The limit first: raising the voltage must not find an old one.
        supply.set_current_limit(limit).await?;
        supply.set_voltage(voltage).await?;
        Ok(supply.output_on().await?)
    }

    async fn close(&self, closes: Closes, duration: Seconds) -> Result<(), BenchError> {
        let switch = self.switch()?;
        let number = self.branch(closes)?;
        Ok(switch.pulse(number, duration).await?)
    }

    /// Switches the supply off.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn supply_off(&mut self) -> Result<(), BenchError> {
        let supply = self.supply()?;
        let was = self.interlock.supply();
        let result = supply.output_off().await;
        self.learn_supply_off(result.is_ok());
        result?;
        self.prove_supply_kept(was).await
    }

    pub(super) fn learn_supply_off(&mut self, sure: bool) {
        self.interlock.learn(|state| {
            if sure {
                state.supply_off()
            } else {
                state.unsure_of(Role::Supply)
            }
        });
    }

    /// Switches the load's input off.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn load_off(&mut self) -> Result<(), BenchError> {
        let load = self.load()?;
        let result = load.input_off().await;
        self.learn_load_off(result.is_ok());
        result?;
        if self.interlock.is_energised() {
            // Only while there is something to draw does its current show whether
            // it is off.
            self.read_back_load().await?;
        }
        Ok(())
    }

    pub(super) fn learn_load_off(&mut self, sure: bool) {
        self.interlock.learn(|state| {
            if sure {
                state.load_off()
            } else {
                state.unsure_of(Role::Load)
            }
        });
    }

    /// Holds the output, or lets it follow a signal of all ones.
    ///
    /// # Errors
    /// A [`BenchError`]; refused while a load without rectifier is on.
    pub async fn set_drive(&mut self, drive: Polarity) -> Result<(), BenchError> {
        self.interlock.may_drive(drive, self.now())?;
        let source = self.drive()?;
        let result = match drive {
            Polarity::Positive => source.hold(true).await,
            Polarity::Negative => source.hold(false).await,
            Polarity::Alternating => source.pattern(ALL_ONES).await,
        };
        self.learn_drive(result.is_ok().then_some(drive), result.is_ok());
        Ok(result?)
    }

    /// Repeats `pattern`, a word that the source knows.
    ///
    /// # Errors
    /// A [`BenchError`]; refused while a load without rectifier is on.
    pub async fn set_pattern(&mut self, pattern: &str) -> Result<(), BenchError> {
        let alternating = Polarity::Alternating;
        self.interlock.may_drive(alternating, self.now())?;
        let source = self.drive()?;
        let result = source.pattern(pattern).await;
        self.learn_drive(result.is_ok().then_some(alternating), result.is_ok());
        Ok(result?)
    }

    pub(super) fn learn_drive(&mut self, drive: Option<Polarity>, sure: bool) {
        self.interlock.learn(|state| {
            if sure {
                state.driven(drive)
            } else {
                state.unsure_of(Role::Drive)
            }
        });
    }

    /// Lets the signal through to the board, or stops it.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn signal(&mut self, on: bool) -> Result<(), BenchError> {
        let source = self.drive()?;
        let result = if on {
            source.signal_on().await
        } else {
            source.signal_off().await
        };
        self.told.signal = result.is_ok().then_some(on);
        Ok(result?)
    }

    /// Drives the board's enable line.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn enable(&mut self, on: bool) -> Result<(), BenchError> {
        let result = self.drive()?.enable(on).await;
        self.told.enabled = result.is_ok().then_some(on);
        Ok(result?)
    }

    /// Drives the board's brake line.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn brake(&self, on: bool) -> Result<(), BenchError> {
        Ok(self.drive()?.brake(on).await?)
    }

    /// Breaks one of the board's input lines; `None` mends it.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn break_line(&self, line: Option<InputLine>) -> Result<(), BenchError> {
        Ok(self.drive()?.break_line(line).await?)
    }

    /// The largest current that the supply can be limited to here.
    pub fn supply_limit(&self) -> Amperes {
        self.interlock.supply_current()
    }

    /// Voltage at the supply's terminals.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn supply_voltage(&self) -> Result<Measured, BenchError> {
        let supply = self.supply()?;
        Ok(supply.measure_voltage().await?)
    }

    /// Current that the supply delivers.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn supply_current(&self) -> Result<Measured, BenchError> {
        let supply = self.supply()?;
        Ok(supply.measure_current().await?)
    }

    /// Current that the load draws.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn load_current(&self) -> Result<Measured, BenchError> {
        let load = self.load()?;
        Ok(load.measure_current().await?)
    }

    /// What the board says of its output current, in counts.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn board_sense(&self) -> Result<Reading, BenchError> {
        Ok(self.console()?.sense().await?)
    }

    /// Temperature of the board's heat sink in degrees Celsius; `None` where
    /// no thermometer is there.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn temperature(&self) -> Result<Option<Measured>, BenchError> {
        self.temperature_of(Probed::HeatSink).await
    }

    /// Temperature of the air around the bench in degrees Celsius; `None` where
    /// no thermometer is there.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn ambient(&self) -> Result<Option<Measured>, BenchError> {
        self.temperature_of(Probed::Ambient).await
    }

    async fn temperature_of(&self, probed: Probed) -> Result<Option<Measured>, BenchError> {
        match self.thermometer() {
            Ok(thermometer) if self.file.probed() == Some(probed) => {
                Ok(Some(thermometer.temperature().await?))
            }
            _ => Ok(None),
        }
    }

    /// Whether the supply limits or protects itself now; false where it cannot
    /// be asked.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn supply_protected(&self) -> Result<bool, BenchError> {
        match self.supply() {
            Ok(supply) => Ok(supply.condition().await?.protected()),
            Err(_) => Ok(false),
        }
    }

    /// Whether the load protects itself now; false where there is none.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn load_protected(&self) -> Result<bool, BenchError> {
        match self.load() {
            Ok(load) => Ok(load.condition().await?.protected()),
            Err(_) => Ok(false),
        }
    }

    /// Whether the fuse of the branch is intact; `None` where the bench cannot
    /// tell.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn fuse_intact(&self, closes: Closes) -> Result<Option<bool>, BenchError> {
        match (self.switch(), self.branch(closes)) {
            (Ok(switch), Ok(number)) => Ok(switch.continuity(number).await?),
            _ => Ok(None),
        }
    }

    /// How the closing of a branch is proven.
    pub fn proof(&self, closes: Closes) -> Proof {
        self.file
            .branch(closes)
            .map_or(Proof::None, |branch| branch.proof)
    }

    /// Waits until the switch has ended its closure.
    ///
    /// # Errors
    /// [`BenchError::Unfinished`] when it has not by about `within`.
    pub async fn switch_finished(&self, within: Seconds) -> Result<(), BenchError> {
        let role = Role::Switch;
        let switch = self.switch()?;
        for poll in 0..=POLLS {
            if !switch.running().await? {
                return Ok(());
            }
            if poll < POLLS {
                self.wait(within / f64::from(POLLS)).await?;
            }
        }
        Err(BenchError::Unfinished { role, within })
    }

    /// Whether a current is below `level`, by a measurement that says so with
    /// its uncertainty.
    pub(super) fn is_below(measured: Measured, level: Amperes) -> bool {
        let estimate = measured.estimate();
        estimate.is_some_and(|e| e.value.abs() + e.expanded() < level.si())
    }
}

/// Whether `error` leaves it open how far `intent` went. Of what takes several
/// commands, some may have been taken.
fn leaves_open(intent: &Intent, error: &BenchError) -> bool {
    let BenchError::Instrument(error) = error else {
        return false;
    };
    let several = matches!(
        intent,
        Intent::SupplyOn { .. } | Intent::LoadOn(_) | Intent::LoadHold { .. }
    );
    several || error.is_uncertain()
}

/// The pattern of all ones, as sources call it.
const ALL_ONES: &str = "ONES";
