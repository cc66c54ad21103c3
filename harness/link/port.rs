//! The handle to a port and how a port is opened. It is cheap to clone; the
//! task behind it ends when the last clone is dropped.

use super::attended::{self, Person};
use super::fault::{Cause, LinkError};
use super::messages::{self, Due, MessageWire};
use super::owner::Owner;
use super::request::{Request, Urgent};
use super::settings::{Effect, PortSettings};
use super::{Tap, Wire, serial, tap, tcp};
use crate::protocol::Expect;
use crate::template;
use std::os::fd::OwnedFd;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::sync::{mpsc, oneshot, watch};

/// Requests that may wait for one port; more callers wait before they are in.
const QUEUE: usize = 8;

/// A handle to the one task that owns a port.
#[derive(Clone, Debug)]
pub struct Port {
    requests: mpsc::Sender<Request>,
    urgent: mpsc::Sender<Urgent>,
    settings: Arc<PortSettings>,
    doubted: Arc<AtomicBool>,
    spare: Option<Arc<OwnedFd>>,
    /// Each write is a message by itself.
    by_messages: bool,
    /// A person answers.
    attended: bool,
    ended: watch::Receiver<()>,
}

impl Port {
    /// Opens a serial port or a pseudo-terminal.
    ///
    /// # Errors
    /// [`LinkError::Absent`], [`LinkError::Busy`] or [`LinkError::Unusable`].
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn open(path: &str, settings: PortSettings) -> Result<Self, LinkError> {
        let spare = serial::spare(path);
        let wire = serial::open(path, &settings)?;
        let mut port = Self::over(wire, settings);
        port.spare = spare.map(Arc::new);
        Ok(port)
    }

    /// Connects to an instrument's socket at `address`, as in `bench-load:5025`.
    ///
    /// # Errors
    /// [`LinkError::Absent`] where nothing listens, else [`LinkError::Unusable`].
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn connect(address: &str, settings: PortSettings) -> Result<Self, LinkError> {
        let unusable = |error: std::io::Error| LinkError::Unusable {
            port: address.to_owned(),
            why: error.to_string(),
        };
        let stream = tcp::open(address)?;
        let spare = stream.try_clone().map_err(unusable)?;
        let wire = tokio::net::TcpStream::from_std(stream).map_err(unusable)?;
        let mut port = Self::over(wire, settings);
        port.spare = Some(Arc::new(spare.into()));
        Ok(port)
    }

    /// Opens an instrument that takes and gives whole messages: the kernel's
    /// character device for USB test and measurement, or a local socket of sequenced
    /// packets.
    ///
    /// # Errors
    /// [`LinkError::Absent`], [`LinkError::Busy`] or [`LinkError::Unusable`].
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn open_messages(path: &str, settings: PortSettings) -> Result<Self, LinkError> {
        let unusable = |error: std::io::Error| LinkError::Unusable {
            port: path.to_owned(),
            why: error.to_string(),
        };
        let file = messages::open(path, &settings)?;
        Self::of_messages(file, settings).map_err(unusable)
    }

    /// The same of what is open already, and never blocks where it can be waited for.
    pub(super) fn of_messages(file: OwnedFd, settings: PortSettings) -> std::io::Result<Self> {
        let spare = file.try_clone()?;
        let (wire, due) = MessageWire::over(file, &settings)?;
        let mut port = Self::start(wire, settings, Some(due));
        port.spare = Some(Arc::new(spare));
        Ok(port)
    }

