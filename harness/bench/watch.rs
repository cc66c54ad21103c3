//! Watching the bench while there is energy in the board: what supply and load
//! deliver and draw, read back against what they were set to and against the
//! envelope. The first breach locks the interlock and names itself; making safe is
//! the runner's.

use super::fault::BenchError;
use super::{Bench, Watched};
use crate::clock::BenchSpan;
use crate::envelope::{Account, Known, Look, Overrun, SupplyState};
use crate::ident::Role;
use crate::instruments::{Measured, Supply};
use crate::units::{Amperes, Quantity, Seconds, Volts};
use std::sync::{MutexGuard, PoisonError};

/// Waits shorter than this are not interrupted for a look.
const SHORTEST: Seconds = Seconds::new(0.15);

/// Between two looks. What one costs a line of 115,200 baud, which carries 11,520
/// bytes a second, `looking_costs_little_of_a_line` counts.
const PERIOD: Seconds = Seconds::new(1.0);

/// What the lines of a look take at most.
const LINES: Seconds = Seconds::new(0.1);

/// What a setting may be exceeded by before it is a breach, beside what the
/// meter may err: a fiftieth, and a little near zero.
const SHARE: f64 = 0.02;
const VOLTS: f64 = 0.2;
const AMPERES: f64 = 0.1;

/// Instruments round a setting: to no more than this, in volts or amperes.
const SETTING_STEP: f64 = 0.02;

/// A rail that was higher before comes down with the board's capacitors: so
/// often is looked again while it falls.
const FALLING_LOOKS: u32 = 100;

/// Every instrument that a bench sets or reads; a console is the board's own.
const WATCHED: [Role; 6] = [
    Role::Supply,
    Role::Load,
    Role::Capture,
    Role::Switch,
    Role::Drive,
    Role::Thermometer,
];

impl Bench {
    /// Waits for `time`, and looks at the bench meanwhile. The looks take their
    /// time out of the wait.
    pub(super) async fn watched_wait(&self, time: Seconds) -> Result<(), BenchError> {
        if time < SHORTEST || !self.interlock.is_energised() {
            return self.clock.wait(time).await;
        }
        let takes = self.look_takes();
        let until = self.now() + BenchSpan::from_seconds(time);
        // Bounded: each turn takes the period, or what is left.
        loop {
            let left = (until - self.now()).seconds();
            if left < SHORTEST.max(takes) {
                break;
            }
            let begun = self.now();
            self.look().await?;
            let used = (self.now() - begun).seconds();
            let left = (until - self.now()).seconds();
            let pause = (PERIOD - used).min(left).max(Seconds::ZERO);
            self.clock.wait(pause).await?;
        }
        let left = (until - self.now()).seconds();
        self.clock.wait(left.max(Seconds::ZERO)).await
    }

    /// What a look takes: the meters' integration, and the lines.
    fn look_takes(&self) -> Seconds {
        let meters = [
            (Role::Supply, "measure_current"),
            (Role::Supply, "measure_voltage"),
            (Role::Load, "measure_current"),
        ];
        meters
            .into_iter()
            .filter_map(|(role, reads)| self.profile(role)?.accuracy.get(reads))
            .fold(LINES, |sum, accuracy| sum + accuracy.integration)
    }

    /// One look at everything that is watched.
    async fn look(&self) -> Result<(), BenchError> {
        // A person cannot read a meter every second, and is at the bench.
        let delivers = match self.is_attended(Role::Supply) {
            true => None,
            false => self.read_back_supply().await?,
        };
        let draws = self.read_back_load().await?;
        self.enter(delivers, draws)?;
        if let (Some(delivers), Some(draws)) = (delivers, draws) {
            self.prove_meters_agree(delivers.current, draws).await?;
        }
        self.prove_supply_kept(self.interlock.supply()).await?;
        self.prove_told_kept().await?;
        self.prove_not_restarted(&WATCHED).await
    }

