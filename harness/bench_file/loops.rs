//! The loops that the bench's branches close round a board: what drives each,
//! its resistance and its inductance. Whether that may flow is not asked here.

use super::{Bench, Closes, Isolation};
use crate::units::{Amperes, Henries, Ohms, Quantity, Seconds, Volts};

/// Two boosters of one kind differ in delay by less than this (common practice,
/// no source).
pub const DELAY_DIFFERENCE: Seconds = Seconds::new(2e-6);

/// A closed loop through the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// What drives it.
    pub voltage: Volts,
    /// All its resistance.
    pub resistance: Ohms,
    /// Its inductance outside the board: leads, contacts and what stands at
    /// the far end.
    pub inductance: Henries,
}

impl Loop {
    /// The current that the voltage drives through the resistance, Ohm's law;
    /// without a resistance more than any that may flow.
    pub fn current(&self) -> Amperes {
        let current = Amperes::from_si(self.voltage.si() / self.resistance.si());
        current.unwrap_or(Amperes::new(f64::MAX))
    }

    /// How long a spike lasts where an edge comes later at one end of the loop
    /// than at the other: the difference in delay, and three time constants
    /// L/R, after which a twentieth of it is left.
    fn edge_spike(&self) -> Seconds {
        let decay = 3.0 * self.inductance.si() / self.resistance.si();
        Seconds::from_si(DELAY_DIFFERENCE.si() + decay).unwrap_or(Seconds::new(f64::MAX))
    }

    /// The same loop with `resistance` more in it, as the leads of the supply
    /// are once the capacitors on the board's rail are empty.
    #[must_use]
    pub fn through(self, resistance: Ohms) -> Self {
        Self {
            resistance: self.resistance + resistance,
            ..self
        }
    }
}

impl Bench {
    /// The loop that `closes` closes round a board whose rail is at `board` and
    /// whose own resistance is `source`; for a gap the one of opposite phase.
    /// `None` where the bench has no such branch, or it closes no such loop.
    pub fn closed_loop(&self, closes: Closes, board: Volts, source: Ohms) -> Option<Loop> {
        match closes {
            Closes::GapStraight | Closes::GapCrossed => {
                Some(self.mismatch(board, closes)?.through(source))
            }
            Closes::NearShort | Closes::FarShort | Closes::CapacitorBank | Closes::ResistorBank => {
                let branch = self.branch(closes)?;
                let leads = Loop {
                    voltage: board,
                    resistance: branch.resistance + self.wiring.lead_resistance,
                    inductance: branch.inductance + self.wiring.lead_inductance,
                };
                Some(leads.through(source))
            }
            // The load decides what flows there.
            Closes::SupplyLoad => None,
        }
    }

    /// How long the spikes last that two boosters in phase push through either
    /// gap at their edges, the board's own resistance left out, which only makes
    /// them shorter; `None` where nothing flows through one.
    pub fn edge_spike(&self, board: Volts) -> Option<Seconds> {
        let gaps = [Closes::GapCrossed, Closes::GapStraight].into_iter();
        gaps.filter_map(|gap| Some(self.mismatch(board, gap)?.edge_spike()))
            .reduce(Seconds::max)
    }

    /// What flows through a closed gap between the board's output and the
    /// upstream's in opposite phase: the loop without the board's own
    /// resistance. `None` where the case lets nothing flow.
    pub fn mismatch(&self, board: Volts, gap: Closes) -> Option<Loop> {
        let upstream = self.upstream.as_ref()?;
        let branch = self.branch(gap)?;
        let voltage = match upstream.isolation {
            Isolation::IsolatedBothGaps => board + upstream.voltage,
            // One rail's half-bridges meet: the larger of the two voltages
            // stands across one high side and one low side.
            Isolation::CommonNegativeOneGap if board > upstream.voltage => board,
            Isolation::CommonNegativeOneGap => upstream.voltage,
            Isolation::IsolatedOneGap => return None,
        };
        Some(Loop {
            voltage,
            resistance: upstream.resistance + branch.resistance + self.wiring.lead_resistance,
            inductance: upstream.inductance + branch.inductance + self.wiring.lead_inductance,
        })
    }
}
