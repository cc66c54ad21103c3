//! The one place where the stage, those who watch it and the one who commands meet:
//! whatever changes is drawn once and goes to every page in one order. It runs no
//! board.

use super::guard::Secret;
use super::markup::Markup;
use super::metric_view::metric_row;
use super::run_view;
use super::stage::{Phase, Reading, Region, Stage};
use crate::clock::{SystemClock, WallClock as _};
use crate::digest::Digest;
use crate::event::{Entry, Event};
use hyper::body::{Body, Bytes, Frame, SizeHint};
use serde_json::json;
use std::convert::Infallible;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Poll};
use tokio::sync::{mpsc, oneshot, watch};

/// Events that may wait for one page; one that lets more wait is dropped, and begins
/// again with the whole.
const WAITING: usize = 512;

/// Pages that watch at a time.
const MOST_VIEWERS: usize = 128;

/// A page that watches.
struct Viewer {
    seat: Seat,
    frames: mpsc::Sender<Bytes>,
}

/// Which page it is, by a secret that it made itself.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Seat(String);

impl Seat {
    /// A seat as a page says it; nothing where it says none.
    pub(super) fn of(text: &str) -> Option<Self> {
        let plain = text.len() >= 16 && text.len() <= 64;
        let plain = plain && text.bytes().all(|byte| byte.is_ascii_alphanumeric());
        plain.then(|| Self(text.to_owned()))
    }

    /// What others may know it by.
    fn name(&self) -> String {
        Digest::of(self.0.as_bytes()).short()
    }
}

/// What stands behind the lock.
struct Held {
    stage: Stage,
    viewers: Vec<Viewer>,
    /// Who commands.
    operator: Option<Seat>,
    /// Raised to end what is being run.
    stop: Option<watch::Sender<bool>>,
    /// Where an answer to the question goes.
    answer: Option<oneshot::Sender<Option<String>>>,
    questions: u64,
    /// What a scenario of this run saw last, drawn.
    picture: Option<Bytes>,
    /// The hand was asked something and has not taken it up yet.
    turns: bool,
    /// The server ends: nothing is begun any more.
    ending: bool,
}

/// The desk of the bench.
pub(super) struct Desk {
    held: Mutex<Held>,
}

/// Why a command is not taken, in a sentence.
pub(super) type Refused = String;

