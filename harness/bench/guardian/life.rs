//! The guardian's own life: takes the ports over, answers each beat of the
//! program that it watches, and acts when no more come. It never reads from an
//! instrument and never waits for an answer.

use super::duty::{BEAT, DONE, Duty, EVERY, SILENCE, STALLED, TERMINATED};
use rustix::net::{RecvAncillaryBuffer, RecvAncillaryMessage, RecvFlags, ReturnFlags, recvmsg};
use std::fs::File;
use std::io::{self, BufRead, BufReader, IoSliceMut, Read, Write};
use std::mem::MaybeUninit;
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::fs::FileTypeExt;
use std::os::unix::net::UnixStream;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use tokio::signal::unix::{SignalKind, signal};

/// So long a connection outlives what was sent over it last. Its end may throw away
/// what the far side has not read yet, and a far side whose answer nobody takes may
/// stop reading.
const LINGERS: Duration = Duration::from_millis(500);

/// A duty and the port that it is done to, where there is one.
type Post = (Duty, Option<File>);

/// Watches until it is dismissed, told to end, or alone.
///
/// # Errors
/// When its orders cannot be read; it then has nothing to do.
pub fn watch(orders: &impl AsFd) -> io::Result<()> {
    let terminated = told_to_end()?;
    let orders = UnixStream::from(orders.as_fd().try_clone_to_owned()?);
    serve(&orders, &terminated)
}

/// The same on any connection.
pub(super) fn serve(orders: &UnixStream, terminated: &AtomicBool) -> io::Result<()> {
    let posts = take_over(orders)?;
    let missing: Vec<&str> = posts
        .iter()
        .filter(|(_, port)| port.is_none())
        .map(|(duty, _)| duty.path.as_str())
        .collect();
    let answer = serde_json::to_string(&missing).map_err(io::Error::other)?;
    // Where nobody hears it the loop finds the end of the connection.
    let mut stream = orders;
    let _ = writeln!(stream, "{answer}");
    stand(orders, &posts, terminated)
}

/// Reads the orders and opens what was not handed over.
fn take_over(orders: &UnixStream) -> io::Result<Vec<Post>> {
    let mut handles = handles(orders)?.into_iter();
    let mut text = String::new();
    BufReader::new(orders).take(1 << 20).read_line(&mut text)?;
    let duties: Vec<Duty> = serde_json::from_str(&text).map_err(io::Error::other)?;
    let posts = duties.into_iter().map(|duty| {
        let port = if duty.inherited {
            handles.next().map(File::from)
        } else {
            // While the program that it watches still holds it set up.
            duty.open().ok()
        };
        (duty, port)
    });
    Ok(posts.collect())
}

/// The handles that come with the first byte.
fn handles(orders: &UnixStream) -> io::Result<Vec<OwnedFd>> {
    let mut space = [MaybeUninit::uninit(); rustix::cmsg_space!(ScmRights(16))];
    let mut control = RecvAncillaryBuffer::new(&mut space);
    let mut first = [0; 1];
    let mut parts = [IoSliceMut::new(&mut first)];
    let flags = RecvFlags::CMSG_CLOEXEC;
    let received = recvmsg(orders, &mut parts, &mut control, flags)?;
    if received.bytes == 0 || received.flags.contains(ReturnFlags::CTRUNC) {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    let handles = control.drain().filter_map(|message| match message {
        RecvAncillaryMessage::ScmRights(handles) => Some(handles),
        _ => None,
    });
    Ok(handles.flatten().collect())
}

/// Answers beats, and acts when they stop.
fn stand(orders: &UnixStream, posts: &[Post], terminated: &AtomicBool) -> io::Result<()> {
    orders.set_read_timeout(Some(EVERY / 2))?;
    orders.set_write_timeout(Some(EVERY))?;
    let mut heard = Instant::now();
    let mut stalled = false;
    loop {
        let mut words = [0; 64];
        let mut stream = orders;
        match stream.read(&mut words) {
            Ok(count) if words[..count].contains(&DONE) => return Ok(()),
            Ok(0) => {
                act_alone(posts);
                return Ok(());
            }
            Ok(_) => {
                heard = Instant::now();
                stalled = false;
                let _ = stream.write(&[BEAT]);
            }
            Err(error) if is_silence(&error) => {}
            Err(_) => {
                act_alone(posts);
                return Ok(());
            }
        }
        if terminated.load(Ordering::Relaxed) {
            act(posts);
            let _ = stream.write(&[TERMINATED]);
            return Ok(());
        }
        if !stalled && heard.elapsed() >= SILENCE {
            stalled = true;
            act(posts);
            let _ = stream.write(&[STALLED]);
        }
    }
}

/// Whether a read ended because nothing came.
pub(super) fn is_silence(error: &io::Error) -> bool {
    use io::ErrorKind::{Interrupted, TimedOut, WouldBlock};
    matches!(error.kind(), Interrupted | TimedOut | WouldBlock)
}

fn act(posts: &[Post]) {
    // Side by side: one port that fails or waits must not keep the others from
    // being told.
    std::thread::scope(|scope| {
        for (duty, port) in posts {
            scope.spawn(move || duty.act(port.as_ref()));
        }
    });
}

/// Acts for a program that is gone, so that the last handles are the guardian's.
fn act_alone(posts: &[Post]) {
    act(posts);
    let is_connection = |port: &File| {
        port.metadata()
            .is_ok_and(|about| about.file_type().is_socket())
    };
    if posts
        .iter()
        .any(|(_, port)| port.as_ref().is_some_and(is_connection))
    {
        std::thread::sleep(LINGERS);
    }
}

/// Set once this process is told to end. A closed terminal is the watched
/// program's affair.
fn told_to_end() -> io::Result<Arc<AtomicBool>> {
    let told = Arc::new(AtomicBool::new(false));
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()?;
    let inside = runtime.enter();
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut quit = signal(SignalKind::quit())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    drop(inside);
    let tell = Arc::clone(&told);
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            runtime.block_on(async {
                loop {
                    tokio::select! {
                        Some(()) = terminate.recv() => tell.store(true, Ordering::Relaxed),
                        Some(()) = interrupt.recv() => tell.store(true, Ordering::Relaxed),
                        Some(()) = quit.recv() => tell.store(true, Ordering::Relaxed),
                        Some(()) = hang_up.recv() => {}
                        else => return,
                    }
                }
            });
        })?;
    Ok(told)
}
