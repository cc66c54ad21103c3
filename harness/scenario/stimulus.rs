//! Whether what a scenario asked of supply, load and signal source is what came: one check
//! for every room, which only says what it asked in each take. It judges no
//! board: a stimulus outside its tolerance is the bench's.
//!
//! The tolerance is three standard uncertainties of what was captured (gain,
//! zero and sensor as profile and bench file state them; k = 3 leaves 0.3 % of
//! right stimuli outside even without the rest) and a house allowance, which
//! covers how well a supply or a load follows its setting: loads are stated to
//! a few parts in a thousand and some milliamperes, supplies to less (common
//! practice, no source). It finds a stimulus that is grossly wrong; what a
//! right one is worth is in each metric's own uncertainty.

use super::context::Context;
use super::take::Take;
use super::terms::Polarity;
use crate::measurement::{Blame, Estimate, Finding, Metric, combined};
use crate::units::{Amperes, Dimension, Quantity, Volts, show};
use crate::waveform::{LogicLine, LogicTrack, Signal, Trace, shows_one_code};

/// Coverage factor of the captured value.
const COVERAGE: f64 = 3.0;
/// House allowance for a load's current: this part of what was asked ...
const CURRENT_PART: f64 = 0.05;
/// ... and this part of the rated current.
const RATED_PART: f64 = 0.02;
/// House allowance for the supply rail, upwards and downwards.
const RAIL_PART: f64 = 0.03;
/// What leads and a diode before the rail may take besides.
pub(super) const RAIL_DROP: f64 = 1.0;
/// An output with this part of the supply voltage drives its load: what flows
/// then is the load's doing, below it may be the board's.
const DRIVES: f64 = 0.5;
/// One with less than this part of it is off.
const DEAD: f64 = 0.1;
/// Fewer samples on a level say nothing.
const FEWEST: usize = 32;
/// The output must be on a level for this part of a look: a board that trips
/// again and again is the board's own matter.
const MOSTLY: f64 = 0.5;
/// An input line that is held may show the other level for this part of a look: what
/// couples into it is no other signal (a house value).
const STRAY: f64 = 0.01;
/// A look at fewer half-bits need not show both levels.
const HALF_BITS: f64 = 4.0;

/// What was asked of the bench in one take.
#[derive(Clone, Copy, Debug)]
pub(super) struct Asked<'a> {
    /// The take.
    pub(super) take: &'a Take,
    /// What was asked of the supply.
    pub(super) rail: Rail,
    /// What was asked of the load.
    pub(super) load: Load,
    /// What was asked of the signal source.
    pub(super) inputs: Inputs,
    /// What was asked of the board's output.
    pub(super) output: Output,
}

/// What was asked of the board's output.
#[derive(Clone, Copy, Debug)]
pub(super) enum Output {
    /// To follow its inputs for as long as they alternate.
    Follows,
    /// The same, unless the board trips: then it stands at nothing.
    MayTrip,
    /// Nothing that a standing output breaks, and why.
    MayStand(
        #[cfg_attr(not(test), expect(dead_code, reason = "a statement for the reader"))]
        &'static str,
    ),
}

