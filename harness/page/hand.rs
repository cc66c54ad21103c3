//! The hand that works the bench: one thread that reads the files, opens the bench and
//! runs one board after another, as it is asked. It serves no page; what happens goes
//! to the desk.

use super::desk::{Desk, Refused};
use super::relay::{ToDesk, attend, read_meters};
use super::shelf::{Choice, read};
use super::stage::{Phase, Region, Sitting};
use crate::bench_file::Port;
use crate::handout::Letterhead;
use crate::ident::{LotName, Serial};
use crate::link::Person;
use crate::plan::Omitted;
use crate::runner::{Particulars, Sink, Stop};
use crate::seed::Seed;
use crate::sitting::{
    self, Hindrance, Mounted, Session, Setting, Sound, mounted, place, planted, refusal,
};
use crate::units::Celsius;
use std::path::PathBuf;
use std::sync::Arc;
use std::thread::JoinHandle;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::{broadcast, mpsc, oneshot};

/// What may wait to be done: a page waits for each answer, so there is never much.
const WAITING: usize = 8;

/// Readings of meters that may wait to be shown.
const READINGS: usize = 256;

/// What the hand is asked.
pub(super) enum Ask {
    /// Open a bench for a plan.
    Open { choice: Box<Choice>, reply: Reply },
    /// A serial number was scanned.
    Scan {
        serial: String,
        retest: Option<String>,
        reply: Reply,
    },
    /// The board of that word may be started.
    Start { nonce: String, reply: Reply },
    /// Leave the board that was scanned out.
    Leave { reply: Reply },
    /// Close the bench.
    Close { reply: Reply },
    /// The server ends.
    End,
}

/// Whether it is done.
pub(super) type Reply = oneshot::Sender<Result<(), Refused>>;

/// Who is answered, and what.
type Answer = (Reply, Result<(), Refused>);

/// What stays the same from sitting to sitting.
#[derive(Clone, Debug)]
pub(super) struct House {
    /// The folder of the records.
    pub(super) records: PathBuf,
    /// Who issues papers.
    pub(super) letterhead: Option<Letterhead>,
    /// The folder of plans, benches and lots.
    pub(super) files: PathBuf,
    /// Seed of the embedded model bench.
    pub(super) seed: Seed,
}

/// Starts the hand.
///
/// # Errors
/// Where the machine gives no thread.
pub(super) fn start(
    desk: Arc<Desk>,
    house: House,
) -> std::io::Result<(mpsc::Sender<Ask>, JoinHandle<()>)> {
    let (asks, asked) = mpsc::channel(WAITING);
    let runtime = Builder::new_current_thread().enable_all().build()?;
    let thread = std::thread::Builder::new()
        .name("bench".to_owned())
        .spawn(move || {
            Hand {
                desk,
                house,
                runtime,
                open: None,
            }
            .work(asked);
        })?;
    Ok((asks, thread))
}

/// A sitting that is open.
struct Open {
    session: Session,
    lot: Option<LotName>,
    operator: Option<String>,
    ambient: Option<Celsius>,
    without: Vec<Omitted>,
    real: bool,
}

struct Hand {
    desk: Arc<Desk>,
    house: House,
    runtime: Runtime,
    open: Option<Open>,
}

impl Hand {
    fn work(mut self, mut asked: mpsc::Receiver<Ask>) {
        while let Some(ask) = asked.blocking_recv() {
            let answer = match ask {
                Ask::Open { choice, reply } => self.opens(&choice, reply),
                Ask::Scan {
                    serial,
                    retest,
                    reply,
                } => self.scanned(&serial, retest, reply),
                Ask::Start { nonce, reply } => self.started(&nonce, reply),
                Ask::Leave { reply } => {
                    self.back();
                    Some((reply, Ok(())))
                }
                Ask::Close { reply } => {
                    self.closes(None);
                    Some((reply, Ok(())))
                }
                Ask::End => break,
            };
            // Whoever asked the person something has ended with what was asked of the hand.
            self.desk.asks_nothing();
            self.desk.has_turned();
            // Whoever is answered may ask again at once.
            if let Some((reply, answer)) = answer {
                let _ = reply.send(answer);
            }
        }
        // The ports are let go of before the program ends.
        self.open = None;
    }

