//! How much longer a board and its lot take, as a person at a bench counts it. It
//! reads no clock and draws nothing.

use crate::units::{Quantity as _, Seconds};

/// What was expected of a run before it began.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Of the board that runs.
    pub board: Seconds,
    /// Of the boards of its lot after it, where that is known.
    pub after: Option<Seconds>,
}

impl Expected {
    /// What is left once the board has run for `elapsed`, in words.
    pub fn left(self, elapsed: Seconds) -> String {
        let left = self.board - elapsed;
        let board = if left > Seconds::ZERO {
            format!("{} left", minutes(left))
        } else {
            "longer than expected".to_owned()
        };
        match self.after.filter(|after| *after > Seconds::ZERO) {
            Some(after) => format!("{board}, lot {}", minutes(left.max(Seconds::ZERO) + after)),
            None => board,
        }
    }
}

/// A time as a person at a bench counts it.
pub fn minutes(time: Seconds) -> String {
    let seconds = time.si().max(0.0).ceil();
    if seconds < 90.0 {
        return format!("{seconds:.0} s");
    }
    let minutes = (seconds / 60.0).ceil();
    if minutes < 90.0 {
        return format!("{minutes:.0} min");
    }
    format!(
        "{:.0} h {:.0} min",
        (minutes / 60.0).floor(),
        minutes % 60.0
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_told_in_the_unit_of_its_size() {
        assert_eq!(minutes(Seconds::new(12.2)), "13 s");
        assert_eq!(minutes(Seconds::new(600.0)), "10 min");
        assert_eq!(minutes(Seconds::new(7500.0)), "2 h 5 min");
    }

    #[test]
    fn what_is_left_runs_down_and_never_below_nothing() {
        let board = Seconds::new(60.0);
        let alone = Expected { board, after: None };
        assert_eq!(alone.left(Seconds::new(15.0)), "45 s left");
        assert_eq!(alone.left(Seconds::new(61.0)), "longer than expected");
        let after = Some(Seconds::new(600.0));
        let lot = Expected { board, after };
        assert_eq!(lot.left(Seconds::new(30.0)), "30 s left, lot 11 min");
        assert_eq!(
            lot.left(Seconds::new(90.0)),
            "longer than expected, lot 10 min"
        );
    }
}
