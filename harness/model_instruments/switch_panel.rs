//! The switch card's commands, and what each does to its channels. What a contact
//! does while it bounces or welds is the circuit's matter.

use super::scene::Scene;
use super::switch::Switch;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::{Action, SwitchBranch};
use crate::protocol::{CommandTree, Conditions, Device, ErrorCode, Match, Parameters, Response};
use crate::units::Seconds;

/// Operation bit: a pulse is under way.
const RUNNING: u16 = 8;

/// The card's own commands.
#[derive(Clone, Copy, Debug)]
pub(super) enum Command {
    Pulse,
    Close,
    Open,
    OpenAll,
    Continuity,
}

pub(super) fn tree() -> CommandTree<Command> {
    CommandTree::new(&[
        ("ROUTe:CLOSe:PULSe", Command::Pulse),
        ("ROUTe:CLOSe[?]", Command::Close),
        ("ROUTe:OPEN[?]", Command::Open),
        ("ROUTe:OPEN:ALL", Command::OpenAll),
        ("ROUTe:CONTinuity?", Command::Continuity),
    ])
}

/// The card with its hands on the scene.
pub(super) struct Panel<'a>(pub(super) &'a mut Scene);

impl Panel<'_> {
    /// The channels of the next parameter, as indices.
    fn indices(&self, parameters: &mut Parameters<'_>) -> Result<Vec<usize>, ErrorCode> {
        let count = self.0.switch.channels.len();
        let channels = parameters.required()?.channels()?;
        channels
            .iter()
            .map(|&number| {
                let index = usize::try_from(number).ok().and_then(|n| n.checked_sub(1));
                index
                    .filter(|index| *index < count)
                    .ok_or(ErrorCode::OutOfRange)
            })
            .collect()
    }

    /// The gaps straight and crossed together would short the upstream source.
    fn refuse_both_gaps(&self, indices: &[usize]) -> Result<(), ErrorCode> {
        let switch = &self.0.switch;
        let will_close = |wanted: SwitchBranch| {
            (0..switch.channels.len()).any(|index| {
                switch.channels[index].branch == Some(wanted)
                    && (indices.contains(&index) || switch.is_closed(index, &self.0.circuit))
            })
        };
        if will_close(SwitchBranch::GapStraight) && will_close(SwitchBranch::GapCrossed) {
            return Err(ErrorCode::SettingsConflict);
        }
        Ok(())
    }

    fn close(&mut self, index: usize, duration: Option<BenchSpan>) {
        let now = self.0.circuit.now();
        let channel = &mut self.0.switch.channels[index];
        channel.closed = true;
        channel.pulse_until = duration.map_or(BenchInstant::ZERO, |span| now + span);
        let action = match (channel.branch, duration) {
            (None, _) => return,
            (Some(branch), Some(duration)) => Action::ClosePulse { branch, duration },
            (Some(branch), None) => Action::Close(branch),
        };
        self.0.circuit.apply(action);
    }

    fn open(&mut self, index: usize) {
        let channel = &mut self.0.switch.channels[index];
        channel.closed = false;
        channel.pulse_until = BenchInstant::ZERO;
        if let Some(branch) = channel.branch {
            self.0.circuit.apply(Action::Open(branch));
        }
    }

    fn open_all(&mut self) {
        for index in 0..self.0.switch.channels.len() {
            self.open(index);
        }
        self.0.circuit.apply(Action::OpenAll);
    }

    /// One answer a channel.
    fn states(
        &self,
        parameters: &mut Parameters<'_>,
        state: impl Fn(usize) -> bool,
    ) -> Result<Option<Response>, ErrorCode> {
        let indices = self.indices(parameters)?;
        parameters.end()?;
        let answer = indices.into_iter().fold(Response::new(), |answer, index| {
            answer.boolean(state(index))
        });
        Ok(Some(answer))
    }

    /// What the pilot current finds: a way through contact and fuse. Only the
    /// shorts have a fuse, and an unwired channel has no way at all.
    fn continuity(&self, index: usize) -> bool {
        match self.0.switch.channels[index].branch {
            Some(SwitchBranch::Near | SwitchBranch::Far) => self.0.circuit.fuse_is_intact(),
            Some(_) => true,
            None => false,
        }
    }
}

impl Device for Panel<'_> {
    type Command = Command;

    fn execute(
        &mut self,
        command: Match<Command>,
        mut parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode> {
        let parameters = &mut parameters;
        let closed = |index| self.0.switch.is_closed(index, &self.0.circuit);
        match command.value {
            Command::Close if command.query => return self.states(parameters, closed),
            Command::Open if command.query => {
                return self.states(parameters, |index| !closed(index));
            }
            Command::Continuity => {
                return self.states(parameters, |index| self.continuity(index));
            }
            Command::OpenAll => {
                parameters.end()?;
                self.open_all();
                return Ok(None);
            }
            Command::Pulse | Command::Close | Command::Open => {}
        }
        let indices = self.indices(parameters)?;
        let duration = match command.value {
            Command::Pulse => {
                let seconds = parameters.required()?.number(self.0.switch.pulse)?;
                Some(BenchSpan::from_seconds(Seconds::new(seconds)))
            }
            _ => None,
        };
        parameters.end()?;
        if matches!(command.value, Command::Open) {
            for index in indices {
                self.open(index);
            }
            return Ok(None);
        }
        self.refuse_both_gaps(&indices)?;
        let now = self.0.circuit.now();
        let span = Switch::operates(self.0.seed, now);
        self.0.advance_to(now + span);
        for index in indices {
            self.close(index, duration);
        }
        Ok(None)
    }

    fn reset(&mut self) {
        self.open_all();
    }

    fn conditions(&mut self) -> Conditions {
        let now = self.0.circuit.now();
        let channels = &self.0.switch.channels;
        let running = channels.iter().any(|channel| now < channel.pulse_until);
        Conditions {
            operation: if running { RUNNING } else { 0 },
            questionable: 0,
        }
    }
}
