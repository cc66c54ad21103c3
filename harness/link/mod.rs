//! One task owns one port: callers hand it a request and await the answer, so
//! a caller that goes away never cuts a frame in half. It knows bytes, lines
//! and blocks; no instrument, command or unit.

mod attended;
mod fault;
mod faulty;
mod messages;
mod owner;
mod port;
mod request;
mod serial;
mod settings;
mod tap;
mod tcp;
mod trace;

#[cfg(test)]
mod tests;

pub use attended::{Asked, Person};
pub use fault::{Cause, LinkError};
pub use faulty::{Faulty, Mishap, Mishaps};
pub use port::Port;
pub use settings::{
    Deadlines, Effect, Habits, LONGEST_REPLY, Listener, PortSettings, Probe, Traffic, Way,
};
pub use tap::{TRAFFIC, Tap, shortened};
pub use trace::{Passed, Replay, Trace, TraceFault};

use tokio::io::{AsyncRead, AsyncWrite};

/// Anything bytes go through, both ways: a serial port, a pseudo-terminal, a
/// pipe in memory, or a wrapper around another wire.
pub trait Wire: AsyncRead + AsyncWrite + Send + Unpin + 'static {}

impl<T: AsyncRead + AsyncWrite + Send + Unpin + 'static> Wire for T {}
