//! A device's side of the conversation: lines in, replies out, errors queued.
//! What a command does is the device's; the mandatory ones are done here once.

use super::error::{ErrorCode, ErrorQueue, EsrBit};
use super::mandatory::{self, Mandatory};
use super::message::{LONGEST_MESSAGE, Unit, units};
use super::parameter::Parameters;
use super::reply::Response;
use super::status::StatusModel;
use super::tree::{CommandTree, Match};

/// The version of the standard spoken here.
const VERSION: &str = "1999.0";

/// The most characters an identification may have (IEEE 488.2 clause 10.14).
const LONGEST_IDENTITY: usize = 72;

/// A device's condition registers at this moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Conditions {
    /// OPERation.
    pub operation: u16,
    /// QUEStionable.
    pub questionable: u16,
}

/// What an instrument does with its own commands.
pub trait Device {
    /// The instrument's command words.
    type Command: Copy;

    /// Obeys one command; a query gives a response, a command gives none.
    ///
    /// # Errors
    /// The error to queue; nothing was changed then.
    fn execute(
        &mut self,
        command: Match<Self::Command>,
        parameters: Parameters<'_>,
    ) -> Result<Option<Response>, ErrorCode>;

    /// Goes back to the state after switching on.
    fn reset(&mut self);

    /// Its present conditions.
    fn conditions(&mut self) -> Conditions;
}

/// The interpreter of one instrument: command table, status and error queue.
#[derive(Clone, Debug)]
pub struct Interpreter<C> {
    identity: String,
    own: CommandTree<C>,
    mandatory: CommandTree<Mandatory>,
    errors: ErrorQueue,
    status: StatusModel,
}

impl<C: Copy> Interpreter<C> {
    /// An interpreter that answers `*IDN?` with `identity`: maker, model,
    /// serial number and firmware.
    ///
    /// # Panics
    /// When the identity is not four printable fields of 72 characters in all.
    pub fn new(identity: &str, own: CommandTree<C>) -> Self {
        let printable = identity.bytes().all(|b| matches!(b, b' '..=b'~'));
        assert!(
            printable
                && identity.len() <= LONGEST_IDENTITY
                && identity.bytes().filter(|&b| b == b',').count() == 3,
            "'{identity}' is no identification"
        );
        Self {
            identity: identity.to_owned(),
            own,
            mandatory: mandatory::tree(),
            errors: ErrorQueue::default(),
            status: StatusModel::default(),
        }
    }

    /// The errors that wait.
    pub fn errors(&self) -> &ErrorQueue {
        &self.errors
    }

    /// Queues an error that no command caused.
    pub fn raise(&mut self, code: ErrorCode, detail: &str) {
        self.status.raise(code.esr_bit());
        self.errors.push(code, detail);
    }

    /// Obeys one line, without its ending; the reply without its ending, empty
    /// when nothing was asked.
    pub fn obey<D: Device<Command = C>>(&mut self, line: &[u8], device: &mut D) -> Vec<u8> {
        let mut reply: Vec<u8> = Vec::new();
        if line.len() > LONGEST_MESSAGE {
            self.raise(ErrorCode::TooMuchData, "");
            return reply;
        }
        for unit in units(line) {
            self.observe(device);
            let done = unit.and_then(|unit| self.unit(&unit, !reply.is_empty(), device));
            match done {
                Ok(None) => {}
                Ok(Some(response)) => {
                    if !reply.is_empty() {
                        reply.push(b';');
                    }
                    reply.extend_from_slice(&response.into_bytes());
                }
                // A wrong command spoils the rest of its message; one that
                // could not be obeyed does not.
                Err(code) => {
                    self.raise(code, "");
                    if code.esr_bit() == EsrBit::Command {
                        break;
                    }
                }
            }
        }
        self.observe(device);
        reply
    }

    fn observe<D: Device<Command = C>>(&mut self, device: &mut D) {
        let conditions = device.conditions();
        self.status.operation.observe(conditions.operation);
        self.status.questionable.observe(conditions.questionable);
    }

