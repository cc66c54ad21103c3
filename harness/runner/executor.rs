//! Drives each scenario of an order, turns what it saw into metrics and judges
//! them. It touches the bench and speaks through the journal; it stores and
//! shows nothing, and no limit is looked at before a scenario is over.

use super::journal::{Ended, Journal};
use super::order::{Captures, Order};
use super::session::Session;
use crate::bench::Bench;
use crate::clock::BenchInstant;
use crate::event::Event;
use crate::judgement::Verdict;
use crate::measurement::{Blame, Metric};
use crate::plan::{JudgedFinding, Scenario};
use crate::record::observation_bytes;
use crate::scenario::{self, Halt, Observation, Trouble};
use crate::waveform::Freshness;

/// Runs every scenario in order.
///
/// Returns whether the bench held out to the end: trouble in one scenario
/// leaves that scenario inconclusive and goes on, an instrument that is gone
/// ends the run.
///
/// # Errors
/// [`Ended`] when the dispatcher has stopped listening.
pub(super) async fn execute(
    order: &Order,
    bench: &mut Bench,
    journal: &Journal,
) -> Result<bool, Ended> {
    let mut freshness = Freshness::default();
    for (place, (_, scenario)) in order.plan.run().enumerate() {
        let begun = bench.now();
        let started = Event::ScenarioStarted {
            scenario: scenario.name.clone(),
            kind: scenario.kind.word().to_owned(),
        };
        journal.say(begun, started).await?;
        let first = place == 0;
        let seen = observe(order, (scenario, first), bench, journal, &mut freshness).await?;
        let absent = seen.halted.unwrap_or(Blame::Bench);
        let found = scenario.judged(seen.metrics, absent);
        let verdict = judge(found, bench.now(), journal).await?;
        if let Some(observation) = seen.unkept
            && verdict != Verdict::Pass
        {
            keep(scenario, &observation, bench.now(), journal).await?;
        }
        let took = (bench.now() - begun).seconds();
        let finished = Event::ScenarioFinished {
            scenario: scenario.name.clone(),
            verdict,
            took,
        };
        journal.say(bench.now(), finished).await?;
        if seen.gone {
            return Ok(false);
        }
        if seen.ends_the_run {
            return Ok(true);
        }
        if seen.draws_too_much {
            let event = Event::Trouble {
                scenario: Some(scenario.name.clone()),
                trouble: Trouble {
                    what: LIMITED.to_owned(),
                    blame: Blame::Board,
                },
            };
            journal.say(bench.now(), event).await?;
            return Ok(true);
        }
    }
    Ok(true)
}

/// Why a run ends after idle.
const LIMITED: &str = "without a load the supply came to its low current limit: the board is given \
     no more, the run ends here; look for a short on it, for swapped leads and for a wrong polarity";

/// What came of one scenario.
#[derive(Default)]
struct Seen {
    metrics: Vec<Metric>,
    /// What it saw, where that is kept only if the verdict asks for it.
    unkept: Option<Observation>,
    /// Who can mend what halted it.
    halted: Option<Blame>,
    /// The bench is gone.
    gone: bool,
    /// The board is not to be given the full voltage.
    ends_the_run: bool,
    /// The board draws too much at idle to be taken any further.
    draws_too_much: bool,
}

/// Drives one scenario and evaluates what it saw. Trouble becomes an event and
/// no metrics.
async fn observe(
    order: &Order,
    (scenario, first): (&Scenario, bool),
    bench: &mut Bench,
    journal: &Journal,
    freshness: &mut Freshness,
) -> Result<Seen, Ended> {
    let mut connected = Ok(());
    let driven = {
        let (plan, file) = (&order.plan, &order.bench);
        let mut session = Session::new(bench, journal, plan, file, scenario, freshness);
        if first {
            connected = scenario::connected(&mut session).await;
        }
        let driven = match &connected {
            Ok(()) => scenario.settings.drive(&mut session).await,
            Err(halt) => Err(halt.clone()),
        };
        let driven = match driven {
            Ok(observation) => scenario::witnessed(&mut session)
                .await
                .map(|()| observation),
            Err(halt) => Err(halt),
        };
        if matches!(driven, Err(Halt::Ended)) {
            return Err(Ended);
        }
        // Whatever happened, the next scenario starts from a quiet board.
        let quiet = scenario::quiet(&mut session).await;
        together(driven, quiet)
    };
    match driven {
        Ok(observation) => {
            let all = order.captures == Captures::All;
            if all {
                // Before anything is made of it, which might go wrong.
                keep(scenario, &observation, bench.now(), journal).await?;
            }
            let context = scenario.settings.context(&order.plan.ratings, &order.bench);
            Ok(Seen {
                draws_too_much: limited_at_idle(&observation),
                metrics: scenario::evaluate(&scenario.name, &context, &observation),
                unkept: (!all).then_some(observation),
                ..Seen::default()
            })
        }
        Err(Halt::Ended) => Err(Ended),
        Err(Halt::Trouble {
            what,
            blame,
            bench_is_gone,
        }) => {
            let event = Event::Trouble {
                scenario: Some(scenario.name.clone()),
                trouble: Trouble { what, blame },
            };
            journal.say(bench.now(), event).await?;
            Ok(Seen {
                halted: Some(blame),
                ends_the_run: connected.is_err(),
                gone: bench_is_gone,
                ..Seen::default()
            })
        }
    }
}

/// What came of a scenario and of the quiet after it: a bench that is not at rest
/// outweighs whatever went wrong before.
fn together(
    driven: Result<Observation, Halt>,
    quiet: Result<(), Halt>,
) -> Result<Observation, Halt> {
    match (driven, quiet) {
        (driven, Ok(())) => driven,
        (Ok(_), Err(quiet)) => Err(quiet),
        (Err(before), Err(quiet)) if before.ends_the_run() || !quiet.ends_the_run() => Err(before),
        (Err(before), Err(quiet)) => Err(Halt::danger(format!("{quiet}; before that: {before}"))),
    }
}

/// Whether the supply came to its low current limit at idle: whatever draws that
/// much without a load is not to be given more.
fn limited_at_idle(observation: &Observation) -> bool {
    let Observation::Idle(seen) = observation else {
        return false;
    };
    let mut steps = seen.steps.iter();
    steps.any(|step| step.take.supply_protected)
}

async fn keep(
    scenario: &Scenario,
    observation: &Observation,
    now: BenchInstant,
    journal: &Journal,
) -> Result<(), Ended> {
    let bytes = observation_bytes(observation);
    journal.observed(now, &scenario.name, bytes).await
}

/// Says how each metric was judged.
async fn judge(
    judged: Vec<JudgedFinding>,
    now: BenchInstant,
    journal: &Journal,
) -> Result<Verdict, Ended> {
    let mut verdicts = Vec::new();
    for JudgedFinding {
        metric,
        limit,
        decision,
    } in judged
    {
        verdicts.extend(decision.as_ref().map(|decision| decision.verdict));
        let measured = Event::Measured {
            metric,
            limit,
            decision,
        };
        journal.say(now, measured).await?;
    }
    Ok(Verdict::overall(verdicts))
}
