//! Watching the bench while there is energy in the board: what supply and load
//! deliver and draw, read back against what they were set to. The first breach
//! locks the interlock and names itself; making safe is the runner's.

use super::Bench;
use super::fault::BenchError;
use crate::clock::BenchSpan;
use crate::envelope::{Known, SupplyState};
use crate::ident::Role;
use crate::instruments::{Measured, Supply};
use crate::units::{Amperes, Quantity, Seconds, Volts};

/// Waits shorter than this are not interrupted for a look.
const SHORTEST: Seconds = Seconds::new(0.15);

/// Between two looks. One costs the supply's line about 75 bytes (`MEAS:CURR?`,
/// `MEAS:VOLT?`, `VOLT?`, `CURR?`, `*ESR?` and their answers) and every other line
/// less: 0.7 % of 115,200 baud, which carry 11,520 bytes a second.
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

/// Roles whose loss of settings nothing else would show.
const WATCHED: [Role; 3] = [Role::Supply, Role::Load, Role::Drive];

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
        if !self.is_attended(Role::Supply) {
            self.read_back_supply().await?;
        }
        self.read_back_load().await?;
        self.prove_supply_kept(self.interlock.supply()).await?;
        self.prove_not_restarted(&WATCHED).await
    }

    /// The supply's voltage and current against what it was set to.
    pub(super) async fn read_back_supply(&self) -> Result<(), BenchError> {
        let (Ok(supply), Known::Sure(set)) = (self.supply(), self.interlock.supply()) else {
            return Ok(());
        };
        if !set.on {
            return Ok(());
        }
        let current = supply.measure_current().await?;
        let most = set.limit.si() * (1.0 + SHARE) + AMPERES;
        let envelope = self.file.envelope.current.si();
        if exceeds(current, most.min(envelope)) {
            let limit = set.limit;
            let what = format!("delivers {}, limited to {limit}", said::<Amperes>(current));
            return Err(self.breach(Role::Supply, what));
        }
        self.read_back_voltage(supply, set).await
    }

    async fn read_back_voltage(
        &self,
        supply: Supply<'_>,
        set: SupplyState,
    ) -> Result<(), BenchError> {
        let most = set.voltage.si() * (1.0 + SHARE) + VOLTS;
        let envelope = self.file.envelope.voltage.si();
        let mut before = f64::INFINITY;
        for _ in 0..FALLING_LOOKS {
            let voltage = supply.measure_voltage().await?;
            let above = exceeds(voltage, envelope);
            if !above && !exceeds(voltage, most) {
                return Ok(());
            }
            let now = voltage.reading.value().unwrap_or(f64::INFINITY);
            if above || now >= before * 0.999 {
                let what = format!("shows {}, set to {}", said::<Volts>(voltage), set.voltage);
                return Err(self.breach(Role::Supply, what));
            }
            before = now;
        }
        let what = format!("does not come down to the {} it is set to", set.voltage);
        Err(self.breach(Role::Supply, what))
    }

    /// The load's current against what it was set to, where it was set to one;
    /// a load that is off draws none.
    pub(super) async fn read_back_load(&self) -> Result<(), BenchError> {
        let Ok(load) = self.load() else {
            return Ok(());
        };
        let most = match (self.interlock.load_on(), self.load_current) {
            (Known::Sure(false), _) => AMPERES,
            (Known::Sure(true), Some(set)) => set.si() * (1.0 + SHARE) + AMPERES,
            _ => return Ok(()),
        };
        let current = load.measure_current().await?;
        if exceeds(current, most) {
            let set = match self.interlock.load_on() {
                Known::Sure(false) => "off".to_owned(),
                _ => self
                    .load_current
                    .map_or_else(String::new, |set| format!("set to {set}")),
            };
            let what = format!("draws {}, {set}", said::<Amperes>(current));
            return Err(self.breach(Role::Load, what));
        }
        Ok(())
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
