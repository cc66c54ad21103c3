//! The worst that one pulse can do: prospective current, let-through and
//! energy, each from a closed form. The board is taken never to trip, and the
//! supply to push its limit for the whole time. No envelope is known here.

use super::state::SupplyState;
use crate::bench_file::{BankEntry, Loop, UpstreamEntry};
use crate::units::{Amperes, Farads, Quantity, Seconds, Volts};

/// The worst that one pulse can do, in SI units: amperes, ampere squared
/// seconds and joules. Infinite where nothing limits it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Worst {
    pub(super) current: f64,
    pub(super) let_through: f64,
    pub(super) energy: f64,
}

impl Worst {
    /// A supply that comes on under its current limit charges the capacitors
    /// on the board's rail: C V^2 / 2.
    pub(super) fn of_supply(voltage: Volts, limit: Amperes, bulk: Farads) -> Self {
        Self {
            current: limit.si(),
            let_through: 0.0,
            energy: stored(bulk, voltage),
        }
    }

    /// A load that draws its current until it is told otherwise: what passes is
    /// what the board is made to pass.
    pub(super) fn of_load(current: Amperes) -> Self {
        Self {
            current: current.si(),
            let_through: 0.0,
            energy: 0.0,
        }
    }

    /// A pulse of the load: I^2 t, and I V t.
    pub(super) fn of_load_pulse(current: Amperes, voltage: Volts, duration: Seconds) -> Self {
        let (i, t) = (current.si(), duration.si());
        Self {
            current: i,
            let_through: i * i * t,
            energy: i * voltage.si() * t,
        }
    }

    /// A short: the bulk capacitors empty into the loop while the supply goes
    /// on feeding it.
    ///
    /// With the capacitor's current i and the supply's I, the let-through is
    /// the integral of (i + I)^2: at most C V^2 / 2R for the capacitor alone
    /// (all its energy in the loop's resistance), 2 I C V for both (its
    /// charge), and I^2 t; never more than (V / R)^2 t, since at no time more
    /// than V / R flows.
    pub(super) fn of_short(
        short: &Loop,
        supply: SupplyState,
        bulk: Farads,
        duration: Seconds,
    ) -> Self {
        let (v, t) = (short.voltage.si(), duration.si());
        let resistance = short.resistance.si();
        let prospective = v / resistance;
        let fed = supply.limit.si().min(prospective);
        let stored = stored(bulk, short.voltage);
        let let_through = stored / resistance + 2.0 * fed * bulk.si() * v + fed * fed * t;
        Self {
            current: prospective,
            let_through: let_through.min(prospective * prospective * t),
            energy: stored + fed * v * t,
        }
    }

    /// An empty bank takes its charge through the loop's resistance, where as
    /// much energy stays as in the bank: C V^2 / 2 each.
    pub(super) fn of_bank(bank: &BankEntry, through: &Loop, duration: Seconds) -> Self {
        let sustained = Self::of_resistor(through, duration);
        let stored = stored(bank.capacitance, through.voltage);
        Self {
            let_through: (stored / through.resistance.si()).min(sustained.let_through),
            energy: 2.0 * stored,
            ..sustained
        }
    }

    /// A resistor carries V / R for the whole time.
    pub(super) fn of_resistor(through: &Loop, duration: Seconds) -> Self {
        let (v, t) = (through.voltage.si(), duration.si());
        let current = v / through.resistance.si();
        Self {
            current,
            let_through: current * current * t,
            energy: current * v * t,
        }
    }

    /// A gap closed against the other phase: both sources drive the loop until
    /// the upstream trips, which the bench file states.
    pub(super) fn of_gap(gap: &Loop, upstream: &UpstreamEntry, duration: Seconds) -> Self {
        let current = gap.current();
        let trips = current >= upstream.trip_current && upstream.trip_time < duration;
        let time = if trips { upstream.trip_time } else { duration };
        Self::of_load_pulse(current, gap.voltage, time)
    }
}

/// The energy of a capacitor: C V^2 / 2.
fn stored(capacitance: Farads, voltage: Volts) -> f64 {
    let v = voltage.si();
    0.5 * capacitance.si() * v * v
}