    /// Opens a bench; whoever asked is answered once it is shown to open.
    fn opens(&mut self, choice: &Choice, reply: Reply) -> Option<Answer> {
        if self.open.is_some() {
            return Some((reply, Err("a bench is open already".to_owned())));
        }
        let shown = [Region::Desk, Region::Lot, Region::Hindered];
        self.desk.change(&shown, |stage| {
            stage.phase = Phase::Opening;
            stage.hindered = None;
        });
        let _ = reply.send(Ok(()));
        match self.opened(choice) {
            Ok((open, sitting)) => {
                self.open = Some(open);
                self.desk.change(&Region::ALL, |stage| {
                    *stage = super::stage::Stage::new();
                    stage.phase = Phase::Ready;
                    stage.sitting = Some(sitting);
                });
            }
            Err(why) => self.desk.change(&shown, |stage| {
                stage.phase = Phase::Closed;
                stage.hindered = Some(why);
            }),
        }
        None
    }

    fn opened(&self, choice: &Choice) -> Result<(Open, Sitting), String> {
        let mut found = read(&self.house.files, choice)?;
        let Some(Sound {
            plan,
            bench,
            omitted,
            expected,
        }) = found.sound.take()
        else {
            return Err(found.faults);
        };
        let real = !bench.bench.is_model();
        if real && !choice.confirmed {
            return Err(
                "nobody has confirmed the cautions: nothing was opened; read them and tick that \
                 all of this is so"
                    .to_owned(),
            );
        }
        let person = self.person(
            bench
                .bench
                .instruments
                .iter()
                .any(|i| i.port == Port::Person),
        );
        let sitting = Sitting {
            plan: plan.name.clone(),
            plan_file: choice.plan.clone(),
            bench: choice.bench_words().to_owned(),
            lot: found.lot.clone(),
            operator: choice.operator.clone(),
            real,
            scenarios: plan.run().map(|(_, s)| s.name.clone()).collect(),
            expected,
        };
        let setting = Setting {
            plan,
            bench,
            facts: found.facts,
            out: self.house.records.clone(),
            papers: true,
            letterhead: self.house.letterhead.clone(),
            person,
        };
        let session = self.runtime.block_on(Session::open(setting));
        let mut session = session.map_err(|hindrance| hindrance.to_string())?;
        let (shown, readings) = broadcast::channel(READINGS);
        session.show_meters_to(shown);
        self.runtime
            .spawn(read_meters(Arc::clone(&self.desk), readings));
        let open = Open {
            session,
            lot: found.lot,
            operator: choice.operator.clone(),
            ambient: choice.ambient,
            without: omitted,
            real,
        };
        Ok((open, sitting))
    }

    /// Who does and reads what the bench has no instrument for.
    fn person(&self, is_asked: bool) -> Person {
        if !is_asked {
            return Person::assumed();
        }
        let (person, asked) = Person::at_the_bench();
        self.runtime.spawn(attend(Arc::clone(&self.desk), asked));
        person
    }

    /// A board that may run begins, or waits for somebody's word; one that may not is
    /// refused with the reason.
    fn scanned(&mut self, text: &str, retest: Option<String>, reply: Reply) -> Option<Answer> {
        let Some(open) = &self.open else {
            return Some((reply, Err("no bench is open".to_owned())));
        };
        let serial = match sitting::serial("the serial number", text.trim()) {
            Ok(serial) => serial,
            Err(hindrance) => {
                self.says(hindrance.to_string());
                return Some((reply, Err(hindrance.to_string())));
            }
        };
        let known = if retest.is_some() {
            Ok(None)
        } else if self.desk.look(|stage| stage.has_run(&serial)) {
            Ok(Some("it was tested in this sitting already".to_owned()))
        } else {
            let reader = open.session.reader();
            reader.and_then(|reader| Ok(refusal(&serial, open.lot.as_ref(), &reader)?))
        };
        match known {
            Err(hindrance) => {
                self.says(hindrance.to_string());
                Some((reply, Err(hindrance.to_string())))
            }
            Ok(Some(why)) => {
                let told = format!("{serial} is not run: {why}");
                self.desk.change(&[Region::Desk], |stage| {
                    stage.said = None;
                    stage.phase = Phase::Refused { serial, why };
                });
                Some((reply, Err(told)))
            }
            Ok(None) if open.real => {
                let asked = Desk::nonce().map_err(|fault| fault.to_string());
                let asked = asked.map(|nonce| {
                    self.desk.change(&[Region::Desk], |stage| {
                        stage.said = None;
                        stage.phase = Phase::Confirming {
                            serial,
                            nonce,
                            retest,
                        };
                    });
                });
                Some((reply, asked))
            }
            Ok(None) => {
                self.runs(serial, retest, reply);
                None
            }
        }
    }

