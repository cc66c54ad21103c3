//! The exit statuses, in one table. Several troubles at once end with the one
//! that stands first in [`Exit::PRECEDENCE`].

use crate::judgement::Verdict;
use std::process::ExitCode;

/// How the command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Every verdict is pass.
    Pass,
    /// A board failed.
    Fail,
    /// A board was not judged.
    Inconclusive,
    /// Wrong usage.
    Usage,
    /// A faulty file.
    File,
    /// The bench is not available.
    Bench,
    /// A bug here.
    Bug,
    /// Records could not be written.
    Store,
}

impl Exit {
    /// What wins over what, the strongest first.
    const PRECEDENCE: [Self; 8] = [
        Self::Store,
        Self::Bug,
        Self::Fail,
        Self::Bench,
        Self::Inconclusive,
        Self::File,
        Self::Usage,
        Self::Pass,
    ];

    /// The status as a number (64 to 74 as in `sysexits.h` of 4.3BSD).
    pub const fn code(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::Fail => 1,
            Self::Inconclusive => 2,
            Self::Usage => 64,
            Self::File => 65,
            Self::Bench => 69,
            Self::Bug => 70,
            Self::Store => 74,
        }
    }

    /// The status of a verdict.
    pub const fn of(verdict: Verdict) -> Self {
        match verdict {
            Verdict::Pass => Self::Pass,
            Verdict::Fail => Self::Fail,
            Verdict::Inconclusive => Self::Inconclusive,
        }
    }

    /// The stronger of two.
    pub fn or(self, other: Self) -> Self {
        let rank = |exit| Self::PRECEDENCE.iter().position(|known| *known == exit);
        if rank(self) <= rank(other) {
            self
        } else {
            other
        }
    }
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_board_outranks_a_missing_bench_and_a_lost_record_outranks_all() {
        assert_eq!(Exit::Bench.or(Exit::Fail), Exit::Fail);
        assert_eq!(Exit::Inconclusive.or(Exit::Bench), Exit::Bench);
        assert_eq!(Exit::Fail.or(Exit::Store), Exit::Store);
        assert_eq!(Exit::Pass.or(Exit::Pass), Exit::Pass);
    }
}