    /// The supply's voltage and current against the envelope and what it was set
    /// to; `None` where it is off or there is none.
    pub(super) async fn read_back_supply(&self) -> Result<Option<Delivers>, BenchError> {
        let (Ok(supply), Known::Sure(set)) = (self.supply(), self.interlock.supply()) else {
            return Ok(None);
        };
        if !set.on {
            return Ok(None);
        }
        let current = supply.measure_current().await?;
        self.show(Watched::SupplyCurrent, current);
        self.within_envelope(Role::Supply, Some(current), None)?;
        if exceeds(current, set.limit.si() * (1.0 + SHARE) + AMPERES) {
            let limit = set.limit;
            let what = format!("delivers {}, limited to {limit}", said::<Amperes>(current));
            return Err(self.breach(Role::Supply, what));
        }
        let voltage = self.read_back_voltage(supply, set).await?;
        Ok(Some(Delivers { voltage, current }))
    }

    async fn read_back_voltage(
        &self,
        supply: Supply<'_>,
        set: SupplyState,
    ) -> Result<Measured, BenchError> {
        let most = set.voltage.si() * (1.0 + SHARE) + VOLTS;
        let mut before = f64::INFINITY;
        for _ in 0..FALLING_LOOKS {
            let voltage = supply.measure_voltage().await?;
            self.show(Watched::SupplyVoltage, voltage);
            self.within_envelope(Role::Supply, None, Some(voltage))?;
            if !exceeds(voltage, most) {
                return Ok(voltage);
            }
            let now = voltage.reading.value().unwrap_or(f64::INFINITY);
            if now >= before * 0.999 {
                let what = format!("shows {}, set to {}", said::<Volts>(voltage), set.voltage);
                return Err(self.breach(Role::Supply, what));
            }
            before = now;
        }
        let what = format!("does not come down to the {} it is set to", set.voltage);
        Err(self.breach(Role::Supply, what))
    }

    /// The load's current against the envelope and what it was set to; one that is
    /// off draws none. `None` where there is no load or nothing is known of it.
    pub(super) async fn read_back_load(&self) -> Result<Option<Measured>, BenchError> {
        let Ok(load) = self.load() else {
            return Ok(None);
        };
        let (most, set) = match (self.interlock.load_on(), self.told.load_most) {
            (Known::Sure(false), _) => (AMPERES, "off".to_owned()),
            (Known::Sure(true), Some(set)) => {
                (set.si() * (1.0 + SHARE) + AMPERES, format!("set to {set}"))
            }
            _ => return Ok(None),
        };
        let current = load.measure_current().await?;
        self.show(Watched::LoadCurrent, current);
        self.within_envelope(Role::Load, Some(current), None)?;
        if exceeds(current, most) {
            let what = format!("draws {}, {set}", said::<Amperes>(current));
            return Err(self.breach(Role::Load, what));
        }
        Ok(Some(current))
    }

    /// Whether what was just measured is within the envelope at this instant.
    fn within_envelope(
        &self,
        role: Role,
        current: Option<Measured>,
        voltage: Option<Measured>,
    ) -> Result<(), BenchError> {
        let envelope = self.file.envelope;
        let current = current.and_then(at_least::<Amperes>);
        let voltage = voltage.and_then(at_least::<Volts>);
        let overrun = if let Some(measured) = current.filter(|&c| c > envelope.current) {
            let most = envelope.current;
            Overrun::Current { measured, most }
        } else if let Some(measured) = voltage.filter(|&v| v > envelope.voltage) {
            let most = envelope.voltage;
            Overrun::Voltage { measured, most }
        } else {
            return Ok(());
        };
        Err(self.beyond(role, overrun))
    }

    /// Takes what was measured into the account of what has flowed.
    pub(super) fn enter(
        &self,
        delivers: Option<Delivers>,
        draws: Option<Measured>,
    ) -> Result<(), BenchError> {
        let delivered = delivers.and_then(|d| at_least::<Amperes>(d.current));
        let drawn = draws.and_then(at_least::<Amperes>);
        let (Some(current), role) = (match (delivered, drawn) {
            (Some(one), Some(other)) if other > one => (drawn, Role::Load),
            (Some(_), _) => (delivered, Role::Supply),
            (None, _) => (drawn, Role::Load),
        }) else {
            return Ok(());
        };
        // What a person has set counts as it was told.
        let told = self.is_attended(Role::Supply).then(|| self.set_voltage());
        let look = Look {
            at: self.now(),
            voltage: delivers.and_then(|d| at_least::<Volts>(d.voltage)).or(told),
            current,
            settled: self.settled(),
        };
        let entered = self.account().enter(look);
        entered.map_err(|overrun| self.beyond(role, overrun))
    }

