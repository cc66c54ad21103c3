//! Whose turn it is among runs that go on side by side, so that they are recorded
//! and shown one after another, each whole. It runs nothing and records nothing.

use super::stop::Stop;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use tokio::sync::watch;

/// The turns of runs, in the order of their places, from zero on.
#[derive(Debug, Default)]
pub struct Turns {
    state: Mutex<State>,
    changed: Condvar,
    over: watch::Sender<bool>,
}

#[derive(Debug, Default)]
struct State {
    /// The place whose turn it is.
    due: usize,
    over: bool,
}

/// No turn comes any more: what was to be recorded in it is dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the lot ended before it was this board's turn")]
pub struct Withdrawn;

impl Turns {
    /// The turn of the run at `place`; each place is taken once.
    pub fn turn(&self, place: usize) -> Turn<'_> {
        Turn { turns: self, place }
    }

    /// Whether no turn comes any more.
    pub fn are_over(&self) -> bool {
        self.state().over
    }

    /// Raised once no turn comes any more.
    pub fn over(&self) -> Stop {
        Stop::new(self.over.subscribe())
    }

    fn state(&self) -> MutexGuard<'_, State> {
        // Nothing that is done to it can be left half done.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The turn of one run. Where it is dropped without being passed on, as in a panic,
/// no later turn comes.
#[derive(Debug)]
pub struct Turn<'a> {
    turns: &'a Turns,
    place: usize,
}

impl Turn<'_> {
    /// Whether it has come.
    ///
    /// # Errors
    /// [`Withdrawn`] where it never comes.
    pub fn has_come(&self) -> Result<bool, Withdrawn> {
        self.of(&self.turns.state())
    }

    /// Blocks until it has come.
    ///
    /// # Errors
    /// [`Withdrawn`] where it never comes.
    pub fn wait(&self) -> Result<(), Withdrawn> {
        let mut state = self.turns.state();
        while !self.of(&state)? {
            let waited = self.turns.changed.wait(state);
            state = waited.unwrap_or_else(PoisonError::into_inner);
        }
        Ok(())
    }

    /// Lets the next place have its turn.
    pub fn pass(self) {
        let mut state = self.turns.state();
        if state.due == self.place {
            state.due += 1;
        }
    }

    fn of(&self, state: &State) -> Result<bool, Withdrawn> {
        match state.due == self.place {
            true => Ok(true),
            false if state.over => Err(Withdrawn),
            false => Ok(false),
        }
    }
}

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        let mut state = self.turns.state();
        if state.due <= self.place {
            state.over = true;
            self.turns.over.send_replace(true);
        }
        drop(state);
        self.turns.changed.notify_all();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_come_in_the_order_of_their_places() {
        let turns = Turns::default();
        let (first, second, third) = (turns.turn(0), turns.turn(1), turns.turn(2));
        assert_eq!(first.has_come(), Ok(true));
        assert_eq!(second.has_come(), Ok(false));
        let told = std::thread::scope(|scope| {
            let told = scope.spawn(|| third.wait());
            first.pass();
            assert_eq!(second.wait(), Ok(()));
            second.pass();
            told.join().expect("no panic")
        });
        assert_eq!(told, Ok(()));
        third.pass();
        assert!(!turns.are_over());
    }

    #[test]
    fn a_turn_that_is_dropped_is_the_last() {
        let turns = Turns::default();
        let (first, second) = (turns.turn(0), turns.turn(1));
        let waited = std::thread::scope(|scope| {
            let waited = scope.spawn(|| second.wait());
            drop(first);
            waited.join().expect("no panic")
        });
        assert_eq!(waited, Err(Withdrawn));
        assert!(turns.are_over() && turns.over().is_raised());
        assert_eq!(turns.turn(2).has_come(), Err(Withdrawn));
    }
}
