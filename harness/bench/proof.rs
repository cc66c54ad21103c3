//! Proving by reading back: that energy is gone after it was switched off, that
//! contacts are open, that nothing runs on, that no instrument has restarted.
//! It lets no energy in; what it cannot prove locks the interlock.

use super::Bench;
use super::fault::BenchError;
use crate::bench_file::{Closer, Closes};
use crate::ident::Role;
use crate::instruments::{CaptureStatus, Measured};
use crate::scenario::acquisition::{CaptureRequest, ChannelRequest, Trigger};
use crate::units::{Amperes, Quantity, Seconds, Volts};
use crate::waveform::{Capture, LogicLine, Signal};

/// At rest no rail shows more than this: too little to start a board or to
/// drive a current worth naming through a contact.
pub(super) const REST_VOLTAGE: Volts = Volts::new(2.0);

/// What is off carries less than this, beside what its meter may err.
pub(super) const NO_CURRENT: Amperes = Amperes::new(0.02);

/// The longest that the board's capacitors are given to empty ...
const LONGEST_DECAY: Seconds = Seconds::new(20.0);

/// ... as long as the voltage loses a fiftieth in each stretch of this: one that
/// stands still is no capacitor's.
const STRETCH: Seconds = Seconds::new(1.0);
const LEAST_LOSS: f64 = 0.02;

/// Between two looks.
const BETWEEN_LOOKS: Seconds = Seconds::new(0.01);

/// The most looks at one thing, whatever the clock does.
const MOST_LOOKS: u32 = 1000;

/// How often a current that should be gone is looked for.
const CURRENT_LOOKS: u32 = 3;

/// "Power on" in the standard event status register (IEEE 488.2, 11.5.1.1.2).
const POWER_ON: u32 = 128;

/// Samples of the look at rails and pilot currents, and the time between two.
const GLANCE: u32 = 64;
const GLANCE_PERIOD: Seconds = Seconds::new(1e-6);

impl Bench {
    /// Proves, within `time` if all is well, that nothing on the bench carries
    /// energy: the supply's voltage and current gone, the load's current gone, every
    /// contact open, no pulse, ramp or capture going on, and no instrument
    /// restarted since it was looked at last. Each is looked at, whatever the
    /// others say. Returns `time` after it was asked, or later.
    ///
    /// # Errors
    /// The first [`BenchError`]; after [`BenchError::StillOn`] the interlock
    /// permits nothing more.
    pub async fn prove_at_rest(&mut self, time: Seconds) -> Result<(), BenchError> {
        let begun = self.now();
        let load = self.prove_load_off().await;
        self.learn_load_off(load.is_ok());
        let switch = self.prove_contacts_open().await;
        let capture = self.prove_capture_idle().await;
        let restarted = self.prove_not_restarted(&Role::ALL).await;
        let supply = self.prove_supply_off().await;
        self.learn_supply_off(supply.is_ok());
        for proof in [&load, &switch, &capture, &supply] {
            if let Err(fault @ BenchError::StillOn { .. }) = proof {
                self.lock(fault);
            }
        }
        let rails = match (&supply, &capture) {
            (Ok(()), Ok(())) => self.look_at_rails().await,
            _ => Ok(()),
        };
        if rails.is_err() {
            self.learn_supply_off(false);
        }
        let left = time - (self.now() - begun).seconds();
        if left > Seconds::ZERO {
            self.clock.wait(left).await?;
        }
        supply
            .and(rails)
            .and(load)
            .and(switch)
            .and(capture)
            .and(restarted)
    }

    /// Permits nothing more on this bench, since `fault` was found.
    pub(super) fn lock(&self, fault: &BenchError) {
        tracing::error!(%fault, "the interlock is locked");
        self.interlock.lock(fault.to_string());
    }

