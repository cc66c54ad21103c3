//! SCPI-1999 program messages and IEEE 488.2 replies, both ends of them: what
//! a device understands and what a host reads back. There is no wire here, no
//! waiting and no particular instrument.

mod error;
mod framer;
mod interpreter;
mod mandatory;
mod message;
mod mnemonic;
mod number;
mod parameter;
mod reading;
mod reply;
mod status;
mod tree;

#[cfg(test)]
mod device_tests;
#[cfg(test)]
mod host_tests;
#[cfg(test)]
mod tests;

pub use error::{ErrorCode, ErrorEntry, ErrorQueue, EsrBit, QUEUE_LENGTH};
pub use framer::{Expect, FrameFault, Framer, Reply};
pub use interpreter::{Conditions, Device, Interpreter};
pub use message::{Header, LONGEST_MESSAGE, MOST_PARAMETERS, MOST_UNITS, Node, Unit, units};
pub use mnemonic::{Mnemonic, short_form};
pub use number::{Decimal, UnitOf, parse_nrf};
pub use parameter::{Bounds, MOST_CHANNELS, Parameter, Parameters};
pub use reading::{
    DeviceError, Reading, ReplyFault, Sign, block_data, boolean, error_entry, list, number, quoted,
    text_items,
};
pub use reply::{Response, nr3};
pub use status::{Register, StatusModel};
pub use tree::{CommandTree, Match};
