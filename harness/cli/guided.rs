//! A lot run by hand: which board is next, whether it may be run, how the lot
//! stands, and how much longer it takes. It runs no board.

use super::exit::Exit;
use crate::console::minutes;
use crate::ident::{LotName, Serial, harmless};
use crate::sitting;
use crate::store::{Reader, StoreError};
use crate::units::Seconds;
use std::collections::BTreeSet;
use std::io::Write as _;

/// The most boards that one pattern of serial numbers stands for.
const MOST_BOARDS: u64 = 10_000;

/// The serial numbers of a pattern such as `GR-{0001..0040}`; none where `text`
/// is no pattern.
///
/// # Errors
/// What is wrong with the pattern.
pub(super) fn pattern(text: &str) -> Result<Option<Vec<Serial>>, String> {
    let Some((before, rest)) = text.split_once('{') else {
        return Ok(None);
    };
    let parts = rest
        .split_once('}')
        .and_then(|(range, after)| Some((range.split_once("..")?, after)));
    let expected = "write it as in GR-{0001..0040}";
    let Some(((first, last), after)) = parts else {
        return Err(format!("this is no range of serial numbers; {expected}"));
    };
    let (Ok(from), Ok(to)) = (first.parse::<u64>(), last.parse::<u64>()) else {
        return Err(format!(
            "a range goes from one number to another; {expected}"
        ));
    };
    if from > to {
        return Err(format!("{from} comes after {to}; {expected}"));
    }
    if to - from >= MOST_BOARDS {
        return Err(format!("more than {MOST_BOARDS} boards in one lot"));
    }
    let width = first.len();
    let serials = (from..=to).map(|number| {
        let serial = format!("{before}{number:0width$}{after}");
        serial
            .parse::<Serial>()
            .map_err(|fault| format!("{serial}: {fault}"))
    });
    serials.collect::<Result<_, _>>().map(Some)
}

/// How a lot goes.
pub(super) struct Guide {
    /// Whether a person is asked and told; a pipe is neither.
    pub(super) by_hand: bool,
    lot: Option<LotName>,
    again: bool,
    /// Expected for one board.
    each: Seconds,
    seen: BTreeSet<Serial>,
    passed: usize,
    failed: Vec<Serial>,
    undecided: Vec<Serial>,
}

impl Guide {
    /// A lot with nothing run yet; `again` where boards may be tested again.
    pub(super) fn new(by_hand: bool, lot: Option<LotName>, again: bool, each: Seconds) -> Self {
        Self {
            by_hand,
            lot,
            again,
            each,
            seen: BTreeSet::new(),
            passed: 0,
            failed: Vec::new(),
            undecided: Vec::new(),
        }
    }

    /// Asks for the next serial number.
    pub(super) fn ask_serial(&self) {
        self.ask("serial number (Ctrl-D ends the lot)", None);
    }

    /// Asks whether the board is where it should be and nobody's hands are, with
    /// so many to come where that is known.
    pub(super) fn ask_ready(&self, serial: &Serial, to_come: Option<usize>) {
        let question =
            format!("{serial} in the fixture, all hands out? Enter starts, s leaves it out");
        self.ask(&question, to_come);
    }

    fn ask(&self, question: &str, to_come: Option<usize>) {
        if !self.by_hand {
            return;
        }
        say_line!();
        if self.done() > 0 {
            say_line!("{}", self.standing());
        }
        let boards = to_come.unwrap_or(1);
        // At most some ten thousand boards: exact.
        let left = self.each * boards as f64;
        if let Some(boards) = to_come.filter(|boards| *boards > 1) {
            say_line!("{} for the {boards} boards to come", minutes(left));
        }
        say!("{question} [{}]: ", minutes(self.each));
        // A prompt that cannot be shown is one that nobody waits for.
        let _ = std::io::stdout().flush();
    }

    /// Why `serial` may not be run now, where it may not.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub(super) fn refusal(
        &self,
        serial: &Serial,
        reader: &Reader,
    ) -> Result<Option<String>, StoreError> {
        if self.again {
            return Ok(None);
        }
        if self.seen.contains(serial) {
            return Ok(Some("it was tested in this sitting already".to_owned()));
        }
        if !self.by_hand {
            return Ok(None);
        }
        sitting::refusal(serial, self.lot.as_ref(), reader)
    }

    /// Says why a board is not run.
    pub(super) fn refuse(serial: &Serial, why: &str) -> Exit {
        warn_line!(
            "{serial} is not run: {}\n  (--retest with a reason tests it again)",
            harmless(why)
        );
        Exit::Usage
    }

    /// Takes note of a board that is run: it is not run again.
    pub(super) fn begun(&mut self, serial: &Serial) {
        self.seen.insert(serial.clone());
    }

    /// Takes note of how a board's run ended.
    pub(super) fn ended(&mut self, serial: &Serial, exit: Exit) {
        match exit {
            Exit::Pass => self.passed += 1,
            Exit::Fail => self.failed.push(serial.clone()),
            _ => self.undecided.push(serial.clone()),
        }
    }

    /// How many boards were run.
    fn done(&self) -> usize {
        self.passed + self.failed.len() + self.undecided.len()
    }

    /// How many passed, failed and are undecided.
    fn standing(&self) -> String {
        let mut words = vec![format!("{} passed", self.passed)];
        for (boards, what) in [(&self.failed, "failed"), (&self.undecided, "not judged")] {
            if !boards.is_empty() {
                words.push(format!("{} {what}", boards.len()));
            }
        }
        words.join(", ")
    }

    /// The lot at its end, with the boards that need attention by name.
    pub(super) fn tell_the_end(&self) {
        if !self.by_hand || self.done() == 0 {
            return;
        }
        let boards = match self.done() {
            1 => "1 board".to_owned(),
            count => format!("{count} boards"),
        };
        say_line!("\n{boards}: {}", self.standing());
        for (boards, what) in [(&self.failed, "failed"), (&self.undecided, "not judged")] {
            if !boards.is_empty() {
                let names: Vec<&str> = boards.iter().map(Serial::as_str).collect();
                say_line!("  {what}: {}", names.join(", "));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pattern_stands_for_its_serial_numbers() {
        let names = |text: &str| {
            let serials = pattern(text).expect("a sound pattern").expect("a pattern");
            serials.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(names("GR-{0009..0011}"), ["GR-0009", "GR-0010", "GR-0011"]);
        assert_eq!(names("A{1..2}-x"), ["A1-x", "A2-x"]);
        assert_eq!(pattern("GR-0042"), Ok(None));
        for wrong in [
            "GR-{1}",
            "GR-{1..x}",
            "GR-{2..1}",
            "GR-{1..99999}",
            "GR-{1..2",
            "../{1..2}",
        ] {
            assert!(pattern(wrong).is_err(), "{wrong}");
        }
    }
}