    /// The supply's current is gone, and its voltage has fallen to rest.
    pub(super) async fn prove_supply_off(&self) -> Result<(), BenchError> {
        let Ok(supply) = self.supply() else {
            return Ok(());
        };
        let role = Role::Supply;
        let begun = self.now();
        let mut mark: Option<(f64, Seconds)> = None;
        for _ in 0..MOST_LOOKS {
            let current = supply.measure_current().await?;
            let voltage = supply.measure_voltage().await?;
            let current_gone = is_gone(current, NO_CURRENT.si());
            if current_gone && is_gone(voltage, REST_VOLTAGE.si()) {
                self.account().close();
                return Ok(());
            }
            let shown = voltage.estimate().map_or(f64::INFINITY, |v| v.value.abs());
            let passed = (self.now() - begun).seconds();
            let stands = match mark {
                Some((then, at)) if passed - at >= STRETCH => {
                    mark = Some((shown, passed));
                    shown >= then * (1.0 - LEAST_LOSS)
                }
                Some(_) => false,
                None => {
                    mark = Some((shown, passed));
                    false
                }
            };
            if stands || passed > LONGEST_DECAY {
                let what = format!(
                    "{passed} after it was switched off it shows {} V and {} A",
                    said(voltage),
                    said(current)
                );
                return Err(BenchError::StillOn { role, what });
            }
            self.clock.wait(BETWEEN_LOOKS).await?;
        }
        let what = format!("it does not come below {REST_VOLTAGE}");
        Err(BenchError::StillOn { role, what })
    }

    /// The load draws nothing, and no pulse or ramp of it goes on; one that does
    /// is stopped first.
    pub(super) async fn prove_load_off(&self) -> Result<(), BenchError> {
        let Ok(load) = self.load() else {
            return Ok(());
        };
        let role = Role::Load;
        if load.running().await? {
            load.stop().await?;
            load.input_off().await?;
            if load.running().await? {
                let what = "its pulse or ramp goes on".to_owned();
                return Err(BenchError::StillOn { role, what });
            }
        }
        if self.file.load_shorts() && load.shorted().await? {
            let what = "it still shorts its input".to_owned();
            return Err(BenchError::StillOn { role, what });
        }
        let mut last = load.measure_current().await?;
        for _ in 1..CURRENT_LOOKS {
            if is_gone(last, NO_CURRENT.si()) {
                break;
            }
            self.clock.wait(BETWEEN_LOOKS).await?;
            last = load.measure_current().await?;
        }
        if is_gone(last, NO_CURRENT.si()) {
            return Ok(());
        }
        let what = format!("it still draws {} A", said(last));
        Err(BenchError::StillOn { role, what })
    }

    /// The switch takes every branch for open, and times no closure.
    pub(super) async fn prove_contacts_open(&self) -> Result<(), BenchError> {
        let Ok(switch) = self.switch() else {
            return Ok(());
        };
        let role = Role::Switch;
        if switch.running().await? {
            switch.open_all().await?;
            if switch.running().await? {
                let what = "its timed closure goes on".to_owned();
                return Err(BenchError::StillOn { role, what });
            }
        }
        for branch in &self.file.branches {
            let Closer::Switch(number) = branch.closer else {
                continue;
            };
            if switch.closed(number).await? {
                let what = format!("the {} is still closed", branch.closes.word());
                return Err(BenchError::StillOn { role, what });
            }
        }
        Ok(())
    }

    /// No capture goes on; one that does is given up first.
    pub(super) async fn prove_capture_idle(&self) -> Result<(), BenchError> {
        let Ok(capture) = self.capture() else {
            return Ok(());
        };
        if capture.status().await? == CaptureStatus::Idle {
            return Ok(());
        }
        capture.stop().await?;
        if capture.status().await? == CaptureStatus::Idle {
            return Ok(());
        }
        let role = Role::Capture;
        let what = "its capture goes on".to_owned();
        Err(BenchError::StillOn { role, what })
    }

    /// None of `roles` was switched on since it was looked at last, as far as
    /// their profiles let them be asked.
    pub(super) async fn prove_not_restarted(&self, roles: &[Role]) -> Result<(), BenchError> {
        let mut first = Ok(());
        for &role in roles {
            let Some(session) = self.session(role) else {
                continue;
            };
            if session.profile().command(RESTART_QUERY).is_none() {
                continue;
            }
            let bits = session.bits(RESTART_QUERY).await?;
            if bits & POWER_ON != 0 {
                first = first.and(Err(BenchError::Restarted { role }));
            }
        }
        first
    }

