//! The task that owns a wire: it takes one request at a time, exchanges it
//! within its deadlines, and gets both ends back in step after trouble. A
//! request once begun is finished even when nobody awaits it any more.

use super::Wire;
use super::fault::{Cause, LinkError};
use super::messages::Due;
use super::request::{Request, Urgent};
use super::settings::{Effect, LONGEST_REPLY, PortSettings, Probe};
use crate::protocol::{Expect, FrameFault, Framer, Reply};
use crate::template;
use std::future::poll_fn;
use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead as _, AsyncReadExt as _, AsyncWriteExt as _, ReadBuf};
use tokio::sync::mpsc;
use tokio::time::{Instant, timeout, timeout_at};

/// The most bytes thrown away to get back in step.
const MOST_DISCARDED: usize = 1 << 24;

/// The most lines that are read in search of the answer to a probe.
const MOST_LATE: usize = 64;

/// So many bytes of what came are shown in a message.
const SHOWN: usize = 40;

/// Room for one read; a pseudo-terminal hands over at most 4 KiB at once.
const ROOM: usize = 16_384;

/// What the task holds.
pub(super) struct Owner {
    wire: Box<dyn Wire>,
    settings: Arc<PortSettings>,
    requests: mpsc::Receiver<Request>,
    urgent: mpsc::Receiver<Urgent>,
    /// An urgent request that interrupted the one being served.
    interruption: Option<Urgent>,
    framer: Framer,
    room: Box<[u8]>,
    outgoing: Vec<u8>,
    in_step: bool,
    /// Probes that were sent and of whose answers nothing is known.
    probes_owed: u32,
    /// Somebody found an answer that cannot belong to its question.
    doubted: Arc<AtomicBool>,
    /// Said to a wire of messages, which asks for an answer only where one is due.
    due: Option<Due>,
    /// When the last exchange ended.
    ended: Option<Instant>,
}

impl Owner {
    pub(super) fn new(
        wire: Box<dyn Wire>,
        settings: Arc<PortSettings>,
        (requests, urgent): (mpsc::Receiver<Request>, mpsc::Receiver<Urgent>),
        doubted: Arc<AtomicBool>,
        due: Option<Due>,
    ) -> Self {
        let framer = Framer::new(settings.ending.as_bytes(), LONGEST_REPLY);
        let framer = framer.with_tail(settings.block_tail);
        Self {
            wire,
            settings,
            requests,
            urgent,
            interruption: None,
            framer,
            room: vec![0; ROOM].into_boxed_slice(),
            outgoing: Vec::new(),
            in_step: true,
            probes_owed: 0,
            doubted,
            due,
            ended: None,
        }
    }

    /// Serves until every handle is dropped or the port is gone.
    pub(super) async fn run(mut self) {
        loop {
            let urgent = match self.interruption.take() {
                Some(urgent) => urgent,
                None => tokio::select! {
                    biased;
                    Some(urgent) = self.urgent.recv() => urgent,
                    request = self.requests.recv() => {
                        let Some(request) = request else { break };
                        if self.serve(request).await {
                            continue;
                        }
                        break;
                    }
                },
            };
            if !self.serve_urgent(urgent).await {
                break;
            }
        }
        // Whoever waits for an interruption learns that the port is gone.
        drop(self.interruption);
    }

    /// Whether the port is still there afterwards.
    async fn serve(&mut self, request: Request) -> bool {
        let Request {
            line,
            effect,
            expect,
            bytes,
            reply,
        } = request;
        let result = match self.keep_gap().await {
            Ok(()) => self.exchange(&line, expect, bytes).await,
            Err(cause) => Err(Failure::before(cause)),
        };
        self.ended = Some(Instant::now());
        let alive = !matches!(
            result,
            Err(Failure {
                cause: Cause::Gone,
                ..
            })
        );
        if let Err(failure) = &result {
            self.in_step = false;
            // A probe that a caller asked on its own account may be answered yet.
            let probe = self.settings.probe.as_ref();
            if failure.left && probe.is_some_and(|probe| probe.line() == line) {
                self.probes_owed = self.probes_owed.saturating_add(1);
            }
        }
        let line = template::shown(&line);
        let result = result.map_err(|Failure { cause, left }| {
            tracing::debug!(port = %self.settings.name, %line, %cause, "exchange failed");
            let port = self.settings.name.clone();
            if effect == Effect::Acts && left {
                LinkError::Uncertain { port, line, cause }
            } else {
                LinkError::Failed { port, line, cause }
            }
        });
        // A caller that went away no longer wants to know.
        drop(reply.send(result));
        alive
    }