    /// A pause of the supply counts only where its meters show one: measured just
    /// before it comes on again.
    pub(super) async fn prove_pause(&self) -> Result<(), BenchError> {
        let off = matches!(self.interlock.supply(), Known::Sure(set) if !set.on);
        if !off || !self.account().is_open() {
            return Ok(());
        }
        if self.is_attended(Role::Supply) {
            // There is no other evidence than the word that it is off.
            self.account().close();
            return Ok(());
        }
        let supply = self.supply()?;
        let current = supply.measure_current().await?;
        let voltage = supply.measure_voltage().await?;
        let most = |measured: Measured| measured.estimate().map(|e| e.value.abs() + e.expanded());
        let voltage = most(voltage).and_then(Volts::from_si);
        let current = current
            .estimate()
            .and_then(|e| Amperes::from_si(e.value.abs()));
        if let (Some(voltage), Some(current)) = (voltage, current)
            && self.account().pause(voltage, current)
        {
            return Ok(());
        }
        tracing::warn!("the supply's meters show no pause: the time with energy goes on");
        Ok(())
    }

    /// What has flowed; it stays right in a panic.
    pub(super) fn account(&self) -> MutexGuard<'_, Account> {
        self.account.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The supply's voltage as it was set last; zero where that is not known.
    pub(super) fn set_voltage(&self) -> Volts {
        match self.interlock.supply() {
            Known::Sure(set) => set.voltage,
            Known::Unknown => Volts::ZERO,
        }
    }

    /// The supply still says that it is set to what it was set to, `was`, while on: an
    /// instrument that restarted by itself has settings of its own.
    pub(super) async fn prove_supply_kept(
        &self,
        was: Known<SupplyState>,
    ) -> Result<(), BenchError> {
        let (Ok(supply), Known::Sure(set)) = (self.supply(), was) else {
            return Ok(());
        };
        if !set.on {
            return Ok(());
        }
        let voltage = supply.voltage_setting().await?;
        let limit = supply.limit_setting().await?;
        let other = |says: Option<f64>, set: f64| {
            says.is_some_and(|says| (says - set).abs() > SHARE * set + SETTING_STEP)
        };
        if other(voltage.map(Quantity::si), set.voltage.si())
            || other(limit.map(Quantity::si), set.limit.si())
        {
            let role = Role::Supply;
            return Err(BenchError::Restarted { role });
        }
        Ok(())
    }

    fn breach(&self, role: Role, what: String) -> BenchError {
        let fault = BenchError::Breach { role, what };
        self.lock(&fault);
        fault
    }

    fn beyond(&self, role: Role, overrun: Overrun) -> BenchError {
        let fault = BenchError::Beyond { role, overrun };
        self.lock(&fault);
        fault
    }
}

/// What the supply's meters say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Delivers {
    voltage: Measured,
    current: Measured,
}

/// The least magnitude that a reading allows, by what its meter may err.
fn at_least<Q: Quantity>(measured: Measured) -> Option<Q> {
    let estimate = measured.estimate()?;
    Q::from_si((estimate.value.abs() - estimate.expanded()).max(0.0))
}

/// Whether a reading is above `most` beyond what its meter may err. What is not
/// a number cannot show that all is well.
fn exceeds(measured: Measured, most: f64) -> bool {
    match measured.estimate() {
        Some(estimate) => estimate.value.abs() - estimate.expanded() > most,
        None => true,
    }
}

fn said<Q: Quantity + std::fmt::Display>(measured: Measured) -> String {
    let value = measured.reading.value().and_then(Q::from_si);
    value.map_or_else(|| "not a number".to_owned(), |value| value.to_string())
}
