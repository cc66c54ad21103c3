//! When a board that averages a fault's current begins to count its time, by where in
//! a half-bit the contact closed. It reads no capture.

use crate::measurement::rectangular;

/// Phases of the closing that are tried, and steps in the shorter of the loop's and the
/// board's time constant (our own choice, no source).
const PHASES: usize = 32;
const STEPS: f64 = 10.0;
/// The most steps in a half-bit, a multiple of the phases.
const MOST_STEPS: usize = 4096;
/// What a board averages over, in half-bits: it must be no shorter than a change of sign
/// lasts, and is no longer than it must (our own allowance, no source).
const AVERAGED: [f64; 3] = [0.5, 1.0, 2.0];

/// A loop that a contact closed onto an alternating voltage, in seconds.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Loop {
    /// Its time constant.
    pub(super) rise: f64,
    /// From one change of sign to the next.
    pub(super) half: f64,
    /// The level that counts, as a share of what the current rises to.
    pub(super) share: f64,
    /// When after the closing the contact parted again, and until when.
    pub(super) apart: Vec<(f64, f64)>,
}

impl Loop {
    /// Standard deviation, over all phases of the closing, of the time from the current
    /// reaching the level until the board counts: until its mean is above the level to
    /// stay (propagation of distributions, JCGM 101:2008, each phase as likely).
    ///
    /// A change of sign takes what the current lacks of its new way from that mean, and
    /// so does a contact that parts again; before the mean has grown, either may bring
    /// it back under the level, and the board begins anew. A sensor in one supply line
    /// sees what a change of sign drives back as negative, which takes the most.
    pub(super) fn spread(&self) -> f64 {
        let known = self.rise > 0.0 && self.half > 0.0 && (0.0..1.0).contains(&self.share);
        if !known {
            return 0.0;
        }
        let of = |halves: f64| self.averaged(halves * self.half);
        let spread = AVERAGED.iter().filter_map(|&halves| of(halves));
        // Where no mean outlasts a change of sign, somewhere in a half-bit.
        spread
            .reduce(f64::max)
            .unwrap_or(rectangular(self.half / 2.0))
    }

    /// The same of a board that averages with this time constant; none where every
    /// change of sign brings the mean under the level, so that it never trips.
    fn averaged(&self, constant: f64) -> Option<f64> {
        let least = self.rise.min(constant) / STEPS;
        let most = (MOST_STEPS / PHASES) as f64;
        let each = libm::ceil(self.half / least / PHASES as f64).clamp(1.0, most);
        let steps = each as usize * PHASES;
        let starts: Option<Vec<f64>> = (0..PHASES)
            .map(|phase| self.started(constant, steps, phase * steps / PHASES))
            .collect();
        let starts = starts?;
        let count = starts.len() as f64;
        let mean = starts.iter().sum::<f64>() / count;
        let squares: f64 = starts.iter().map(|at| (at - mean) * (at - mean)).sum();
        Some(libm::sqrt(squares / count))
    }