    async fn serve_urgent(&mut self, urgent: Urgent) -> bool {
        self.in_step = false;
        self.outgoing.clear();
        self.outgoing.extend_from_slice(&urgent.bytes);
        let result = self.write().await;
        let alive = result != Err(Cause::Gone);
        let result = result.map_err(|cause| LinkError::Failed {
            port: self.settings.name.clone(),
            line: urgent.bytes.escape_ascii().to_string(),
            cause,
        });
        drop(urgent.reply.send(result));
        alive
    }

    async fn exchange(
        &mut self,
        line: &str,
        expect: Option<Expect>,
        bytes: usize,
    ) -> Result<Vec<u8>, Failure> {
        if self.doubted.swap(false, Ordering::Relaxed) {
            self.in_step = false;
        }
        // What came unasked may be the answer to a question of before, and
        // another one still on its way.
        let unasked = self.discard_unasked().await.map_err(Failure::before)?;
        if !self.in_step || unasked > 0 {
            self.in_step = false;
            self.resynchronise().await.map_err(Failure::before)?;
        }
        self.write_line(line).await.map_err(Failure::after)?;
        let heard = self.hear(expect, bytes).await.map_err(Failure::after)?;
        self.await_prompt().await.map_err(Failure::after)?;
        Ok(heard)
    }

    /// Waits for the instrument's gap between two lines, unless something urgent
    /// comes.
    async fn keep_gap(&mut self) -> Result<(), Cause> {
        let Some(free) = self.free_from() else {
            return Ok(());
        };
        tokio::select! {
            biased;
            Some(urgent) = self.urgent.recv() => {
                self.interruption = Some(urgent);
                Err(Cause::Interrupted)
            }
            () = tokio::time::sleep_until(free) => Ok(()),
        }
    }

    /// When the instrument hears the next line, where it needs a gap before it.
    fn free_from(&self) -> Option<Instant> {
        let gap = self.settings.habits.gap;
        let ended = self.ended.filter(|_| !gap.is_zero())?;
        Some(ended + gap)
    }

    /// The line's echo where there is one, then the answer.
    async fn hear(&mut self, expect: Option<Expect>, bytes: usize) -> Result<Vec<u8>, Cause> {
        let patience = self.settings.deadlines.reply;
        if self.settings.habits.echo {
            let echo = self.read(Expect::Bytes(self.outgoing.len()), patience);
            let echo = echo.await?;
            if echo != self.outgoing {
                return Err(Cause::Echo {
                    shown: shown(&echo),
                });
            }
        }
        let Some(expect) = expect else {
            return Ok(Vec::new());
        };
        // A byte takes ten bit times on the line; half as much again is allowed.
        let bits = 15.0 * bytes as f64 / f64::from(self.settings.speed.max(1));
        let limit = patience + Duration::from_secs_f64(bits);
        let answer = self.answer(expect, limit).await?;
        if expect == Expect::Line && std::str::from_utf8(&answer).is_err() {
            return Err(Cause::Unfit {
                shown: shown(&answer),
            });
        }
        Ok(answer)
    }

    /// An answer without its ending and its checksum.
    async fn answer(&mut self, expect: Expect, limit: Duration) -> Result<Vec<u8>, Cause> {
        let ending = self.settings.ending.len();
        let answer = match expect {
            Expect::Line | Expect::Lines(_) | Expect::Block => self.read(expect, limit).await?,
            Expect::Bytes(count) => {
                let mut answer = self.read(Expect::Bytes(count + ending), limit).await?;
                if !answer.ends_with(self.settings.ending.as_bytes()) {
                    return Err(Cause::Unfit {
                        shown: shown(&answer),
                    });
                }
                answer.truncate(count);
                answer
            }
        };
        match (&self.settings.habits.check, expect) {
            (Some(check), Expect::Line) => {
                let told = shown(&answer);
                check.strip(answer).ok_or(Cause::Checksum { shown: told })
            }
            _ => Ok(answer),
        }
    }

