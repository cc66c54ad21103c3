//! Instruments behind a socket: the same lines over a connection instead of a
//! serial line. It opens the connection and nothing else.

use super::fault::LinkError;
use std::io;
use std::net::{TcpStream, ToSocketAddrs};
use std::time::{Duration, Instant};

/// For all addresses of a name together: a bench's network answers at once or
/// not at all, and making safe must not wait for it. A house value.
const CONNECTS_WITHIN: Duration = Duration::from_secs(1);

/// Connects to `host:port`, at the first address of the name that takes it.
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
    let begun = Instant::now();
    let mut last = io::Error::from(io::ErrorKind::NotFound);
    for address in address.to_socket_addrs()? {
        let left = CONNECTS_WITHIN.saturating_sub(begun.elapsed());
        if left.is_zero() {
            break;
        }
        match TcpStream::connect_timeout(&address, left) {
            Ok(stream) => {
                // A line is short and awaited: it must not wait for company.
                stream.set_nodelay(true)?;
                stream.set_nonblocking(true)?;
                return Ok(stream);
            }
            Err(error) => last = error,
        }
    }
    Err(last)
}