    /// Starts the board that waits for this word; the word is good once.
    fn started(&mut self, shown: &str, reply: Reply) -> Option<Answer> {
        let waiting = self.desk.look(|stage| match &stage.phase {
            Phase::Confirming {
                serial,
                nonce,
                retest,
            } if nonce == shown => Some((serial.clone(), retest.clone())),
            _ => None,
        });
        let Some((serial, retest)) = waiting else {
            let why = "no board waits to be started by this word".to_owned();
            return Some((reply, Err(why)));
        };
        self.runs(serial, retest, reply);
        None
    }

    /// Runs a board; whoever asked is answered once it is shown to run.
    fn runs(&mut self, serial: Serial, retest: Option<String>, reply: Reply) {
        let Some(open) = &mut self.open else {
            return;
        };
        let stop = Stop::new(self.desk.stoppable());
        self.desk
            .change(&[Region::Desk, Region::Now, Region::Verdict], |stage| {
                stage.phase = Phase::Running;
                stage.said = None;
                stage.run.ended = None;
            });
        let _ = reply.send(Ok(()));
        let bench = &open.session.setting().bench;
        let seed = self.house.seed;
        let (planted, on_it) = match &bench.board {
            Some(board) => (
                planted(board, place(&serial), None),
                mounted(board, seed, place(&serial), None),
            ),
            None => (Vec::new(), Mounted::Real),
        };
        let particulars = Particulars {
            serial,
            lot: open.lot.clone(),
            seed,
            operator: open.operator.clone(),
            ambient: open.ambient,
            retest,
            only: None,
            without: open.without.clone(),
            planted,
        };
        let desk = Arc::clone(&self.desk);
        let mut sink = ToDesk::new(&self.desk);
        let mut sinks: [&mut dyn Sink; 1] = [&mut sink];
        let mut warn = |words: &str| {
            desk.change(&[Region::Remarks], |stage| {
                stage.run.remark(words.to_owned())
            });
        };
        let accepted = open
            .session
            .accept(particulars, on_it, &stop, &mut sinks, &mut warn);
        let accepted = self.runtime.block_on(accepted);
        self.desk.is_over();
        let ends = match &accepted {
            Ok(outcome) if outcome.safe => None,
            Ok(_) => Some(
                "The bench is not proven safe: switch its mains off and look at it. The lot ends \
                 here: no further board goes on this bench as it is."
                    .to_owned(),
            ),
            Err(hindrance @ (Hindrance::Bench(_) | Hindrance::Store(_))) => {
                Some(format!("{hindrance}. The lot ends here."))
            }
            Err(hindrance) => {
                self.says(hindrance.to_string());
                None
            }
        };
        match ends {
            Some(why) => self.closes(Some(why)),
            None => self.back(),
        }
    }

    /// What is said about the last serial number.
    fn says(&self, words: String) {
        self.desk.change(&[Region::Desk], |stage| {
            stage.said = Some(words);
            if !stage.is_running() {
                stage.phase = Phase::Ready;
            }
        });
    }

    /// The next board is waited for.
    fn back(&self) {
        if self.open.is_none() {
            return;
        }
        let shown = [Region::Desk, Region::Now, Region::Lot, Region::Boards];
        self.desk.change(&shown, |stage| stage.phase = Phase::Ready);
    }

    fn closes(&mut self, why: Option<String>) {
        if self.open.take().is_none() {
            return;
        }
        self.desk.change(&Region::ALL, |stage| {
            stage.phase = Phase::Closed;
            stage.sitting = None;
            stage.said = None;
            stage.hindered = why;
        });
    }
}