    /// Waits until the instrument says that it is ready, where it does.
    async fn await_prompt(&mut self) -> Result<(), Cause> {
        let length = self.settings.habits.prompt.len();
        if length == 0 {
            return Ok(());
        }
        let patience = self.settings.deadlines.reply;
        let prompt = self.read(Expect::Bytes(length), patience).await?;
        if prompt == self.settings.habits.prompt {
            return Ok(());
        }
        Err(Cause::Prompt {
            shown: shown(&prompt),
        })
    }

    /// Throws away what came without being asked for, without waiting, and
    /// counts its bytes.
    async fn discard_unasked(&mut self) -> Result<usize, Cause> {
        let mut discarded = self.framer.pending();
        self.framer.reset();
        loop {
            let (wire, room) = (&mut self.wire, &mut self.room);
            let read = poll_fn(|cx| Poll::Ready(poll_read(wire, room, cx))).await;
            match read {
                Poll::Pending => break,
                Poll::Ready(result) => discarded += taken(result)?,
            }
            if discarded > MOST_DISCARDED {
                return Err(Cause::Garbled);
            }
        }
        // The end of the last message, behind the ending that it had itself.
        if self.due.is_some() && discarded == self.settings.ending.len() {
            discarded = 0;
        }
        if discarded > 0 {
            tracing::debug!(port = %self.settings.name, discarded, "bytes came unasked");
        }
        Ok(discarded)
    }

    /// Writes `line` with its checksum and its ending.
    async fn write_line(&mut self, line: &str) -> Result<(), Cause> {
        self.outgoing = self.settings.bytes_of(line);
        self.write().await
    }

    /// Writes the outgoing bytes once the instrument hears them: urgent ones and those
    /// that get back in step wait for its gap too, and would be lost without.
    async fn write(&mut self) -> Result<(), Cause> {
        if let Some(free) = self.free_from() {
            tokio::time::sleep_until(free).await;
        }
        let limit = self.settings.deadlines.write;
        let written = timeout(limit, self.wire.write_all(&self.outgoing)).await;
        self.ended = Some(Instant::now());
        match written {
            Err(_) => Err(Cause::Stalled(limit)),
            Ok(Err(error)) => Err(from_io(&error)),
            Ok(Ok(())) => Ok(()),
        }
    }

    /// Reads what is due now.
    async fn read(&mut self, expect: Expect, limit: Duration) -> Result<Vec<u8>, Cause> {
        self.say_due(true);
        let reply = self.read_whole(expect, limit).await;
        self.say_due(false);
        reply
    }

    fn say_due(&self, due: bool) {
        if let Some(told) = &self.due {
            told.store(due, Ordering::Release);
        }
    }

    async fn read_whole(&mut self, expect: Expect, limit: Duration) -> Result<Vec<u8>, Cause> {
        self.framer.expect(expect);
        let deadline = Instant::now() + limit;
        loop {
            if let Some(reply) = self.framer.poll().map_err(from_frame)? {
                return Ok(Reply::into_bytes(reply));
            }
            let (wire, room, urgent) = (&mut self.wire, &mut self.room, &mut self.urgent);
            let step = poll_fn(|cx| match urgent.poll_recv(cx) {
                Poll::Ready(Some(urgent)) => Poll::Ready(Err(urgent)),
                _ => poll_read(wire, room, cx).map(Ok),
            });
            match timeout_at(deadline, step).await {
                Err(_) => return Err(Cause::Silent(limit)),
                Ok(Err(urgent)) => {
                    self.interruption = Some(urgent);
                    return Err(Cause::Interrupted);
                }
                Ok(Ok(result)) => {
                    let count = taken(result)?;
                    self.framer.push(&self.room[..count]).map_err(from_frame)?;
                }
            }
        }
    }

    /// Makes the instrument drop what it half received, waits until nothing
    /// more comes, and asks a question whose answer cannot be mistaken.
    /// Instruments answer in order, so all that comes before it is late.
    async fn resynchronise(&mut self) -> Result<(), Cause> {
        tracing::debug!(port = %self.settings.name, "getting back in step");
        self.outgoing.clear();
        self.outgoing
            .extend_from_slice(&template::bytes(&self.settings.abandon));
        self.write().await?;
        self.discard_until_quiet().await?;
        if let Some(probe) = self.settings.probe.clone() {
            self.write_line(probe.line()).await?;
            self.probes_owed = self.probes_owed.saturating_add(1);
            self.hear_probes(&probe).await?;
            self.discard_until_quiet().await?;
        }
        self.in_step = true;
        Ok(())
    }

