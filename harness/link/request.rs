//! What a port's task is asked for: an exchange, or bytes that pass everything else.
//! Nothing is sent here.

use super::fault::LinkError;
use super::settings::Effect;
use crate::protocol::Expect;
use tokio::sync::oneshot;

/// One line to exchange.
#[derive(Debug)]
pub(super) struct Request {
    /// Without its ending.
    pub(super) line: String,
    /// Whether it acts.
    pub(super) effect: Effect,
    /// The answer awaited, if any.
    pub(super) expect: Option<Expect>,
    /// About how many bytes of it, for the deadline.
    pub(super) bytes: usize,
    /// Where the answer goes.
    pub(super) reply: oneshot::Sender<Result<Vec<u8>, LinkError>>,
}

/// Bytes to send before everything else.
#[derive(Debug)]
pub(super) struct Urgent {
    /// As they go out.
    pub(super) bytes: Vec<u8>,
    /// Whether the port took them.
    pub(super) reply: oneshot::Sender<Result<(), LinkError>>,
}
