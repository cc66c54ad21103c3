//! The bridge as its two half-bridges: what each of them does, and what follows
//! from that for voltage, current and heat. What they are told, and when their
//! diodes turn, is decided elsewhere.
//!
//! A terminal's current counts out of the bridge. While one half-bridge is in
//! its dead time the other goes on conducting: the current that leaves the dead
//! one's terminal comes through its lower diode, one diode below the negative;
//! a current into it goes on into the rail, one diode above that.

use super::affine::Affine;
use super::electrics::Electrics;
use super::propagator::State;
use super::states::{I_GAP, I_OUT};
use crate::model_board::SenseLeg;

/// Which switch of a half-bridge is told to be on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Gate {
    /// Neither of them.
    Off,
    /// The lower one.
    Low,
    /// The upper one.
    High,
}

/// What the body diodes of a half-bridge do while its switches are off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum BodyDiodes {
    /// They carry nothing.
    Blocked,
    /// The lower one carries a current from the negative to the terminal.
    Lower,
    /// The upper one carries a current from the terminal to the rail.
    Upper,
}

impl BodyDiodes {
    /// Those that carry `current` on when the switches go off.
    pub(super) fn carrying(current: f64) -> Self {
        if current > 0.0 {
            Self::Lower
        } else if current < 0.0 {
            Self::Upper
        } else {
            Self::Blocked
        }
    }

    /// Those that a terminal at `volts` drives by `margin` at least.
    pub(super) fn driven(volts: f64, rail: f64, drop: f64, margin: f64) -> Self {
        if -volts - drop > margin {
            Self::Lower
        } else if volts - rail - drop > margin {
            Self::Upper
        } else {
            Self::Blocked
        }
    }

    /// Whether the terminal's `current` has turned against them.
    pub(super) fn over(self, current: f64) -> bool {
        match self {
            Self::Blocked => false,
            Self::Lower => current < 0.0,
            Self::Upper => current > 0.0,
        }
    }
}

/// What a half-bridge does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) enum Half {
    /// Its lower switch is on.
    Low,
    /// Its upper switch is on.
    High,
    /// Both are off.
    Off(BodyDiodes),
}

impl Half {
    /// No way for any current.
    pub(super) const IDLE: Self = Self::Off(BodyDiodes::Blocked);

    pub(super) const fn is_switched(self) -> bool {
        matches!(self, Self::Low | Self::High)
    }

    /// The terminal's current comes from the rail.
    const fn is_on_rail(self) -> bool {
        matches!(self, Self::High | Self::Off(BodyDiodes::Upper))
    }

    /// The terminal's current comes from the negative.
    const fn is_on_negative(self) -> bool {
        matches!(self, Self::Low | Self::Off(BodyDiodes::Lower))
    }

    /// The terminal's voltage without its current; nothing of its own where the
    /// half-bridge idles.
    pub(super) fn voltage(self, e: &Electrics, rail: Affine) -> Affine {
        match self {
            Self::Low | Self::IDLE => Affine::zero(),
            Self::High => rail,
            Self::Off(BodyDiodes::Lower) => Affine::constant(-e.diode_drop),
            Self::Off(BodyDiodes::Upper) => rail.plus(1.0, Affine::constant(e.diode_drop)),
        }
    }

    /// The resistance on the terminal's current at a temperature bin.
    pub(super) fn resistance(self, e: &Electrics, bin: i16) -> f64 {
        match self {
            Self::Low | Self::High => e.switch_at(bin),
            Self::Off(BodyDiodes::Lower | BodyDiodes::Upper) => e.diode_resistance,
            Self::IDLE => 0.0,
        }
    }
}

/// The two half-bridges: line A's, from which the output current counts, and
/// line B's, to which it returns.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Bridge(pub(super) [Half; 2]);

/// How often a current leaves each terminal. The output current leaves the
/// first and comes back into the second ...
pub(super) const OUTPUT: [f64; 2] = [1.0, -1.0];
/// ... less what the gap has taken of it and returns through a common negative.
pub(super) const GAP: [f64; 2] = [0.0, 1.0];

/// The currents out of the terminals; `shared` where the gap's returns through
/// a common negative.
pub(super) fn currents(shared: bool, state: &State) -> [f64; 2] {
    if shared {
        [state[I_OUT], state[I_GAP] - state[I_OUT]]
    } else {
        [state[I_OUT], -state[I_OUT]]
    }
}