impl Desk {
    pub(super) fn new() -> Self {
        Self {
            held: Mutex::new(Held {
                stage: Stage::new(),
                viewers: Vec::new(),
                operator: None,
                stop: None,
                answer: None,
                questions: 0,
                picture: None,
                turns: false,
                ending: false,
            }),
        }
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        // What was half done to a stage shows on a page at the worst.
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Looks at the stage.
    pub(super) fn look<T>(&self, look: impl FnOnce(&Stage) -> T) -> T {
        look(&self.held().stage)
    }

    /// Changes the stage and shows those regions to everybody.
    pub(super) fn change(&self, regions: &[Region], change: impl FnOnce(&mut Stage)) {
        let mut held = self.held();
        change(&mut held.stage);
        // What was asked shows in the phase from now on.
        held.turns = false;
        held.show(regions);
    }

    /// Takes an entry of the run.
    pub(super) fn enter(&self, entry: &Entry) {
        let mut held = self.held();
        let regions = held.stage.enter(entry);
        held.show(&regions);
        if let Event::Measured { .. } = &entry.event {
            let metrics = &held.stage.run.metrics;
            let before = metrics.len().checked_sub(2).map(|at| &metrics[at]);
            if let Some(row) = metrics.last() {
                let row = metric_row(before, row);
                held.tell(&frame(
                    "add",
                    &json!({"id": "metric-rows", "html": row.as_str()}),
                ));
            }
        }
        if let Event::RunFinished { .. } = &entry.event {
            let verdict = held.stage.run.ended.as_ref().map(|ended| ended.verdict);
            let word = verdict.map(|verdict| verdict.word());
            held.tell(&frame("verdict", &json!({ "verdict": word })));
        }
    }

    /// Takes a reading of a meter.
    pub(super) fn read(&self, reading: Reading) {
        let mut held = self.held();
        held.stage.read(reading);
        held.tell(&frame("meter", &meter(&reading)));
    }

    /// Shows what a scenario saw last.
    pub(super) fn saw(&self, picture: &Markup) {
        let put = json!({"id": Region::Capture.id(), "html": picture.as_str()});
        let put = frame("put", &put);
        let mut held = self.held();
        held.tell(&put);
        held.picture = Some(put);
    }

    /// A page begins to watch: it is shown everything, and then every change. Nothing
    /// where too many watch.
    pub(super) fn watch(self: &Arc<Self>, seat: Seat) -> Option<Watching> {
        let (frames, waiting) = mpsc::channel(WAITING);
        let mut held = self.held();
        held.viewers.retain(|viewer| !viewer.frames.is_closed());
        if held.viewers.len() >= MOST_VIEWERS {
            return None;
        }
        let now = SystemClock.now().as_millisecond();
        let you = json!({"now": now, "seat": seat.name()});
        let first = [frame("you", &you), held.commands(), held.all()];
        for frame in first {
            // There is room for these.
            let _ = frames.try_send(frame);
        }
        held.viewers.push(Viewer { seat, frames });
        Some(Watching { waiting })
    }

    /// A sign of life to every page.
    pub(super) fn beat(&self) {
        let now = SystemClock.now().as_millisecond();
        self.held().tell(&frame("beat", &json!({ "now": now })));
    }

    /// Whether `seat` may command now: it does already, or nobody does, who then
    /// commands from now on.
    ///
    /// # Errors
    /// Who else does.
    pub(super) fn commanded_by(&self, seat: &Seat) -> Result<(), Refused> {
        let mut held = self.held();
        if held.ending {
            return Err("the server is ending".to_owned());
        }
        match &held.operator {
            Some(operator) if operator == seat => Ok(()),
            None => {
                held.command(seat);
                Ok(())
            }
            Some(_) => Err("another page commands this bench: take over first".to_owned()),
        }
    }

    /// `seat` asks the hand for something, where it commands, nothing else was asked and
    /// `so` is the phase: two scans at once start no two boards.
    ///
    /// # Errors
    /// Why it must not.
    pub(super) fn turn(&self, seat: &Seat, so: impl FnOnce(&Phase) -> bool) -> Result<(), Refused> {
        self.commanded_by(seat)?;
        let mut held = self.held();
        if held.turns || !so(&held.stage.phase) {
            return Err("no bench is open, or the bench is busy".to_owned());
        }
        held.turns = true;
        Ok(())
    }

    /// The hand has taken up what it was asked.
    pub(super) fn has_turned(&self) {
        self.held().turns = false;
    }

    /// `seat` takes the command over. While a board runs, only from a page that is
    /// gone.
    ///
    /// # Errors
    /// Why it cannot be had now.
    pub(super) fn take_over(&self, seat: &Seat) -> Result<(), Refused> {
        let mut held = self.held();
        held.viewers.retain(|viewer| !viewer.frames.is_closed());
        let there = |operator: &Seat| held.viewers.iter().any(|viewer| viewer.seat == *operator);
        let other = held.operator.as_ref().filter(|operator| *operator != seat);
        if other.is_some_and(there) && held.stage.is_running() {
            return Err(
                "the page that commands is open and its board runs: any page may stop it"
                    .to_owned(),
            );
        }
        held.command(seat);
        Ok(())
    }

    /// A run may begin: whoever asks to stop raises what comes back.
    pub(super) fn stoppable(&self) -> watch::Receiver<bool> {
        let mut held = self.held();
        let (raise, raised) = watch::channel(held.ending);
        held.stop = Some(raise);
        raised
    }

    /// The run is over.
    pub(super) fn is_over(&self) {
        self.held().stop = None;
    }

    /// Ends what is being run; says whether anything is.
    pub(super) fn stop(&self) -> bool {
        let mut held = self.held();
        let Some(stop) = &held.stop else {
            return false;
        };
        stop.send_replace(true);
        if held.stage.phase == Phase::Running {
            held.stage.phase = Phase::Stopping;
            held.show(&[Region::Now, Region::Desk]);
        }
        true
    }

    /// The server ends: nothing is begun any more, and what is being run ends.
    pub(super) fn end(&self) {
        self.held().ending = true;
        self.stop();
    }

    /// Nobody is shown anything any more.
    pub(super) fn close(&self) {
        let mut held = self.held();
        held.tell(&frame("end", &json!({})));
        held.viewers.clear();
    }

    /// Asks the person something; what they type goes to `answer`.
    pub(super) fn ask(
        &self,
        what: &str,
        is_reading: bool,
        patience: std::time::Duration,
        answer: oneshot::Sender<Option<String>>,
    ) -> u64 {
        let mut held = self.held();
        held.questions += 1;
        let number = held.questions;
        let patience = jiff::SignedDuration::try_from(patience).unwrap_or_default();
        held.stage.question = Some(super::stage::Question {
            number,
            what: what.to_owned(),
            is_reading,
            until: SystemClock.now() + patience,
        });
        held.answer = Some(answer);
        held.show(&[Region::Desk]);
        number
    }

    /// The question of that number waits no longer.
    pub(super) fn asked_no_more(&self, number: u64) {
        let mut held = self.held();
        if held.stage.question.as_ref().map(|q| q.number) == Some(number) {
            held.stage.question = None;
            held.answer = None;
            held.show(&[Region::Desk]);
        }
    }

    /// Nobody waits for an answer any more.
    pub(super) fn asks_nothing(&self) {
        let number = self.look(|stage| stage.question.as_ref().map(|q| q.number));
        if let Some(number) = number {
            self.asked_no_more(number);
        }
    }

    /// What the person typed for the question of that number.
    ///
    /// # Errors
    /// Where it waits no longer.
    pub(super) fn answer(&self, number: u64, typed: String) -> Result<(), Refused> {
        let mut held = self.held();
        if held.stage.question.as_ref().map(|q| q.number) != Some(number) {
            return Err("this question waits no longer".to_owned());
        }
        held.stage.question = None;
        let answer = held.answer.take();
        held.show(&[Region::Desk]);
        let taken = answer.map(|answer| answer.send(Some(typed)));
        match taken {
            Some(Ok(())) => Ok(()),
            _ => Err("this question waits no longer".to_owned()),
        }
    }

    /// A word that starts one board, once.
    ///
    /// # Errors
    /// Where the system gives no random bytes.
    pub(super) fn nonce() -> std::io::Result<String> {
        Ok(Secret::new()?.as_str().to_owned())
    }
}

impl Held {
    fn command(&mut self, seat: &Seat) {
        self.operator = Some(seat.clone());
        let commands = self.commands();
        self.tell(&commands);
    }

