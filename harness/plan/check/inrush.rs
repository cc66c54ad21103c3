//! How the numbers of an inrush scenario must fit together. What the bank does
//! is the bench's matter.

use super::super::inrush::Inrush;
use super::{At, Checks, SHORTEST_HALF_BIT, seconds};
use crate::units::Quantity;

/// Samples of a close look, at least: fewer show no peak.
const FEWEST: f64 = 100.0;

impl Checks<'_> {
    pub(super) fn inrush(&mut self, at: At<'_>, inrush: &Inrush) {
        self.pulse(at, "length", inrush.length, "time_to_start");
        // A half-bit that no sample falls into could not be told from a trip.
        let slowest = SHORTEST_HALF_BIT / 2.0;
        if inrush.coarse_period.si() > slowest {
            self.fault(
                at,
                "coarse_period",
                "this is too slow to tell a trip from a crossing".to_owned(),
                format!("{} or less", seconds(slowest)),
            );
        }
        self.sampling(at, inrush.sampling_period, &[]);
        let least = inrush.sampling_period.si() * FEWEST;
        if inrush.close_look.si() < least {
            self.fault(
                at,
                "close_look",
                "this is too short to see a peak in".to_owned(),
                format!("{} or more", seconds(least)),
            );
        }
    }
}