    /// What is asked here is asked of `person`.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn of_person(person: &Person, settings: PortSettings) -> Self {
        let (wire, far) = attended::wire();
        let patience = settings.deadlines.reply;
        tokio::spawn(person.clone().answer(far, patience));
        let mut port = Self::start(wire, settings, None);
        port.attended = true;
        port
    }

    /// A source that always sends, of which `sends` says what: nothing can be told it.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn of_source(sends: &str, settings: PortSettings) -> Self {
        let (wire, far) = attended::wire();
        tokio::spawn(attended::always_sends(sends.to_owned(), far));
        Self::start(wire, settings, None)
    }

    /// Whether a person answers here: slowly, and not every second.
    pub fn is_attended(&self) -> bool {
        self.attended
    }

    /// Whether each write is a message, so that several lines must be several writes.
    pub fn is_by_messages(&self) -> bool {
        self.by_messages
    }

    /// Another handle to the port, for a process that makes it safe when this
    /// one cannot. None over a wire that was opened elsewhere.
    pub fn spare(&self) -> Option<OwnedFd> {
        self.spare.as_ref()?.try_clone().ok()
    }

    /// Lets go of this handle. Once every handle is dropped and what was under
    /// way is over, the wire is closed and the future that this gives is done.
    pub fn close(self) -> impl Future<Output = ()> {
        let mut ended = self.ended.clone();
        drop(self);
        // Nothing is ever sent: the end of the sender is what is waited for.
        async move { while ended.changed().await.is_ok() {} }
    }

    /// Takes over a wire that is already open. What passes is told where
    /// somebody wants to know it.
    ///
    /// # Panics
    /// Outside a tokio runtime.
    pub fn over(wire: impl Wire, settings: PortSettings) -> Self {
        Self::start(wire, settings, None)
    }

    /// The same; `due` says to a wire of messages when an answer is due.
    pub(super) fn start(wire: impl Wire, settings: PortSettings, due: Option<Due>) -> Self {
        let settings = Arc::new(settings);
        let by_messages = due.is_some();
        let (requests, inbox) = mpsc::channel(QUEUE);
        let (urgent, urgent_inbox) = mpsc::channel(QUEUE);
        let wire: Box<dyn Wire> = if tap::wanted(&settings.traffic) {
            let traffic = settings.traffic.clone();
            Box::new(Tap::new(wire, settings.name.clone(), traffic))
        } else {
            Box::new(wire)
        };
        let doubted = Arc::new(AtomicBool::new(false));
        let in_doubt = Arc::clone(&doubted);
        let inboxes = (inbox, urgent_inbox);
        let owner = Owner::new(wire, Arc::clone(&settings), inboxes, in_doubt, due);
        let (closing, ended) = watch::channel(());
        tokio::spawn(async move {
            owner.run().await;
            drop(closing);
        });
        Self {
            requests,
            urgent,
            settings,
            doubted,
            spare: None,
            by_messages,
            attended: false,
            ended,
        }
    }

    /// How the port is used.
    pub fn settings(&self) -> &PortSettings {
        &self.settings
    }

    /// Says that an answer cannot belong to its question: both ends get back
    /// in step before the next one.
    pub fn doubt(&self) {
        self.doubted.store(true, Ordering::Relaxed);
    }

    /// Whether the task behind it still runs.
    pub fn is_open(&self) -> bool {
        !self.requests.is_closed()
    }

    /// Sends a line that has no answer.
    ///
    /// # Errors
    /// A [`LinkError`]; [`LinkError::Uncertain`] when some of it had left.
    pub async fn send(&self, line: &str, effect: Effect) -> Result<(), LinkError> {
        self.request(line, effect, None, 0).await.map(drop)
    }

    /// Sends a line and awaits a line, given without its ending.
    ///
    /// # Errors
    /// A [`LinkError`]; [`LinkError::Uncertain`] when `effect` is
    /// [`Effect::Acts`] and no good answer came.
    pub async fn query(&self, line: &str, effect: Effect) -> Result<String, LinkError> {
        let bytes = self.request(line, effect, Some(Expect::Line), 0).await?;
        // The owner has checked it.
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    /// Sends a line and awaits its answer in the form `expect`, of about `bytes`
    /// bytes.
    ///
    /// # Errors
    /// As for [`Port::query`].
    pub async fn ask(
        &self,
        line: &str,
        effect: Effect,
        expect: Expect,
        bytes: usize,
    ) -> Result<Vec<u8>, LinkError> {
        self.request(line, effect, Some(expect), bytes).await
    }

    /// Sends a line and awaits a definite-length block of about `bytes`
    /// bytes; the deadline allows for the time they take on the line.
    ///
    /// # Errors
    /// A [`LinkError`].
    pub async fn query_block(&self, line: &str, bytes: usize) -> Result<Vec<u8>, LinkError> {
        self.request(line, Effect::Asks, Some(Expect::Block), bytes)
            .await
    }

    /// Sends `bytes` at once, past every waiting request and into the middle
    /// of a running one, which ends as interrupted. For making safe only.
    ///
    /// # Errors
    /// A [`LinkError`] when the port did not take them.
    pub async fn interrupt(&self, bytes: Vec<u8>) -> Result<(), LinkError> {
        let (reply, answer) = oneshot::channel();
        let gone = || self.gone("abandon", Effect::Asks);
        self.urgent
            .send(Urgent { bytes, reply })
            .await
            .map_err(|_| gone())?;
        answer.await.map_err(|_| gone())?
    }

    async fn request(
        &self,
        line: &str,
        effect: Effect,
        expect: Option<Expect>,
        bytes: usize,
    ) -> Result<Vec<u8>, LinkError> {
        let (reply, answer) = oneshot::channel();
        let request = Request {
            line: line.to_owned(),
            effect,
            expect,
            bytes,
            reply,
        };
        // Nothing has left when the queue is closed already.
        self.requests
            .send(request)
            .await
            .map_err(|_| self.gone(line, Effect::Asks))?;
        answer.await.map_err(|_| self.gone(line, effect))?
    }

    fn gone(&self, line: &str, effect: Effect) -> LinkError {
        let port = self.settings.name.clone();
        let line = template::shown(line);
        let cause = Cause::Gone;
        match effect {
            Effect::Acts => LinkError::Uncertain { port, line, cause },
            Effect::Asks => LinkError::Failed { port, line, cause },
        }
    }
}
