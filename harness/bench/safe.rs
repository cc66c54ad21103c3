//! Making the bench safe: every instrument is tried under its own deadline,
//! whatever the others do, and the current is proven gone where it can be.
//! It works at any time, twice, and after any trouble.

use super::Bench;
use super::fault::BenchError;
use crate::bench_file::Closes;
use crate::event::{SafetyAction, SafetyOutcome};
use crate::ident::Role;
use crate::scenario::session::Opening;
use crate::units::{Amperes, Seconds};
use std::time::Duration;
use tokio::time::timeout;

/// The short first, then what feeds it, then what makes signals and samples.
pub(super) const ORDER: [Role; 5] = [
    Role::Switch,
    Role::Load,
    Role::Supply,
    Role::Drive,
    Role::Capture,
];

/// Wall time for one instrument.
const DEADLINE: Duration = Duration::from_millis(1500);

/// A supply that is off delivers less than this.
const NO_CURRENT: Amperes = Amperes::new(0.02);

/// How often an open contact is looked for, and how long in between.
const LOOKS: u32 = 3;
const BETWEEN_LOOKS: Seconds = Seconds::new(0.01);

impl Bench {
    /// Proves that the branch is open again after a pulse: the switch says so,
    /// and the supply delivers less than `off_level`. If not, the supply is the
    /// second opener: a contact that broke many amperes can weld.
    ///
    /// # Errors
    /// A [`BenchError`]; the bench is to be made safe then.
    pub async fn prove_open(
        &mut self,
        closes: Closes,
        off_level: Amperes,
    ) -> Result<Opening, BenchError> {
        for look in 0..LOOKS {
            if look > 0 {
                self.wait(BETWEEN_LOOKS).await?;
            }
            if self.looks_open(closes, off_level).await? {
                return Ok(Opening::Proven);
            }
        }
        tracing::warn!(branch = closes.word(), "did not open: supply off");
        self.supply_off().await?;
        Ok(Opening::SecondOpener)
    }

    async fn looks_open(&self, closes: Closes, off_level: Amperes) -> Result<bool, BenchError> {
        let missing = BenchError::Missing(Role::Switch);
        let switch = self.switch.as_ref().ok_or(missing.clone())?;
        let number = self.file.branch(closes).ok_or(missing)?.number;
        if switch.closed(number).await? {
            return Ok(false);
        }
        match &self.supply {
            Some(supply) => {
                let current = supply.measure_current().await?;
                Ok(Self::is_below(current, off_level))
            }
            None => Ok(true),
        }
    }

    /// Makes the bench safe: each instrument in turn, energy first, gets its
    /// abandon bytes and every make-safe line. Never gives up at a failure.
    pub async fn make_safe(&mut self) -> SafetyOutcome {
        self.armed = None;
        let mut actions = Vec::new();
        for role in ORDER {
            self.make_one_safe(role, &mut actions).await;
        }
        self.prove_current_gone(&mut actions).await;
        let safe = actions.iter().all(|action| action.trouble.is_none());
        if !safe {
            tracing::error!(?actions, "the bench could not be made safe");
        }
        SafetyOutcome { actions, safe }
    }

    async fn make_one_safe(&mut self, role: Role, actions: &mut Vec<SafetyAction>) {
        let Some(session) = self.session(role) else {
            return;
        };
        let lines = session.profile().safety.make_safe.clone();
        let mut untaken = self.try_lines(role, &lines, actions).await;
        if untaken > 0 && self.reopen(role) {
            // Off, open and stop may be said twice; the port is a fresh one.
            actions.truncate(actions.len() - untaken);
            let rest = &lines[lines.len() - untaken..];
            untaken = self.try_lines(role, rest, actions).await;
        }
        let sure = untaken == 0;
        match role {
            Role::Supply => self.learn_supply_off(sure),
            Role::Load => self.learn_load_off(sure),
            Role::Drive => self.learn_drive(None, sure),
            _ => {}
        }
    }

    /// Sends `lines` under one deadline and notes each. Gives how many were not
    /// taken; these are the last ones.
    async fn try_lines(
        &self,
        role: Role,
        lines: &[String],
        actions: &mut Vec<SafetyAction>,
    ) -> usize {
        let Some(session) = self.session(role) else {
            return 0;
        };
        let port = session.port();
        let mut taken = 0;
        let attempt = async {
            let abandon = session.profile().safety.abandon.clone();
            port.interrupt(abandon.into_bytes())
                .await
                .map_err(|error| error.to_string())?;
            for line in lines {
                session
                    .order(line)
                    .await
                    .map_err(|error| error.to_string())?;
                taken += 1;
            }
            Ok::<(), String>(())
        };
        let trouble = match timeout(DEADLINE, attempt).await {
            Ok(Ok(())) => None,
            Ok(Err(trouble)) => Some(trouble),
            Err(_) => Some(format!("no confirmation within {DEADLINE:?}")),
        };
        if trouble.is_some() {
            // Blind: an instrument that cannot answer may still listen.
            for line in &lines[taken..] {
                let ending = &session.profile().line.ending;
                let bytes = format!("{line}{ending}").into_bytes();
                drop(timeout(DEADLINE / 10, port.interrupt(bytes)).await);
            }
        }
        for (index, line) in lines.iter().enumerate() {
            actions.push(SafetyAction {
                role,
                action: line.clone(),
                trouble: if index < taken { None } else { trouble.clone() },
            });
        }
        lines.len() - taken
    }

    /// A fresh port to the instrument, when the old one is gone.
    fn reopen(&mut self, role: Role) -> bool {
        let Some(session) = self.session(role) else {
            return false;
        };
        if session.port().is_open() {
            return false;
        }
        let profile = std::sync::Arc::clone(session.profile());
        match self.connect(role, &profile) {
            Ok(port) => {
                if let Some(session) = self.session_mut(role) {
                    session.replace_port(port);
                }
                true
            }
            Err(error) => {
                tracing::warn!(%role, %error, "the port does not open again");
                false
            }
        }
    }

    async fn prove_current_gone(&self, actions: &mut Vec<SafetyAction>) {
        let Some(supply) = &self.supply else {
            return;
        };
        let trouble = match timeout(DEADLINE, supply.measure_current()).await {
            Ok(Ok(measured)) => {
                let gone = measured
                    .estimate()
                    .is_some_and(|e| e.value.abs() <= f64::from(NO_CURRENT) + e.expanded());
                (!gone).then(|| format!("it still delivers {:?}", measured.reading))
            }
            Ok(Err(error)) => Some(error.to_string()),
            Err(_) => Some(format!("no reading within {DEADLINE:?}")),
        };
        actions.push(SafetyAction {
            role: Role::Supply,
            action: "current gone".to_owned(),
            trouble,
        });
    }

    /// Brings a freshly opened bench into the state that the interlock starts
    /// from: everything off, each action confirmed.
    pub(super) async fn start_off(&mut self) -> Result<(), BenchError> {
        if let Some(switch) = &self.switch {
            switch.open_all().await?;
        }
        if let Some(load) = &self.load {
            load.input_off().await?;
        }
        self.learn_load_off(true);
        if self.supply.is_some() {
            self.supply_off().await?;
        }
        if let Some(drive) = &self.drive {
            drive.enable(false).await?;
            drive.signal_off().await?;
        }
        self.learn_drive(None, true);
        Ok(())
    }
}