    /// Reads until every probe that was sent is answered. Where one was
    /// answered and then nothing comes for as long as an answer may take, the
    /// others are lost: a late answer to an older probe proves nothing by
    /// itself.
    async fn hear_probes(&mut self, probe: &Probe) -> Result<(), Cause> {
        let limit = self.settings.deadlines.reply;
        let mut heard = false;
        for _ in 0..MOST_LATE {
            let answer = match self.late_answer(probe, limit).await {
                Ok(answer) => answer,
                Err(Cause::Silent(_)) if heard => {
                    self.probes_owed = 0;
                    return Ok(());
                }
                Err(cause) => return Err(cause),
            };
            let shown = answer.escape_ascii();
            if probe.answered_by(&answer) {
                tracing::debug!(port = %self.settings.name, answer = %shown, "after trouble");
                heard = true;
                self.probes_owed = self.probes_owed.saturating_sub(1);
            } else {
                tracing::debug!(port = %self.settings.name, answer = %shown, "a late answer");
            }
            if self.probes_owed == 0 {
                return Ok(());
            }
        }
        Err(Cause::Garbled)
    }

    /// What may be the answer to a probe. One whose checksum is wrong is an older
    /// line's, or an echo.
    async fn late_answer(&mut self, probe: &Probe, limit: Duration) -> Result<Vec<u8>, Cause> {
        if self.settings.habits.echo && !matches!(probe.expect(), Expect::Line) {
            self.read(Expect::Bytes(self.outgoing.len()), limit).await?;
        }
        match self.answer(probe.expect(), limit).await {
            Err(Cause::Checksum { shown }) => Ok(shown.into_bytes()),
            answer => answer,
        }
    }

    async fn discard_until_quiet(&mut self) -> Result<(), Cause> {
        let mut discarded = 0;
        self.framer.reset();
        loop {
            let quiet = self.settings.deadlines.quiet;
            match timeout(quiet, self.wire.read(&mut self.room)).await {
                Err(_) => return Ok(()),
                Ok(result) => discarded += taken(result)?,
            }
            if discarded > MOST_DISCARDED {
                return Err(Cause::Garbled);
            }
        }
    }
}

/// A cause, and whether bytes of the line had left by then.
struct Failure {
    cause: Cause,
    left: bool,
}

impl Failure {
    fn before(cause: Cause) -> Self {
        Self { cause, left: false }
    }

    fn after(cause: Cause) -> Self {
        Self { cause, left: true }
    }
}

fn poll_read(
    wire: &mut Box<dyn Wire>,
    room: &mut [u8],
    cx: &mut Context<'_>,
) -> Poll<io::Result<usize>> {
    let mut room = ReadBuf::new(room);
    Pin::new(wire)
        .poll_read(cx, &mut room)
        .map_ok(|()| room.filled().len())
}

/// A hang-up reads as no bytes on one side and as an error on the other.
fn taken(result: io::Result<usize>) -> Result<usize, Cause> {
    match result {
        Ok(0) => Err(Cause::Gone),
        Ok(count) => Ok(count),
        Err(error) => Err(from_io(&error)),
    }
}

/// Whatever a port reports while it is used (EIO, ENXIO, ENODEV, a broken
/// pipe), it is gone: none of these heals without opening it anew.
fn from_io(error: &io::Error) -> Cause {
    tracing::debug!(%error, "port error");
    Cause::Gone
}

fn from_frame(fault: FrameFault) -> Cause {
    match fault {
        FrameFault::TooLong { limit } => Cause::Overlong(limit),
        FrameFault::NotABlock { shown } => Cause::Unfit { shown },
        FrameFault::NoEnding | FrameFault::Endless => Cause::Garbled,
    }
}

/// The first bytes of what came, for a message.
fn shown(bytes: &[u8]) -> String {
    bytes[..bytes.len().min(SHOWN)].escape_ascii().to_string()
}
