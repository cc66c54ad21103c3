//! What a command waits with: one thread for everything at once, and the signals
//! that ask it to stop. It ends no run by itself.

use super::exit::Exit;
use crate::runner::Stop;
use rustix::process::Signal;
use std::io::BufRead;
use std::thread::JoinHandle;
use tokio::runtime::{Builder, Runtime};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::{mpsc, oneshot, watch};

/// One thread that waits for everything at once.
pub(super) fn runtime() -> Result<Runtime, Exit> {
    Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|fault| {
            warn_line!("the machine gives no resources to run: {fault}");
            Exit::Bench
        })
}

pub(super) fn listening(runtime: &Runtime) -> Result<Stop, Exit> {
    let _inside = runtime.enter();
    listen().map_err(|fault| {
        warn_line!("the stop signals cannot be listened for: {fault}");
        Exit::Bench
    })
}

/// Signals are listened for on a thread of its own, until this is dropped.
pub(super) struct Listening {
    end: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Drop for Listening {
    fn drop(&mut self) {
        // Gone already or not, it ends either way.
        let _ = self.end.take().map(|end| end.send(()));
        let _ = self.thread.take().map(JoinHandle::join);
    }
}

/// A stop that signals raise while the listening lives, whatever this thread
/// waits for meanwhile.
pub(super) fn stopping() -> Result<(Stop, Listening), Exit> {
    let runtime = runtime()?;
    let stop = listening(&runtime)?;
    let (end, ended) = oneshot::channel();
    let thread = std::thread::Builder::new()
        .name("signals".to_owned())
        // A sender that is gone ends it as well.
        .spawn(move || drop(runtime.block_on(ended)))
        .map_err(|fault| {
            warn_line!("the machine gives no resources to run: {fault}");
            Exit::Bench
        })?;
    let listening = Listening {
        end: Some(end),
        thread: Some(thread),
    };
    Ok((stop, listening))
}

/// Lines of standard input, one at a time, so that a person can stop the program
/// while it waits for one.
pub(super) struct Lines(mpsc::Receiver<String>);

impl Lines {
    /// Reads on a thread of its own, one line ahead at the most. The thread ends
    /// with the program: nothing wakes it from a terminal.
    pub(super) fn of_standard_input() -> Result<Self, Exit> {
        let (hand_over, lines) = mpsc::channel(1);
        std::thread::Builder::new()
            .name("lines".to_owned())
            .spawn(move || {
                for line in std::io::stdin().lock().lines().map_while(Result::ok) {
                    if hand_over.blocking_send(line).is_err() {
                        return;
                    }
                }
            })
            .map_err(|fault| {
                warn_line!("the machine gives no resources to run: {fault}");
                Exit::Bench
            })?;
        Ok(Self(lines))
    }

    /// The same, and no lines at all where standard input is a terminal that
    /// another program is in front of: reading would stop this one.
    pub(super) fn of_attended_input() -> Result<Self, Exit> {
        let input = std::io::stdin();
        let behind = rustix::termios::tcgetpgrp(&input)
            .is_ok_and(|front| front != rustix::process::getpgrp());
        if behind {
            let (_, nothing) = mpsc::channel(1);
            return Ok(Self(nothing));
        }
        Self::of_standard_input()
    }

    /// The next line whatever was asked to stop, or none where the input ended.
    pub(super) async fn typed(&mut self) -> Option<String> {
        self.0.recv().await
    }

    /// The next line, or none where the input ended or `stop` was raised.
    pub(super) async fn next(&mut self, stop: &mut Stop) -> Option<String> {
        tokio::select! {
            biased;
            () = stop.raised() => None,
            line = self.0.recv() => line,
        }
    }
}

/// The first signal asks the run to end; later ones only say that it is ending.
fn listen() -> std::io::Result<Stop> {
    let (raise, raised) = watch::channel(false);
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut hang_up = signal(SignalKind::hangup())?;
    // Ctrl-Z would leave a board energised with nobody watching.
    let mut suspend = signal(SignalKind::from_raw(Signal::TSTP.as_raw()))?;
    tokio::spawn(async move {
        loop {
            tokio::select! {
                Some(()) = interrupt.recv() => {}
                Some(()) = terminate.recv() => {}
                Some(()) = hang_up.recv() => {}
                Some(()) = suspend.recv() => {}
                else => return,
            }
            if *raise.borrow() {
                warn_line!("\nalready stopping: the bench is being made safe");
            } else {
                warn_line!("\nstopping: making the bench safe");
            }
            raise.send_replace(true);
        }
    });
    Ok(Stop::new(raised))
}
