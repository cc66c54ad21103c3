//! Making the bench safe: every instrument is tried under its own deadline,
//! whatever the others do, and the current is proven gone where it can be.
//! It works at any time, twice, and after any trouble.

use super::Bench;
use super::fault::BenchError;
use super::told::Told;
use crate::bench_file::{Closer, Closes};
use crate::event::{SafetyAction, SafetyOutcome};
use crate::ident::Role;
use crate::instruments::InstrumentError;
use crate::scenario::session::Opening;
use crate::units::{Amperes, Seconds};
use std::time::Duration;
use tokio::time::{timeout, timeout_at};

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

/// The same for a person, who has to walk to it.
const BY_HAND: Duration = Duration::from_secs(60);

/// Wall time for one proof: capacitors empty meanwhile.
const PROOF_DEADLINE: Duration = Duration::from_secs(30);

/// What is proven of which instrument, and in which order.
const PROOFS: [(Role, &str); 4] = [
    (Role::Supply, "voltage and current gone"),
    (Role::Load, "current gone, no pulse, ramp or short goes on"),
    (Role::Switch, "every branch open, no closure goes on"),
    (Role::Capture, "no capture goes on"),
];

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
        self.second_opener(closes).await?;
        Ok(Opening::SecondOpener)
    }

    /// Switches the supply off, since a branch stayed closed, and permits nothing
    /// more until a person has looked at its contact.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn second_opener(&mut self, closes: Closes) -> Result<(), BenchError> {
        let branch = closes.word();
        self.lock(&BenchError::NotOpen { branch });
        self.supply_off().await
    }

    /// Switches the supply off, since something draws although the load was switched off,
    /// and permits nothing more until a person has looked at it.
    ///
    /// # Errors
    /// A [`BenchError`].
    pub async fn still_loaded(&mut self) -> Result<(), BenchError> {
        self.lock(&BenchError::StillOn {
            role: Role::Load,
            what: "the board starts into a current although everything was switched off".to_owned(),
        });
        self.learn_load_off(false);
        self.supply_off().await
    }

    async fn looks_open(&self, closes: Closes, off_level: Amperes) -> Result<bool, BenchError> {
        if self.says_closed(closes).await? {
            return Ok(false);
        }
        match self.supply() {
            Ok(supply) => {
                let current = supply.measure_current().await?;
                Ok(Self::is_below(current, off_level))
            }
            Err(_) => Ok(true),
        }
    }

    /// Whether what closes the branch takes it for closed: the switch, or the load of
    /// its own short.
    async fn says_closed(&self, closes: Closes) -> Result<bool, BenchError> {
        let branch = self.file.branch(closes);
        if branch.is_some_and(|branch| branch.closer == Closer::Load) {
            let load = self.load()?;
            return Ok(load.running().await? || load.shorted().await?);
        }
        let number = self.branch(closes)?;
        Ok(self.switch()?.closed(number).await?)
    }

    /// Makes the bench safe: each instrument in turn, energy first, gets its
    /// abandon bytes and every make-safe line. Never gives up at a failure.
    pub async fn make_safe(&mut self) -> SafetyOutcome {
        self.armed = None;
        self.told = Told::default();
        let mut actions = Vec::new();
        // What needs no person does not wait for one.
        let (slow, quick): (Vec<Role>, Vec<Role>) =
            ORDER.into_iter().partition(|role| self.is_attended(*role));
        for role in quick.into_iter().chain(slow) {
            self.make_one_safe(role, &mut actions).await;
        }
        self.prove_made_safe(&mut actions).await;
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
            actions.truncate(actions.len() - lines.len());
            untaken = self.try_lines(role, &lines, actions).await;
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
    /// taken.
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
        // One line that is refused does not keep the next from being said; only a
        // port that hears nothing is told the rest blindly.
        let mut troubles: Vec<Option<String>> = Vec::new();
        let mut heard = true;
        let begun = tokio::time::Instant::now();
        let deadline = if port.is_attended() {
            BY_HAND
        } else {
            DEADLINE
        };
        let abandon = session.profile().safety.abandon.clone();
        let abandon = crate::template::bytes(&abandon);
        let abandoned = timeout_at(begun + deadline, port.interrupt(abandon)).await;
        let mut trouble = match abandoned {
            Ok(Ok(())) => None,
            Ok(Err(error)) => Some(error.to_string()),
            Err(_) => Some(format!("no confirmation within {deadline:?}")),
        };
        for line in lines {
            if trouble.is_some() {
                heard = false;
            }
            if !heard {
                // Blind: an instrument that cannot answer may still listen.
                let bytes = session.profile().bytes_of(line);
                drop(timeout(DEADLINE / 10, port.interrupt(bytes)).await);
                troubles.push(trouble.clone());
                continue;
            }
            match timeout_at(begun + deadline, session.order(line)).await {
                Ok(Ok(())) => troubles.push(None),
                Ok(Err(error @ InstrumentError::Link { .. })) => {
                    trouble = Some(error.to_string());
                    troubles.push(trouble.clone());
                }
                Ok(Err(error)) => troubles.push(Some(error.to_string())),
                Err(_) => {
                    trouble = Some(format!("no confirmation within {deadline:?}"));
                    troubles.push(trouble.clone());
                }
            }
        }
        let untaken = troubles.iter().filter(|trouble| trouble.is_some()).count();
        for (line, trouble) in lines.iter().zip(troubles) {
            actions.push(SafetyAction {
                role,
                action: crate::template::shown(line),
                trouble,
            });
        }
        untaken
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
                if let Some(session) = self.sessions.get_mut(&role) {
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

    /// Reads back what was commanded, each under its own deadline: what was taken
    /// is not what happened.
    async fn prove_made_safe(&mut self, actions: &mut Vec<SafetyAction>) {
        for (role, what) in PROOFS {
            if self.session(role).is_none() || is_deaf(role, actions) {
                continue;
            }
            let proof = async {
                match role {
                    Role::Load => self.prove_load_off().await,
                    Role::Capture => self.prove_capture_idle().await,
                    Role::Switch => self.prove_contacts_open().await,
                    _ => self.prove_supply_off().await,
                }
            };
            let deadline = if self.is_attended(role) {
                BY_HAND * 2
            } else {
                PROOF_DEADLINE
            };
            let trouble = match timeout(deadline, proof).await {
                Ok(Ok(())) => None,
                Ok(Err(error)) => Some(error.to_string()),
                Err(_) => Some(format!("not proven within {deadline:?}")),
            };
            let proven = trouble.is_none();
            match role {
                Role::Supply if !proven => self.learn_supply_off(false),
                Role::Load if !proven => self.learn_load_off(false),
                _ => {}
            }
            actions.push(SafetyAction {
                role,
                action: what.to_owned(),
                trouble,
            });
        }
        let seen = actions
            .iter()
            .all(|action| action.role != Role::Capture || action.trouble.is_none());
        if self.has(Role::Capture) && seen {
            let looked = timeout(PROOF_DEADLINE, self.look_at_rails()).await;
            let trouble = match looked {
                Ok(Ok(())) => None,
                Ok(Err(error)) => Some(error.to_string()),
                Err(_) => Some(format!("not proven within {PROOF_DEADLINE:?}")),
            };
            if trouble.is_some() {
                self.learn_supply_off(false);
            }
            actions.push(SafetyAction {
                role: Role::Capture,
                action: "rails at rest, no pilot current flows".to_owned(),
                trouble,
            });
        }
        if let Some(why) = self.locked() {
            actions.push(SafetyAction {
                role: Role::Supply,
                action: "locked until a person has looked at the bench".to_owned(),
                trouble: Some(why.to_owned()),
            });
        }
    }

    /// Switches off what the instrument in `role` may do to the board.
    pub(super) async fn switch_off(&mut self, role: Role) -> Result<(), BenchError> {
        match role {
            Role::Switch => {
                if let Ok(switch) = self.switch() {
                    switch.open_all().await?;
                }
            }
            Role::Load if self.has(role) => self.load_off().await?,
            Role::Supply if self.has(role) => self.supply_off().await?,
            Role::Drive if self.has(role) => {
                self.enable(false).await?;
                self.signal(false).await?;
            }
            _ => {}
        }
        Ok(())
    }

    /// Brings a freshly opened bench, of which everything was switched off, into
    /// the state that the interlock starts from: each proven.
    pub(super) async fn start_at_rest(&mut self) -> Result<(), BenchError> {
        self.learn_load_off(true);
        self.learn_drive(None, true);
        self.prove_at_rest(Seconds::ZERO).await?;
        if !self.has(Role::Supply) {
            // Nothing is known of a supply that is not the bench's own.
            self.learn_supply_off(false);
        }
        Ok(())
    }
}

/// Whether an instrument took none of its lines: it is not off as far as anyone
/// knows, and answers no question either.
fn is_deaf(role: Role, actions: &[SafetyAction]) -> bool {
    let mut own = actions
        .iter()
        .filter(|action| action.role == role)
        .peekable();
    own.peek().is_some() && own.all(|action| action.trouble.is_some())
}
