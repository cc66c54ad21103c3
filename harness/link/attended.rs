//! Ports at which no instrument answers: a person who is asked in words, and a source
//! that always sends and can be told nothing. What is asked reaches the person through
//! somebody else; how it is shown is not known here.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader, DuplexStream};
use tokio::sync::{mpsc, oneshot};
use tokio::time::Instant;

/// Room for what is under way to somebody who answers in this process.
const ROOM: usize = 4096;

/// Steps that nobody has fetched yet; beyond that no more are kept.
const MOST_TOLD: usize = 1000;

/// Questions that wait for the person.
const QUEUE: usize = 8;

/// So a person has done what was asked.
const DONE: &str = "done";

/// The question of who is there.
const WHO: &str = "who";

/// Something that a person is asked for.
#[derive(Debug)]
pub struct Asked {
    /// What to do, or to read, in words.
    pub what: String,
    /// Whether a reading is to be typed.
    pub is_reading: bool,
    /// How long it is waited for.
    pub patience: Duration,
    /// Where what was typed goes; nothing where nobody is there to type.
    pub answer: oneshot::Sender<Option<String>>,
}

/// The person at the bench, for the roles that have no instrument.
#[derive(Clone, Debug)]
pub struct Person {
    /// Nobody is asked where there is none.
    asks: Option<mpsc::Sender<Asked>>,
    /// What was done and read since it was fetched last.
    told: Arc<Mutex<Vec<String>>>,
}

impl Person {
    /// A person, and what they are asked.
    pub fn at_the_bench() -> (Self, mpsc::Receiver<Asked>) {
        let (asks, asked) = mpsc::channel(QUEUE);
        let told = Arc::default();
        let asks = Some(asks);
        (Self { asks, told }, asked)
    }

    /// Nobody: every step is taken for done, and no reading is had.
    pub fn assumed() -> Self {
        Self {
            asks: None,
            told: Arc::default(),
        }
    }

    /// What was done and read since this was asked last, in words.
    pub fn told(&self) -> Vec<String> {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut told)
    }

    fn tell(&self, what: String) {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        if told.len() < MOST_TOLD {
            told.push(what);
        }
    }

    fn identity(&self) -> &'static str {
        match self.asks {
            Some(_) => "the person at the bench",
            None => "nobody: every step is assumed to be done",
        }
    }

    /// What comes of asking for `what`.
    async fn asked(&self, what: &str, patience: Duration) -> String {
        let is_reading = what.ends_with('?');
        let Some(asks) = &self.asks else {
            if is_reading {
                return "nobody to read it".to_owned();
            }
            self.tell(format!("{what} - assumed, nobody was asked"));
            return DONE.to_owned();
        };
        let begun = Instant::now();
        let mut typed = typed_for(asks, what, is_reading, patience).await;
        // Mistyped is not misread: a comma ends no run.
        while let Some(wrong) = typed.as_ref().filter(|t| is_reading && is_mistyped(t)) {
            let left = patience.saturating_sub(begun.elapsed());
            let wrong = wrong.trim();
            self.tell(format!("{what} - '{wrong}' typed, asked again"));
            let again = format!("'{wrong}' cannot be read: type it as in 23.5. {what}");
            typed = typed_for(asks, &again, is_reading, left).await;
        }
        let took = begun.elapsed().as_secs_f64();
        let (said, reply) = match typed {
            None => ("nobody answered".to_owned(), "nobody answered".to_owned()),
            Some(typed) if is_reading => {
                let typed = typed.trim().to_owned();
                (typed.clone(), typed)
            }
            Some(typed) if is_yes(&typed) => (DONE.to_owned(), DONE.to_owned()),
            Some(typed) => {
                let said = format!("not done: {}", typed.trim());
                (said.clone(), said)
            }
        };
        self.tell(format!(
            "{what} - {said} ({took:.0} s, the person at the bench)"
        ));
        reply
    }

    /// Answers what comes, until the port is closed.
    pub(super) async fn answer(self, far: DuplexStream, patience: Duration) {
        let (read, mut write) = tokio::io::split(far);
        let mut lines = BufReader::new(read).lines();
        // What is so already, by what it is about.
        let mut settled: BTreeMap<String, String> = BTreeMap::new();
        let mut next = None;
        loop {
            let line = match next.take() {
                Some(line) => line,
                None => match lines.next_line().await {
                    Ok(Some(line)) => line,
                    _ => return,
                },
            };
            let subject = line.split_once(": ").map(|(subject, _)| subject.to_owned());
            let is_so = subject
                .as_ref()
                .is_some_and(|about| settled.get(about) == Some(&line));
            let reply = if line.is_empty() {
                continue;
            } else if line == WHO {
                self.identity().to_owned()
            } else if is_so {
                DONE.to_owned()
            } else {
                tokio::select! {
                    reply = self.asked(&line, patience) => reply,
                    // Whoever asked waits no longer, and asks for something else.
                    later = lines.next_line() => match later {
                        Ok(Some(later)) => {
                            self.tell(format!("{line} - not answered in time"));
                            if let Some(about) = subject {
                                settled.remove(&about);
                            }
                            next = Some(later);
                            continue;
                        }
                        _ => return,
                    },
                }
            };
            if let Some(about) = subject {
                if reply == DONE {
                    settled.insert(about, line);
                } else {
                    settled.remove(&about);
                }
            }
            if write
                .write_all(format!("{reply}\n").as_bytes())
                .await
                .is_err()
            {
                return;
            }
        }
    }
}