    /// Who commands, by the name that pages know.
    fn commands(&self) -> Bytes {
        let operator = self.operator.as_ref().map(Seat::name);
        frame("operator", &json!({ "seat": operator }))
    }

    /// Draws regions and shows them.
    fn show(&mut self, regions: &[Region]) {
        if regions.contains(&Region::Capture) {
            self.picture = None;
        }
        for region in regions {
            let html = run_view::region(&self.stage, *region);
            let put = json!({"id": region.id(), "html": html.as_str()});
            self.tell(&frame("put", &put));
        }
        if !regions.is_empty() {
            let state = run_view::state(&self.stage);
            self.tell(&frame("state", &state));
        }
    }

    /// Everything, for a page that begins to watch.
    fn all(&self) -> Bytes {
        let mut text = Vec::new();
        for region in Region::ALL {
            let html = run_view::region(&self.stage, region);
            let put = json!({"id": region.id(), "html": html.as_str()});
            text.extend_from_slice(&frame("put", &put));
        }
        if let Some(picture) = &self.picture {
            text.extend_from_slice(picture);
        }
        // A page forgets the readings of another run once it is told of this one.
        text.extend_from_slice(&frame("state", &run_view::state(&self.stage)));
        let readings = self.stage.run.readings.iter().map(meter);
        let readings = json!(readings.collect::<Vec<_>>());
        text.extend_from_slice(&frame("meters", &readings));
        Bytes::from(text)
    }

    /// Sends a frame to everybody; who does not keep up is dropped.
    fn tell(&mut self, frame: &Bytes) {
        self.viewers
            .retain(|viewer| viewer.frames.try_send(frame.clone()).is_ok());
    }
}

fn meter(reading: &Reading) -> serde_json::Value {
    json!({"t": reading.at, "m": reading.meter, "y": reading.value})
}

/// An event of the stream to a page (HTML Living Standard, 9.2: a line `event:` and a
/// line `data:`, JSON having no line end in it).
fn frame(event: &str, data: &serde_json::Value) -> Bytes {
    Bytes::from(format!("event: {event}\ndata: {data}\n\n"))
}

/// The stream of events to one page.
pub(super) struct Watching {
    waiting: mpsc::Receiver<Bytes>,
}

impl Body for Watching {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        self.waiting
            .poll_recv(context)
            .map(|bytes| bytes.map(|bytes| Ok(Frame::data(bytes))))
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::default()
    }
}