    /// From the level to the count, where the first change of sign comes `first` steps
    /// after the closing.
    fn started(&self, constant: f64, steps: usize, first: usize) -> Option<f64> {
        let step = self.half / steps as f64;
        let keeps = |time: f64| libm::exp(-step / time);
        let (rising, averaging) = (keeps(self.rise), keeps(constant));
        let joined = self.apart.iter().map(|(_, to)| *to).fold(0.0, f64::max);
        let watched = joined + 4.0 * self.half + 2.0 * constant;
        let most = (libm::ceil(watched / step) as usize).min(64 * MOST_STEPS);
        // Along the polarity, as shares of what the current rises to.
        let (mut current, mut mean) = (0.0, 0.0);
        let (mut reached, mut started) = (None, None);
        for index in 0..most {
            let at = index as f64 * step;
            if index >= first && (index - first).is_multiple_of(steps) {
                current = -current;
            }
            let before = current;
            let parted = self
                .apart
                .iter()
                .any(|(from, to)| (*from..*to).contains(&at));
            current = if parted {
                0.0
            } else {
                1.0 + (current - 1.0) * rising
            };
            mean += ((before + current) / 2.0 - mean) * (1.0 - averaging);
            if reached.is_none() && current.abs() >= self.share {
                reached = Some(at);
            }
            if mean < self.share {
                started = None;
                if index + steps > most {
                    return None;
                }
            } else if started.is_none() {
                started = Some(at);
            }
        }
        Some(started? - reached?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(rise: f64, share: f64, apart: &[(f64, f64)]) -> Loop {
        let apart = apart.to_vec();
        Loop {
            rise,
            half: 58e-6,
            share,
            apart,
        }
    }

    /// Closed form: a mean over a time constant F much longer than half-bits grows as
    /// the integral of the current, which a change of sign sets back by 2 tau (integral
    /// of 1 less 1 - 2 exp(-t / tau)). A level s is reached after s F without one, and
    /// 2 tau later with one before that, which comes in s F of all half-bits h: a
    /// deviation of 2 tau sqrt(p (1 - p)), p = s F / h.
    #[test]
    fn a_change_of_sign_before_the_count_sets_it_back_by_two_time_constants() {
        let (tau, constant) = (0.5e-6, 2e-3);
        for share in [0.25, 0.5, 0.75] {
            let level = share * 58e-6 / constant;
            let found = of(tau, level, &[]).averaged(constant).expect("it trips");
            let expected = 2.0 * tau * libm::sqrt(share * (1.0 - share));
            assert!((found / expected - 1.0).abs() < 0.1, "{found} {expected}");
        }
    }

    /// A contact that parts at b for g: the mean, 1 - exp(-b / F) by then, falls to
    /// exp(-g / F) of it (closed form of a first-order lag). Where that is above the
    /// level, nothing is lost but for changes of sign; where it is not, all begin anew,
    /// at whatever phase, and where only some phases fall under it, they are apart by
    /// about the whole time up to there.
    #[test]
    fn a_contact_that_bounces_early_sets_back_what_has_not_grown() {
        let constant = 58e-6;
        let (b, g) = (40e-6, 25e-6);
        let left = (1.0 - libm::exp(-b / constant)) * libm::exp(-g / constant);
        let calm = of(1e-6, 0.9 * left, &[])
            .averaged(constant)
            .expect("it trips");
        let kept = of(1e-6, 0.8 * left, &[(b, b + g)]);
        let kept = kept.averaged(constant).expect("it trips");
        assert!(kept < calm + 2e-6, "{kept} {calm}");
        let some = of(1e-6, 0.96 * left, &[(b, b + g)]);
        let some = some.averaged(constant).expect("it trips");
        assert!((10e-6..35e-6).contains(&some), "{some}");
    }

    /// A loop without inductance to speak of: what a change of sign costs goes with its
    /// time constant, of which no more steps are made than fit a half-bit.
    #[test]
    fn a_loop_of_no_time_constant_costs_less_than_a_step() {
        for rise in [f64::MIN_POSITIVE, 1e-30, 1e-12] {
            let found = of(rise, 0.5, &[]).spread();
            assert!((0.0..58e-6 / 32.0).contains(&found), "{rise}: {found}");
        }
    }

    /// A current that stays under the level on average never starts a count; what no
    /// mean outlasts is known to a half-bit. No time constant, no alternation: nothing.
    #[test]
    fn what_never_counts_is_known_to_a_half_bit() {
        let slow = of(58e-6, 0.9, &[]);
        assert_eq!(slow.spread(), rectangular(29e-6));
        for nothing in [
            of(0.0, 0.2, &[]),
            of(5e-6, 1.0, &[]),
            of(f64::NAN, 0.2, &[]),
        ] {
            assert_eq!(nothing.spread(), 0.0);
        }
    }
}
