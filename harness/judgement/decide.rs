//! The decision itself: a finding against a limit. Pure arithmetic, no text
//! but the reason it gives.

use super::{DecisionRule, Limit, Verdict};
use crate::measurement::{Blame, COVERAGE, Finding};
use serde::{Deserialize, Serialize};

/// A verdict with its reason.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    /// The verdict.
    pub verdict: Verdict,
    /// Distance from the value or bound to the nearer limit in SI units,
    /// positive inside; `None` where nothing was measured.
    pub margin: Option<f64>,
    /// Why, in a few words, for the record and the screen.
    pub reason: String,
    /// Who can mend it, where the verdict is not the board's.
    pub blame: Option<Blame>,
}

/// Judges `finding` against `limit`.
///
/// A value exactly on a limit, or exactly on a guard band's edge, passes.
/// A bound decides a limit only where every value it allows is on one side of
/// it, the guard band included; otherwise the result is inconclusive.
///
/// What is not a number decides nothing: compared with it every limit would be
/// met or none, so a value, an uncertainty, a limit or a guard band that is not
/// finite is inconclusive.
pub fn decide(finding: &Finding, limit: &Limit) -> Decision {
    if let Some((what, blame)) = not_finite(finding, limit) {
        return Decision {
            verdict: Verdict::Inconclusive,
            margin: None,
            reason: format!("{what} is not a finite number"),
            blame: Some(blame),
        };
    }
    let zones = Zones::of(limit);
    match finding {
        Finding::Value(estimate) => {
            let (value, expanded) = (estimate.value, estimate.expanded());
            let margin = zones.margin(value);
            zones.judge_value(margin, expanded)
        }
        // The truth lies anywhere from the bound upwards.
        Finding::Above(bound) => zones.judge_bound(
            limit.upper.map(|upper| upper - bound.value),
            limit.lower.map(|lower| bound.value - lower),
            limit.upper.is_none(),
            bound.expanded(),
            "at least",
        ),
        Finding::Below(bound) => zones.judge_bound(
            limit.lower.map(|lower| bound.value - lower),
            limit.upper.map(|upper| upper - bound.value),
            limit.lower.is_none(),
            bound.expanded(),
            "at most",
        ),
        Finding::Unknown { reason, blame } => Decision {
            verdict: Verdict::Inconclusive,
            margin: None,
            reason: reason.clone(),
            blame: Some(*blame),
        },
    }
}

/// What of a judgement is not finite, and whose fault that is.
fn not_finite(finding: &Finding, limit: &Limit) -> Option<(&'static str, Blame)> {
    let finite = |number: f64| number.is_finite();
    let (value, u) = match finding {
        Finding::Value(e) | Finding::Above(e) | Finding::Below(e) => (e.value, e.u),
        Finding::Unknown { .. } => return None,
    };
    let guard = match limit.rule {
        DecisionRule::Simple => 0.0,
        DecisionRule::GuardedAcceptance { guard } | DecisionRule::GuardedRejection { guard } => {
            guard
        }
    };
    if !finite(value) {
        Some(("the value", Blame::Bench))
    } else if !finite(COVERAGE * u) {
        Some(("its uncertainty", Blame::Bench))
    } else if ![limit.lower, limit.upper].into_iter().flatten().all(finite) {
        Some(("the limit", Blame::Plan))
    } else if !finite(guard * COVERAGE * u) {
        Some(("the guard band", Blame::Plan))
    } else {
        None
    }
}

/// The acceptance and rejection edges of a limit, as multiples of U inside it.
struct Zones<'a> {
    limit: &'a Limit,
    /// Passing needs a margin of at least this many U.
    pass_at: f64,
    /// Failing needs a margin below this many U.
    fail_below: f64,
}

impl<'a> Zones<'a> {
    fn of(limit: &'a Limit) -> Self {
        let (pass_at, fail_below) = match limit.rule {
            DecisionRule::Simple => (0.0, 0.0),
            DecisionRule::GuardedAcceptance { guard } => (guard, -guard),
            DecisionRule::GuardedRejection { guard } => (-guard, -guard),
        };
        Self {
            limit,
            pass_at,
            fail_below,
        }
    }

