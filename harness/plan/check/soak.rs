//! How the numbers of a soak scenario must fit together. How long a board
//! takes to warm up, only the measurement tells.

use super::super::soak::Soak;
use super::{At, Checks, seconds};
use crate::units::Quantity;

/// Looks at a board that is warming up, at least: three are the exponential's
/// own, and the rest must show whether it fits.
const FEWEST: f64 = 8.0;
/// The most; each costs bench time and memory.
const MOST: f64 = 2000.0;

impl Checks<'_> {
    pub(super) fn soak(&mut self, at: At<'_>, soak: &Soak) {
        let rated = self.plan.ratings.rated_current;
        // A thousandth more is rounding, not intent.
        if soak.current > rated * 1.001 {
            self.fault(
                at,
                "current",
                "this is above the rated current, which alone the board carries for ever"
                    .to_owned(),
                format!("{rated} or less"),
            );
        }
        let (length, interval) = (soak.length.si(), soak.interval.si());
        if interval <= 0.0 || length / interval < FEWEST {
            self.fault(
                at,
                "interval",
                "so few looks show no steady temperature".to_owned(),
                format!("more than zero and {} at most", seconds(length / FEWEST)),
            );
        } else if length / interval > MOST {
            self.fault(
                at,
                "interval",
                "so many looks say no more than fewer would".to_owned(),
                format!("{} or more", seconds(length / MOST)),
            );
        }
        self.held(at, &soak.polarities, soak.length, "length");
        if let Some(upper) = at.upper("thermal_time_constant")
            && length < 2.0 * upper
        {
            self.fault(
                at,
                "length",
                "this is less than two of the longest time constants allowed, so nothing could \
                 be extrapolated"
                    .to_owned(),
                format!("{} or more", seconds(2.0 * upper)),
            );
        }
    }
}