    /// Looks at rails and pilot currents while everything is off: a contact that
    /// welded in an earlier run, a rail that something else feeds, or a supply of
    /// which switch and meters lie. A rail that still empties is given its time.
    ///
    /// # Errors
    /// [`BenchError::StillOn`], after which the interlock permits nothing; any
    /// other [`BenchError`] of the capture device.
    pub(super) async fn look_at_rails(&mut self) -> Result<(), BenchError> {
        let Some(request) = self.glance() else {
            return Ok(());
        };
        let begun = self.now();
        let mut before = f64::INFINITY;
        loop {
            self.arm(&request).await?;
            let seen = self.fetch("at rest").await?;
            let rail = highest_rail(&seen);
            let contact = contact_closed(&seen);
            let empties = rail.is_some_and(|(_, volts)| volts <= before * (1.0 - LEAST_LOSS));
            let passed = (self.now() - begun).seconds();
            let found = match (contact, rail) {
                (Some(fault), _) => fault,
                (None, Some((name, volts))) if volts > REST_VOLTAGE.si() => {
                    if empties && passed < LONGEST_DECAY {
                        before = volts;
                        self.clock.wait(STRETCH).await?;
                        continue;
                    }
                    let role = Role::Supply;
                    let what =
                        format!("{name} shows {volts:.1} V although everything was switched off");
                    BenchError::StillOn { role, what }
                }
                _ => return Ok(()),
            };
            self.lock(&found);
            return Err(found);
        }
    }

    /// The shortest capture of both rails and every line, where the bench can.
    fn glance(&self) -> Option<CaptureRequest> {
        let channels: Vec<ChannelRequest> = RAILS
            .into_iter()
            .filter_map(|(signal, _)| {
                let range = self.sees(signal)?;
                Some(ChannelRequest { signal, range })
            })
            .collect();
        if channels.is_empty() {
            return None;
        }
        let profile = self.profile(Role::Capture);
        let fastest = profile.and_then(|profile| profile.capture_range());
        let fastest = fastest.map_or(GLANCE_PERIOD, |range| range.period);
        Some(CaptureRequest {
            period: GLANCE_PERIOD.max(fastest),
            length: GLANCE,
            before_trigger: 0,
            trigger: Trigger::Now,
            channels,
            lines: true,
        })
    }
}

/// The rails that must be at rest, and what they are called.
const RAILS: [(Signal, &str); 2] = [
    (Signal::NodeVoltage, "the output"),
    (Signal::BoardSupply, "the board's supply rail"),
];

/// The optional command of a profile that reads the standard event status
/// register.
const RESTART_QUERY: &str = "event_status";

/// Whether a magnitude is below `level`, as far as its meter can say so.
fn is_gone(measured: Measured, level: f64) -> bool {
    let estimate = measured.estimate();
    estimate.is_some_and(|e| e.value.abs() <= level + e.expanded())
}

fn said(measured: Measured) -> String {
    let value = measured.reading.value();
    value.map_or_else(|| "not a number of".to_owned(), |value| format!("{value}"))
}

/// A contact through which its pilot current flows.
fn contact_closed(seen: &Capture) -> Option<BenchError> {
    let pilots = [
        (LogicLine::NearPilot, Closes::NearShort),
        (LogicLine::FarPilot, Closes::FarShort),
    ];
    let mut closed = pilots
        .into_iter()
        .filter(|&(line, _)| seen.line(line).is_some_and(|line| line.level(0)));
    closed.next().map(|(_, closes)| {
        let what = format!(
            "the pilot current of the {} says that its contact is closed: it may have welded; \
             look at it before anything is energised",
            closes.word()
        );
        let role = Role::Switch;
        BenchError::StillOn { role, what }
    })
}

/// The rail with the largest mean magnitude, in volts: an output may alternate.
fn highest_rail(seen: &Capture) -> Option<(&'static str, f64)> {
    let rails = RAILS.into_iter().filter_map(|(signal, name)| {
        let channel = seen.channel(signal)?;
        let volts = |&code: &i16| (channel.offset + channel.scale * f64::from(code)).abs();
        let sum: f64 = channel.codes.iter().map(volts).sum();
        Some((name, sum / channel.codes.len().max(1) as f64))
    });
    rails.max_by(|(_, one), (_, other)| one.total_cmp(other))
}