/// What was asked of the signal source.
#[derive(Clone, Copy, Debug)]
pub(super) enum Inputs {
    /// The board's inputs driven so, all through the take.
    Driven(Polarity),
    /// Nothing that could be looked for here, and why.
    #[cfg_attr(not(test), expect(dead_code, reason = "a statement for the reader"))]
    Unchecked(&'static str),
}

/// What was asked of the supply.
#[derive(Clone, Copy, Debug)]
pub(super) enum Rail {
    /// The rated voltage, all through the take.
    Rated,
    /// The rated voltage until the provocation, which may pull it anywhere.
    RatedBefore,
    /// This voltage, all through the take.
    At(Volts),
    /// Nothing that could be looked for, and why.
    #[cfg_attr(not(test), expect(dead_code, reason = "a statement for the reader"))]
    Unchecked(&'static str),
}

/// What was asked of the load.
#[derive(Clone, Copy, Debug)]
pub(super) enum Load {
    /// Nothing, or this current all through the take.
    Current(Amperes),
    /// This current from the trigger on, for the length of the pulse.
    Pulse(Amperes),
    /// As a resistance that draws this current at the rated voltage.
    Resistance(Amperes),
    /// This current where no channel sees it, and the load's own reading.
    Metered(Amperes, Option<Estimate>),
    /// Nothing that could be looked for, and why.
    #[cfg_attr(not(test), expect(dead_code, reason = "a statement for the reader"))]
    Unchecked(&'static str),
}

/// Metrics of a scenario whose stimulus was not what was asked are not known,
/// and the bench is to blame; those of any other stay as they are.
pub(super) fn hold_back(metrics: &mut [Metric], asked: &[Asked<'_>], context: &Context) {
    let departures: Vec<String> = asked
        .iter()
        .flat_map(|asked| departures(asked, context))
        .collect();
    let Some(first) = departures.first() else {
        return;
    };
    let more = match departures.len() - 1 {
        0 => String::new(),
        others => format!(" (and {others} more like it)"),
    };
    for metric in metrics {
        // What its room says of the bench is closer to the point.
        if let Finding::Unknown {
            blame: Blame::Bench,
            ..
        } = metric.finding
        {
            continue;
        }
        if metric.finding.estimate().is_some() {
            let read = metric.finding.show(metric.dimension);
            metric.notes.push(format!("read as {read}"));
        }
        metric.finding = Finding::unknown(Blame::Bench, format!("{first}{more}"));
    }
}

/// In words, how supply, load and signal source departed from what was asked of them.
fn departures(asked: &Asked<'_>, context: &Context) -> impl Iterator<Item = String> {
    let rail = rail_departs(asked, context);
    let load = load_departs(asked, context);
    let inputs = inputs_depart(asked, context);
    let output = output_unseen(asked, context);
    rail.into_iter().chain(load).chain(inputs).chain(output)
}

/// A channel that shows one code while the output was to alternate: an output that
/// stands, or a channel that does. Nothing in the take tells them apart, so no board is
/// judged by it.
fn output_unseen(asked: &Asked<'_>, context: &Context) -> Option<String> {
    let capture = &asked.take.capture;
    let channel = capture.channel(Signal::NodeVoltage)?;
    let level = || channel.offset + channel.scale * f64::from(channel.codes[0]);
    let unlike = match asked.output {
        Output::Follows => shows_one_code(channel),
        Output::MayTrip => {
            shows_one_code(channel) && level().abs() > DEAD * context.supply_voltage.si()
        }
        Output::MayStand(_) => false,
    };
    if !unlike || !alternates(asked, context) {
        return None;
    }
    Some(format!(
        "every sample of the output voltage is the same while the board's inputs alternate ({}): \
         a channel that takes no samples looks like this, and so does a dead output on a channel \
         without noise: look at the capture device with a signal that is known, or measure the \
         output with another instrument",
        capture.label
    ))
}

/// Whether the board's inputs alternate in the take, at first at least: as a line shows
/// it, or else as it was asked.
fn alternates(asked: &Asked<'_>, context: &Context) -> bool {
    let capture = &asked.take.capture;
    let length = capture.len() as f64 * capture.period.si();
    match (capture.line(LogicLine::SignalA), asked.inputs) {
        (Some(line), _) => line.changes.len() as f64 >= HALF_BITS,
        (None, Inputs::Driven(Polarity::Alternating)) => {
            length >= HALF_BITS * context.half_bit.si()
        }
        (None, _) => false,
    }
}

/// The board's first input, where a line shows it: it is high in the positive half.
fn inputs_depart(asked: &Asked<'_>, context: &Context) -> Option<String> {
    let Inputs::Driven(polarity) = asked.inputs else {
        return None;
    };
    let capture = &asked.take.capture;
    let line = capture.line(LogicLine::SignalA)?;
    let high = share_high(line, capture.len())?;
    let right = match polarity {
        Polarity::Positive => high >= 1.0 - STRAY,
        Polarity::Negative => high <= STRAY,
        Polarity::Alternating => {
            let (period, half) = (capture.period.si(), context.half_bit.si());
            // Samples that come less often than half-bits may all find the same half.
            let shows = period <= half && capture.len() as f64 * period >= HALF_BITS * half;
            !shows || (STRAY..=1.0 - STRAY).contains(&high)
        }
    };
    (!right).then(|| {
        format!(
            "the board's inputs were to be driven {} and its first one was high for {} of the \
             time ({}): look at the signal source and its wires",
            polarity.word(),
            show(high, Dimension::Ratio),
            capture.label
        )
    })
}

/// The part of `samples` in which a line is high; `None` of none.
fn share_high(line: &LogicTrack, samples: usize) -> Option<f64> {
    let (mut level, mut from, mut high) = (line.initial, 0, 0);
    for &change in &line.changes {
        let change = (change as usize).clamp(from, samples);
        high += if level { change - from } else { 0 };
        (level, from) = (!level, change);
    }
    high += if level { samples - from } else { 0 };
    (samples > 0).then(|| high as f64 / samples as f64)
}

fn rail_departs(asked: &Asked<'_>, context: &Context) -> Option<String> {
    let (voltage, until) = match asked.rail {
        Rail::Rated => (context.supply_voltage.si(), f64::INFINITY),
        Rail::RatedBefore => (context.supply_voltage.si(), 0.0),
        Rail::At(voltage) => (voltage.si(), f64::INFINITY),
        Rail::Unchecked(_) => return None,
    };
    let take = asked.take;
    // A supply that says that it limits is no secret: each room looks at that.
    if take.supply_protected {
        return None;
    }
    let trace = Trace::of(&take.capture, Signal::BoardSupply)?;
    let mut values = trace.window(trace.first(), until).to_vec();
    let found = quantile(&mut values, 0.5)?;
    let own = COVERAGE * combined([trace.scale_u(found), trace.sample_u()]);
    let above = own + RAIL_PART * voltage;
    let below = above + RAIL_DROP;
    if found <= voltage + above && found >= voltage - below {
        return None;
    }
    let (wanted, found) = (
        show(voltage, Dimension::Voltage),
        show(found, Dimension::Voltage),
    );
    Some(format!(
        "{wanted} were asked of the supply and the rail had {found} ({}): look at supply, leads \
         and the rail's channel",
        take.capture.label
    ))
}

fn load_departs(asked: &Asked<'_>, context: &Context) -> Option<String> {
    let take = asked.take;
    // Protections are said, and each room looks at them.
    if take.load_protected || take.supply_protected {
        return None;
    }
    let whole = (f64::NEG_INFINITY, f64::INFINITY);
    let (wanted, drawn) = match asked.load {
        Load::Current(amperes) => (amperes, Drawn::seen(take, whole, MOSTLY, context)?),
        Load::Pulse(amperes) => {
            // The load's clock and the capture's need not agree better than that.
            let window = (0.0, 0.98 * take.pulse.si());
            (amperes, Drawn::seen(take, window, 0.0, context)?)
        }
        Load::Resistance(amperes) => {
            let drawn = Drawn::seen(take, whole, MOSTLY, context)?;
            let part = drawn.voltage / context.supply_voltage.si().max(f64::MIN_POSITIVE);
            (amperes * part, drawn)
        }
        Load::Metered(amperes, reading) => (amperes, Drawn::read(reading?)),
        Load::Unchecked(_) => return None,
    };
    let wanted = wanted.si().abs();
    let bleeder = context.bleeder.map_or(0.0, |bleeder| {
        drawn.voltage / bleeder.si().max(f64::MIN_POSITIVE)
    });
    let expected = wanted + bleeder;
    let tolerance =
        COVERAGE * drawn.u + CURRENT_PART * wanted + RATED_PART * context.rated_current.si().abs();
    let found = if drawn.most < expected - tolerance {
        drawn.most
    } else if drawn.middle > expected + tolerance {
        drawn.middle
    } else {
        return None;
    };
    let (wanted, found) = (
        show(wanted, Dimension::Current),
        show(found, Dimension::Current),
    );
    Some(format!(
        "{wanted} were asked of the load and {found} flowed ({}): look at load, leads and \
         current sensor",
        take.capture.label
    ))
}

/// What flowed while the output drove it.
struct Drawn {
    /// The magnitude that nine of ten samples stay under.
    most: f64,
    /// The median magnitude.
    middle: f64,
    /// Standard uncertainty of either.
    u: f64,
    /// Median magnitude of the output voltage; zero where it says nothing.
    voltage: f64,
}

impl Drawn {
    /// What `take` shows between the instants `from` and `to`; `None` where
    /// nobody sees it, or the output is on a level for less than the `part` of
    /// that time.
    fn seen(take: &Take, (from, to): (f64, f64), part: f64, context: &Context) -> Option<Self> {
        let voltage = Trace::of(&take.capture, Signal::NodeVoltage)?;
        let current = Trace::of(&take.capture, Signal::OutputCurrent)?;
        let (start, end) = (voltage.index_from(from), voltage.index_from(to));
        let end = end.min(current.len());
        let watched = end.saturating_sub(start);
        let kept = on_level(&voltage, (start, end), context);
        if kept.len() < FEWEST || (kept.len() as f64) < part * watched as f64 {
            return None;
        }
        let magnitudes = |trace: &Trace| -> Vec<f64> {
            let values = trace.values();
            kept.iter().map(|&index| values[index].abs()).collect()
        };
        let mut amperes = magnitudes(&current);
        let most = quantile(&mut amperes, 0.9)?;
        let middle = quantile(&mut amperes, 0.5)?;
        let voltage = quantile(&mut magnitudes(&voltage), 0.5)?;
        Some(Self {
            most,
            middle,
            u: combined([current.scale_u(most), current.sample_u()]),
            voltage,
        })
    }

    /// The load's own reading.
    fn read(reading: Estimate) -> Self {
        let value = reading.value.abs();
        Self {
            most: value,
            middle: value,
            u: reading.u,
            voltage: 0.0,
        }
    }
}

/// The samples from `start` on and before `end` in which the output drives its
/// load, those about a crossing left out.
fn on_level(voltage: &Trace, (start, end): (usize, usize), context: &Context) -> Vec<usize> {
    let level = DRIVES * context.supply_voltage.si().abs();
    let reach = libm::ceil(context.crossing.si().max(0.0) / voltage.period());
    let reach = reach.min(1e6) as usize;
    let side = |value: f64| match value {
        _ if value >= level => 1,
        _ if value <= -level => -1,
        _ => 0,
    };
    let values = &voltage.values()[..end];
    let mut kept = Vec::new();
    let mut begin = start;
    while begin < end {
        let here = side(values[begin]);
        let run = values[begin..].iter().take_while(|&&v| side(v) == here);
        let next = begin + run.count().max(1);
        if here != 0 {
            kept.extend(begin + reach..next.saturating_sub(reach).max(begin + reach));
        }
        begin = next;
    }
    kept
}

/// The value that the `part` of `values` stays under; `None` of none.
fn quantile(values: &mut [f64], part: f64) -> Option<f64> {
    let place = (values.len() as f64 * part) as usize;
    let place = place.min(values.len().checked_sub(1)?);
    let (_, found, _) = values.select_nth_unstable_by(place, f64::total_cmp);
    Some(*found)
}

#[cfg(test)]
mod tests;
