//! `bufferstop bench --try`: every command of one profile tried on its instrument,
//! each exchange shown as it went over the wire. Nothing is energised beyond a small
//! stated value, and only where a person agrees; every way out makes it safe.

mod place;
mod row;

use self::place::Place;
use self::row::{Heard, Row, Summary};
use super::arguments::BenchArguments;
use super::attendance::{Attendance, Person, caution};
use super::exit::Exit;
use super::hindered::own_workshop;
use super::output::Output;
use crate::bench::guardian::Guardian;
use crate::ident::harmless;
use crate::instruments::{FIRST_CONTACT, InstrumentError, Session, Try, attempt, tries};
use crate::model_bench::MODEL_MARK;
use crate::sitting;
use crate::template;
use std::io::{IsTerminal as _, Write as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;
use tokio::time::timeout;

/// A port that takes no bytes is given up then.
const TAKES_WITHIN: Duration = Duration::from_secs(1);

/// Whose word there is for what is switched on.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Word {
    /// It was given for everything.
    Given,
    /// A person is asked each time.
    Asked,
    /// Nobody can be asked: nothing is switched on.
    Nobody,
}

impl Word {
    fn of(ready: bool, output: Output) -> Self {
        if ready {
            Self::Given
        } else if std::io::stdin().is_terminal() && !output.json {
            Self::Asked
        } else {
            Self::Nobody
        }
    }
}

/// Tries what `wanted` names: a role of the bench, or a profile at a port.
pub(super) fn walked(
    arguments: &BenchArguments,
    wanted: &str,
    output: Output,
) -> Result<Exit, Exit> {
    let place = Place::of(arguments, wanted)?;
    let word = Word::of(arguments.ready, output);
    let out = own_workshop()?.records(arguments.out.as_deref());
    let mut attendance = Attendance::begin()?;
    if place.is_real() {
        match word {
            Word::Nobody => caution(output),
            Word::Given | Word::Asked => attendance.confirm(arguments.ready, output)?,
        }
    }
    let heard = Heard::default();
    let (runtime, mut person) = attendance.parts();
    let alone = runtime.block_on(async { place.opened(&heard) })?;
    let mut walk = Walk {
        session: &alone.session,
        heard: &heard,
        output,
        word,
        contact: place.contact(),
        forbidden: None,
        guardian: None,
        interrupted: false,
        summary: Summary::default(),
    };
    // Of a stranger nothing is known, not even what switches it off.
    let Some(identity) = runtime.block_on(walk.identified()) else {
        walk.summary.told(output);
        return Ok(Exit::Bench);
    };
    if place.is_real() {
        // As for a run: a model hurts nobody, and its port's name is given away again.
        if !identity.contains(MODEL_MARK) {
            let port = &alone.session.port().settings().name;
            sitting::refuse_at(&out, port)?;
        }
        let start = |program: &_| Guardian::of_instrument(&alone.session, program);
        walk.guardian = sitting::watching(start, &mut |words| warn_line!("{words}"));
    }
    // Kept until the end, so that nobody else switches it on meanwhile.
    let _held_off = match word {
        Word::Nobody => None,
        Word::Given | Word::Asked => match runtime.block_on(place.held_off()) {
            Ok(supply) => supply,
            Err(why) => {
                walk.forbidden = Some(why);
                None
            }
        },
    };
    // A bug in a trial must not keep the instrument from being made safe.
    let trial = || runtime.block_on(walk.through(&mut person));
    let ended = catch_unwind(AssertUnwindSafe(trial));
    walk.interrupted |= ended.is_err();
    let safe = runtime.block_on(walk.made_safe());
    if let Some(guardian) = walk.guardian.take().filter(|_| safe) {
        // One that is not dismissed says the same lines once more, by its own hand.
        guardian.dismiss();
    }
    walk.summary.told(output);
    let fits = walk.summary.unfit == 0;
    let mut exit = if fits { Exit::Pass } else { Exit::Bench };
    if walk.summary.stopped {
        exit = exit.or(Exit::Inconclusive);
    }
    Ok(match ended {
        Ok(Ok(())) => exit,
        Ok(Err(own)) => exit.or(own),
        Err(_) => exit.or(Exit::Bug),
    })
}

struct Walk<'a> {
    session: &'a Session,
    heard: &'a Heard,
    output: Output,
    word: Word,
    /// What the contact that may be closed is called.
    contact: String,
    /// Why nothing may be switched on any more, once anything forbade it.
    forbidden: Option<String>,
    guardian: Option<Guardian>,
    /// Whether an exchange was left half way.
    interrupted: bool,
    summary: Summary,
}