impl Bridge {
    /// All switches off, no current.
    pub(super) const OPEN: Self = Self([Half::IDLE; 2]);

    /// Whether switches alone conduct, and no diode has anything to say.
    pub(super) const fn is_switched(self) -> bool {
        self.0[0].is_switched() && self.0[1].is_switched()
    }

    /// Whether a half-bridge leaves the output current no way.
    pub(super) fn is_interrupted(self) -> bool {
        self.0.contains(&Half::IDLE)
    }

    /// What it does when it is told `gates` and its diodes have `turned`. A
    /// current whose way has closed is zero from here on.
    pub(super) fn told(
        self,
        gates: [Gate; 2],
        turned: [Option<BodyDiodes>; 2],
        shared: bool,
        state: &mut State,
    ) -> Self {
        let currents = currents(shared, state);
        let told = |half: usize| match (gates[half], self.0[half]) {
            (Gate::Low, _) => Half::Low,
            (Gate::High, _) => Half::High,
            (Gate::Off, Half::Off(diodes)) => Half::Off(turned[half].unwrap_or(diodes)),
            (Gate::Off, Half::Low | Half::High) => Half::Off(BodyDiodes::carrying(currents[half])),
        };
        let bridge = Self([told(0), told(1)]);
        match bridge.0.map(|half| half == Half::IDLE) {
            [false, false] => bridge,
            [first, second] if shared => {
                // Each has a way of its own, through the gap.
                if first && second {
                    state[I_GAP] = 0.0;
                }
                state[I_OUT] = if first { 0.0 } else { state[I_GAP] };
                bridge
            }
            _ => {
                state[I_OUT] = 0.0;
                bridge.at_rest()
            }
        }
    }

    /// The same without current.
    fn at_rest(self) -> Self {
        Self(self.0.map(|half| match half {
            Half::Off(_) => Half::IDLE,
            Half::Low | Half::High => half,
        }))
    }

    /// How often a current that `leaves` the terminals is drawn from the rail.
    pub(super) fn drawn(self, leaves: [f64; 2]) -> f64 {
        let share = |half: usize| {
            if self.0[half].is_on_rail() {
                leaves[half]
            } else {
                0.0
            }
        };
        share(0) + share(1)
    }

    /// How often a current that `leaves` the terminals goes down the sensed
    /// leg: line B's alone or that of both half-bridges.
    pub(super) fn sensed(self, leg: SenseLeg, leaves: [f64; 2]) -> f64 {
        let share = |half: usize| {
            if self.0[half].is_on_negative() {
                -leaves[half]
            } else {
                0.0
            }
        };
        match leg {
            SenseLeg::One => share(1),
            SenseLeg::Both => share(0) + share(1),
        }
    }

    /// Which half-bridges' currents heat a switch: one where they do.
    pub(super) fn heated(self) -> [f64; 2] {
        self.0.map(|half| f64::from(u8::from(half.is_switched())))
    }

    /// The voltage between the terminals without the output current.
    pub(super) fn voltage(self, e: &Electrics, rail: Affine) -> Affine {
        let [first, second] = self.0;
        first.voltage(e, rail).plus(-1.0, second.voltage(e, rail))
    }

    /// The resistance on the output current.
    pub(super) fn resistance(self, e: &Electrics, bin: i16) -> f64 {
        self.first_resistance(e, bin) + self.0[1].resistance(e, bin)
    }

    /// That of line A's half-bridge; what a damaged switch adds is in its upper
    /// one.
    pub(super) fn first_resistance(self, e: &Electrics, bin: i16) -> f64 {
        let own = self.0[0].resistance(e, bin);
        if self.0[0] == Half::High {
            own + e.positive_path_excess
        } else {
            own
        }
    }

    /// The voltage at the terminal of each half-bridge that idles, without
    /// current, as far as the other one holds it through the node.
    pub(super) fn held(self, e: &Electrics, rail: Affine, node: Affine) -> [Option<Affine>; 2] {
        [0, 1].map(|half| {
            let other = self.0[1 - half];
            (self.0[half] == Half::IDLE && other != Half::IDLE)
                .then(|| other.voltage(e, rail).plus(OUTPUT[half], node))
        })
    }
}