    /// Distance to the nearer limit, positive inside; unlimited is infinite.
    fn margin(&self, value: f64) -> f64 {
        let above = self
            .limit
            .lower
            .map_or(f64::INFINITY, |lower| value - lower);
        let below = self
            .limit
            .upper
            .map_or(f64::INFINITY, |upper| upper - value);
        above.min(below)
    }

    fn judge_value(&self, margin: f64, expanded: f64) -> Decision {
        let (verdict, reason) = if margin >= self.pass_at * expanded {
            (Verdict::Pass, "within the limit")
        } else if margin < self.fail_below * expanded {
            (Verdict::Fail, "outside the limit")
        } else {
            (
                Verdict::Inconclusive,
                "nearer to the limit than the guard band allows",
            )
        };
        Decision {
            verdict,
            margin: margin.is_finite().then_some(margin),
            reason: reason.to_owned(),
            blame: (verdict == Verdict::Inconclusive).then_some(Blame::Bench),
        }
    }

    /// `ahead` is the margin to the limit that the truth may run past, `behind`
    /// the margin to the limit it moves away from.
    fn judge_bound(
        &self,
        ahead: Option<f64>,
        behind: Option<f64>,
        open_ahead: bool,
        expanded: f64,
        words: &str,
    ) -> Decision {
        let beyond = ahead.is_some_and(|margin| margin < self.fail_below * expanded);
        let safely_inside =
            open_ahead && behind.is_none_or(|margin| margin >= self.pass_at * expanded);
        let (verdict, reason) = if beyond {
            (
                Verdict::Fail,
                format!("{words} this bound, which is outside the limit"),
            )
        } else if safely_inside {
            (
                Verdict::Pass,
                format!("{words} this bound, which is within the limit"),
            )
        } else {
            (
                Verdict::Inconclusive,
                format!("{words} this bound, which does not reach the limit"),
            )
        };
        Decision {
            verdict,
            margin: if beyond { ahead } else { behind.or(ahead) },
            reason,
            blame: (verdict == Verdict::Inconclusive).then_some(Blame::Plan),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::Estimate;

    fn limit(lower: Option<f64>, upper: Option<f64>, rule: DecisionRule) -> Limit {
        Limit {
            lower,
            upper,
            rule,
            source: "test".into(),
        }
    }

    /// The zones of ILAC-G8:09/2019 (from memory) with w = U on 9 to 11,
    /// U = 0.2. Its "conditional pass" and "conditional fail" are what this
    /// project calls inconclusive under guarded acceptance.
    #[test]
    fn guarded_acceptance_has_the_published_zones() {
        let rule = DecisionRule::GuardedAcceptance { guard: 1.0 };
        let limit = limit(Some(9.0), Some(11.0), rule);
        for (y, verdict) in [
            (9.0, Verdict::Inconclusive),
            (9.19, Verdict::Inconclusive),
            (9.21, Verdict::Pass),
            (10.0, Verdict::Pass),
            (10.79, Verdict::Pass),
            (10.81, Verdict::Inconclusive),
            (11.0, Verdict::Inconclusive),
            (11.01, Verdict::Inconclusive),
            (11.21, Verdict::Fail),
            (8.99, Verdict::Inconclusive),
            (8.79, Verdict::Fail),
        ] {
            let decision = decide(&Finding::Value(Estimate::new(y, 0.1)), &limit);
            assert_eq!(decision.verdict, verdict, "{y}");
        }
    }

    #[test]
    fn a_bound_decides_only_what_it_proves() {
        let upper = limit(None, Some(0.1), DecisionRule::Simple);
        let lower = limit(Some(0.1), None, DecisionRule::Simple);
        let both = limit(Some(0.05), Some(0.1), DecisionRule::Simple);
        let above = |x| Finding::Above(Estimate::new(x, 0.0));
        let below = |x| Finding::Below(Estimate::new(x, 0.0));
        for (finding, limit, verdict) in [
            (above(0.198), &upper, Verdict::Fail),
            (above(0.05), &upper, Verdict::Inconclusive),
            (above(0.198), &lower, Verdict::Pass),
            (above(0.05), &lower, Verdict::Inconclusive),
            (above(0.07), &both, Verdict::Inconclusive),
            (above(0.2), &both, Verdict::Fail),
            (below(12e-6), &upper, Verdict::Pass),
            (below(0.2), &upper, Verdict::Inconclusive),
            (below(12e-6), &lower, Verdict::Fail),
            (below(0.2), &lower, Verdict::Inconclusive),
        ] {
            assert_eq!(
                decide(&finding, limit).verdict,
                verdict,
                "{finding:?} {limit:?}"
            );
        }
    }

    #[test]
    fn an_unknown_is_never_a_pass() {
        let unlimited = limit(None, None, DecisionRule::Simple);
        let decision = decide(&Finding::unknown(Blame::Bench, "clipped"), &unlimited);
        assert_eq!(
            (decision.verdict, decision.blame),
            (Verdict::Inconclusive, Some(Blame::Bench))
        );
    }

    /// Neither a value nor a bound, neither an uncertainty nor a limit that is
    /// not a number passes, or fails, against a limit on one side or both.
    #[test]
    fn what_is_not_finite_decides_nothing() {
        let numbers = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.5];
        let estimates = numbers
            .iter()
            .flat_map(|value| numbers.map(|u| Estimate { value: *value, u }));
        let rules = [
            DecisionRule::Simple,
            DecisionRule::GuardedAcceptance { guard: 1.0 },
            DecisionRule::GuardedRejection { guard: 1.0 },
            DecisionRule::GuardedAcceptance { guard: f64::NAN },
        ];
        let sides = [
            None,
            Some(0.0),
            Some(1.0),
            Some(f64::NAN),
            Some(f64::INFINITY),
        ];
        let mut judged = 0;
        for estimate in estimates {
            for (rule, lower) in rules
                .iter()
                .flat_map(|rule| sides.map(|lower| (*rule, lower)))
            {
                for upper in sides {
                    let limit = limit(lower, upper, rule);
                    let unsound = [estimate.value, estimate.u]
                        .into_iter()
                        .chain(lower)
                        .chain(upper)
                        .any(|number| !number.is_finite())
                        || rule.to_string().contains("NaN");
                    for finding in [
                        Finding::Value(estimate),
                        Finding::Above(estimate),
                        Finding::Below(estimate),
                    ] {
                        let decision = decide(&finding, &limit);
                        if unsound {
                            assert_eq!(
                                decision.verdict,
                                Verdict::Inconclusive,
                                "{finding:?} {limit:?}"
                            );
                            assert!(decision.reason.ends_with("is not a finite number"));
                            assert!(decision.blame.is_some());
                            judged += 1;
                        }
                    }
                }
            }
        }
        assert!(judged > 1000, "{judged}");
        let sound = decide(
            &Finding::Value(Estimate::new(0.5, 0.1)),
            &limit(None, Some(1.0), DecisionRule::Simple),
        );
        assert_eq!(sound.verdict, Verdict::Pass);
    }

    proptest::proptest! {
        /// A wider guard band never turns a fail into a pass.
        #[test]
        fn a_wider_guard_band_never_helps(
            value in -2.0_f64..2.0, u in 0.0_f64..1.0, narrow in 0.0_f64..2.0, more in 0.0_f64..2.0,
            censored in 0_u8..3,
        ) {
            let finding = match censored {
                0 => Finding::Value(Estimate::new(value, u)),
                1 => Finding::Above(Estimate::new(value, u)),
                _ => Finding::Below(Estimate::new(value, u)),
            };
            let judge = |guard| {
                let rule = DecisionRule::GuardedAcceptance { guard };
                decide(&finding, &limit(Some(-1.0), Some(1.0), rule)).verdict
            };
            let (before, after) = (judge(narrow), judge(narrow + more));
            proptest::prop_assert!(!(before != Verdict::Pass && after == Verdict::Pass));
        }
    }
}