impl Walk<'_> {
    /// What it says that it is, where it is what its profile is for.
    async fn identified(&mut self) -> Option<String> {
        let profile = self.session.profile();
        if !self.output.json {
            let port = &self.session.port().settings().name;
            say_line!("{} at {}\n", harmless(&profile.name), harmless(port));
        }
        let identity = self.session.identify().await;
        let known = identity.as_ref().ok().cloned();
        let shown = identity.map(|text| format!("\"{}\"", text.escape_debug()));
        self.row("identify", shown);
        known
    }

    /// Each command in turn.
    ///
    /// # Errors
    /// The status, after saying why, where nobody can be asked.
    async fn through(&mut self, person: &mut Person<'_>) -> Result<(), Exit> {
        for one in tries(self.session.role()) {
            if self.session.profile().command(one.command).is_none() {
                self.summary.lacks(one.command);
                continue;
            }
            let refused = self.refused(one, person).await?;
            if person.stop.is_raised() {
                self.summary.stopped = true;
                break;
            }
            if let Some(why) = refused {
                self.summary.leaves_out(one.command, why);
                continue;
            }
            let found = tokio::select! {
                biased;
                () = person.stop.raised() => {
                    self.summary.stopped = true;
                    self.interrupted = true;
                    break;
                }
                found = attempt(self.session, one) => found,
            };
            if found.as_ref().is_err_and(|fault| one.forbids(fault)) {
                let why = || format!("not tried, since `{}` did not fit", one.command);
                self.forbidden.get_or_insert_with(why);
            }
            self.row(one.command, found);
        }
        Ok(())
    }

    /// Why `one` is not tried, where it lets anything in and is not agreed to.
    async fn refused(
        &mut self,
        one: &Try,
        person: &mut Person<'_>,
    ) -> Result<Option<String>, Exit> {
        let Some(what) = one.energises else {
            return Ok(None);
        };
        if self.forbidden.is_none() {
            match self.word {
                Word::Given => {}
                Word::Nobody => {
                    let why = "nobody agreed: on a terminal it is asked, --ready agrees";
                    return Ok(Some(why.to_owned()));
                }
                Word::Asked => {
                    let what = what.replace(FIRST_CONTACT, &self.contact);
                    say!(
                        "  {}: this {what}. Enter tries it, s leaves it out: ",
                        one.command
                    );
                    // A prompt that cannot be shown is one that nobody waits for.
                    let _ = std::io::stdout().flush();
                    let line = person.next_line().await?;
                    if !line.is_some_and(|line| line.trim().is_empty()) {
                        return Ok(Some("nobody agreed to it".to_owned()));
                    }
                }
            }
            let lapse = self.guardian.as_ref().map(Guardian::lapse);
            let lapse = lapse.and_then(|lapse| lapse.borrow().clone());
            self.forbidden = lapse.map(|lapse| format!("not tried: {lapse}"));
        }
        Ok(self.forbidden.clone())
    }

    fn row(&mut self, command: &str, found: Result<String, InstrumentError>) {
        self.summary.unfit += usize::from(found.is_err());
        let row = Row {
            command: command.to_owned(),
            found: found.map_err(|fault| fault.to_string()),
            passed: self.heard.take(),
        };
        row.shown(self.output);
    }

    /// Says each line that makes it safe; whether it took them all.
    async fn made_safe(&mut self) -> bool {
        let profile = self.session.profile();
        if self.interrupted {
            // A line that was half sent is none.
            self.at_once(template::bytes(&profile.safety.abandon)).await;
        }
        let mut safe = true;
        for line in &profile.safety.make_safe {
            let taken = self.session.order(line).await;
            if let Err(InstrumentError::Link { .. }) = taken {
                // Blind: an instrument that cannot answer may still listen.
                self.at_once(profile.bytes_of(line)).await;
            }
            safe &= taken.is_ok();
            self.row("make_safe", taken.map(|()| "taken".to_owned()));
        }
        if !safe {
            warn_line!(
                "THE INSTRUMENT IS NOT PROVEN SAFE: switch it off by hand, and look at what it is \
                 connected to"
            );
        }
        safe
    }

    /// Sends `bytes` past everything that waits; who does not take them cannot be
    /// told anything.
    async fn at_once(&self, bytes: Vec<u8>) {
        drop(timeout(TAKES_WITHIN, self.session.port().interrupt(bytes)).await);
    }
}