/// What is typed for `what`; nothing where nobody types.
async fn typed_for(
    asks: &mpsc::Sender<Asked>,
    what: &str,
    is_reading: bool,
    patience: Duration,
) -> Option<String> {
    let (answer, typed) = oneshot::channel();
    let asked = Asked {
        what: what.to_owned(),
        is_reading,
        patience,
        answer,
    };
    asks.send(asked).await.ok()?;
    typed.await.ok().flatten()
}

/// Whether it is nothing, or has digits and yet is no number with at most a unit
/// behind it. Words alone may be a state that the profile names.
fn is_mistyped(typed: &str) -> bool {
    let typed = typed.trim();
    let is_of_number = |c: char| c.is_ascii_digit() || "+-.".contains(c);
    let end = typed.find(|c| !is_of_number(c)).unwrap_or(typed.len());
    let (number, unit) = typed.split_at(end);
    let is_of_unit = |c: char| c.is_alphabetic() || c.is_whitespace() || "%°".contains(c);
    let is_number = number.parse::<f64>().is_ok() && unit.chars().all(is_of_unit);
    typed.is_empty() || (typed.contains(|c: char| c.is_ascii_digit()) && !is_number)
}

fn is_yes(typed: &str) -> bool {
    let typed = typed.trim().to_lowercase();
    matches!(typed.as_str(), "" | "y" | "yes" | DONE)
}

/// A wire to somebody in this process, and their end of it.
pub(super) fn wire() -> (DuplexStream, DuplexStream) {
    tokio::io::duplex(ROOM)
}

/// Answers for a source that always sends `sends`: it does what it does, and is
/// asked for nothing else.
pub(super) async fn always_sends(sends: String, far: DuplexStream) {
    let (read, mut write) = tokio::io::split(far);
    let mut lines = BufReader::new(read).lines();
    while let Ok(Some(line)) = lines.next_line().await {
        let reply = match line.split_once(' ') {
            _ if line.is_empty() => continue,
            None if line == WHO => format!("an external source that always sends {sends}"),
            // Ones without end stand for any signal: it alternates. No other is had.
            Some(("send", pattern)) if pattern != "ONES" => format!("it always sends {sends}"),
            _ => DONE.to_owned(),
        };
        if write
            .write_all(format!("{reply}\n").as_bytes())
            .await
            .is_err()
        {
            return;
        }
    }
}
