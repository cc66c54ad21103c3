//! Instruments behind a socket: the same lines over a connection instead of a
//! serial line. It opens the connection and nothing else.

use super::fault::LinkError;
use std::io;
use std::net::{TcpStream, ToSocketAddrs};
use std::time::Duration;

/// A bench's network answers at once or not at all; making safe must not wait
/// for it.
const CONNECTS_WITHIN: Duration = Duration::from_secs(1);

/// Connects to `host:port`. Gives up at the first address that answers with
/// anything but a connection.
pub(super) fn open(address: &str) -> Result<TcpStream, LinkError> {
    let port = address.to_owned();
    let connected = connect(address);
    connected.map_err(|error| match error.kind() {
        io::ErrorKind::ConnectionRefused | io::ErrorKind::TimedOut | io::ErrorKind::NotFound => {
            LinkError::Absent { port }
        }
        _ => LinkError::Unusable {
            port,
            why: error.to_string(),
        },
    })
}

fn connect(address: &str) -> io::Result<TcpStream> {
    let mut addresses = address.to_socket_addrs()?;
    let first = addresses.next().ok_or(io::ErrorKind::NotFound)?;
    let stream = TcpStream::connect_timeout(&first, CONNECTS_WITHIN)?;
    // A line is short and awaited: it must not wait for company.
    stream.set_nodelay(true)?;
    stream.set_nonblocking(true)?;
    Ok(stream)
}