    fn unit<D: Device<Command = C>>(
        &mut self,
        unit: &Unit,
        message_available: bool,
        device: &mut D,
    ) -> Result<Option<Response>, ErrorCode> {
        let parameters = Parameters::new(&unit.parameters);
        match self.mandatory.find(&unit.header) {
            Ok(found) => self.obligation(found, parameters, message_available, device),
            Err(_) => {
                let found = self.own.find(&unit.header)?;
                let response = device.execute(found, parameters)?;
                assert!(
                    response.is_some() == found.query,
                    "a query answers and a command does not"
                );
                Ok(response)
            }
        }
    }

    fn obligation<D: Device<Command = C>>(
        &mut self,
        found: Match<Mandatory>,
        mut parameters: Parameters<'_>,
        message_available: bool,
        device: &mut D,
    ) -> Result<Option<Response>, ErrorCode> {
        let answer = |value: u16| Ok(Some(Response::new().integer(value.into())));
        let enabling = !found.query
            && matches!(
                found.value,
                Mandatory::EventEnable
                    | Mandatory::ServiceEnable
                    | Mandatory::OperationEnable
                    | Mandatory::QuestionableEnable
            );
        if enabling {
            self.enable(found.value, &mut parameters)?;
            return Ok(None);
        }
        parameters.end()?;
        match found.value {
            Mandatory::Identify => Ok(Some(Response::new().word(&self.identity))),
            Mandatory::Version => Ok(Some(Response::new().word(VERSION))),
            Mandatory::NextError => Ok(Some(self.next_error())),
            Mandatory::ErrorCount => {
                let count = self.errors.len();
                Ok(Some(Response::new().integer(count as i64)))
            }
            Mandatory::EventStatus => answer(self.status.take_event().into()),
            Mandatory::StatusByte => {
                let errors = !self.errors.is_empty();
                answer(self.status.byte(message_available, errors).into())
            }
            Mandatory::OperationEvent => answer(self.status.operation.take_event()),
            Mandatory::OperationCondition => answer(self.status.operation.condition()),
            Mandatory::QuestionableEvent => answer(self.status.questionable.take_event()),
            Mandatory::QuestionableCondition => answer(self.status.questionable.condition()),
            Mandatory::EventEnable => answer(self.status.event_enable().into()),
            Mandatory::ServiceEnable => answer(self.status.service_enable().into()),
            Mandatory::OperationEnable => answer(self.status.operation.enable()),
            Mandatory::QuestionableEnable => answer(self.status.questionable.enable()),
            Mandatory::SelfTest => answer(0),
            Mandatory::OperationComplete if found.query => answer(1),
            Mandatory::OperationComplete => {
                self.status.complete();
                Ok(None)
            }
            Mandatory::ClearStatus => {
                self.status.clear();
                self.errors.clear();
                Ok(None)
            }
            Mandatory::Reset => {
                device.reset();
                Ok(None)
            }
            Mandatory::Preset => {
                self.status.preset();
                Ok(None)
            }
            // Each command here is done before the next is read.
            Mandatory::Wait => Ok(None),
        }
    }

    fn enable(
        &mut self,
        which: Mandatory,
        parameters: &mut Parameters<'_>,
    ) -> Result<(), ErrorCode> {
        let wide = matches!(
            which,
            Mandatory::OperationEnable | Mandatory::QuestionableEnable
        );
        let largest = if wide { 65_535 } else { 255 };
        let mask = parameters.required()?.whole(0, largest)?;
        parameters.end()?;
        let mask = u16::try_from(mask).map_err(|_| ErrorCode::OutOfRange)?;
        match which {
            Mandatory::EventEnable => self.status.set_event_enable(mask as u8),
            Mandatory::ServiceEnable => self.status.set_service_enable(mask as u8),
            Mandatory::OperationEnable => self.status.operation.set_enable(mask),
            _ => self.status.questionable.set_enable(mask),
        }
        Ok(())
    }

    fn next_error(&mut self) -> Response {
        match self.errors.pop() {
            None => Response::new().integer(0).quoted("No error"),
            Some(entry) => Response::new()
                .integer(entry.code.number().into())
                .quoted(&entry.description()),
        }
    }
}
