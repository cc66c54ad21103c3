//! Wires in memory to a model instrument, each served by a task of its own.
//! The task ends when the client's end is dropped.

use super::lines::Lines;
use super::pace::Shared;
use crate::ident::Role;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

/// Bytes under way in each direction.
const PIPE: usize = 65_536;

/// A fresh wire to the instrument in `role`.
pub(super) fn serve(shared: Shared, role: Role) -> DuplexStream {
    let (client, instrument) = tokio::io::duplex(PIPE);
    tokio::spawn(answer(shared, role, instrument));
    client
}

async fn answer(shared: Shared, role: Role, mut wire: DuplexStream) {
    let mut lines = Lines::default();
    let mut room = vec![0; 4096];
    loop {
        // An error and an end both mean that the client went.
        let count = match wire.read(&mut room).await {
            Ok(0) | Err(_) => return,
            Ok(count) => count,
        };
        lines.push(&room[..count]);
        while let Some(line) = lines.next() {
            let reply = shared.exchange(role, line);
            if !shared.is_reachable(role) {
                return;
            }
            if !reply.is_empty() && wire.write_all(&reply).await.is_err() {
                return;
            }
        }
    }
}
