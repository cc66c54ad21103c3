//! What a run says, brought to the desk: entries, what was seen, readings of meters and
//! questions for the person. It runs nothing.

use super::desk::Desk;
use super::picture;
use super::stage::Reading;
use crate::bench::{Shown, Watched};
use crate::digest::Hashed;
use crate::event::Entry;
use crate::link::Asked;
use crate::runner::Sink;
use crate::units::Quantity as _;
use std::sync::Arc;
use tokio::sync::{broadcast, mpsc, oneshot};

/// Observations that may wait to be drawn; what is beyond them stands in the record.
const PICTURES: usize = 2;

/// Entries, and what was seen, to the desk.
pub(super) struct ToDesk {
    desk: Arc<Desk>,
    pictures: mpsc::Sender<(String, Vec<u8>)>,
}

impl ToDesk {
    pub(super) fn new(desk: &Arc<Desk>) -> Self {
        Self {
            desk: Arc::clone(desk),
            pictures: picture::drawn_beside(Arc::clone(desk), PICTURES),
        }
    }
}

impl Sink for ToDesk {
    fn entry(&mut self, entry: &Entry) {
        self.desk.enter(entry);
    }

    fn observed(&mut self, scenario: &str, bytes: &Hashed) {
        // One that still draws is not waited for: the record has all of it.
        let _ = self
            .pictures
            .try_send((scenario.to_owned(), bytes.bytes().to_vec()));
    }
}

/// Shows what the meters read.
pub(super) async fn read_meters(desk: Arc<Desk>, mut readings: broadcast::Receiver<Shown>) {
    loop {
        match readings.recv().await {
            Ok(Shown { at, meter, value }) => {
                let began = desk.look(|stage| stage.run.bench_began);
                let meter = match meter {
                    Watched::SupplyVoltage => "v",
                    Watched::SupplyCurrent => "a",
                    Watched::LoadCurrent => "l",
                };
                let at = at.since_zero().si() - began;
                desk.read(Reading { at, meter, value });
            }
            Err(broadcast::error::RecvError::Lagged(_)) => {}
            Err(broadcast::error::RecvError::Closed) => return,
        }
    }
}

/// Asks the person for what has no instrument, one thing after another.
pub(super) async fn attend(desk: Arc<Desk>, mut asked: mpsc::Receiver<Asked>) {
    while let Some(mut asking) = asked.recv().await {
        let (answer, typed) = oneshot::channel();
        let number = desk.ask(&asking.what, asking.is_reading, asking.patience, answer);
        tokio::select! {
            biased;
            // Whoever asked has given up.
            () = asking.answer.closed() => {}
            typed = typed => drop(asking.answer.send(typed.ok().flatten())),
        }
        desk.asked_no_more(number);
    }
}
