//! The heat of the bridge: two nodes, junction and case, over the ambient,
//! advanced exactly while the power is the mean of a thermal step. When the
//! next step comes is decided here too; what heat does to a circuit is not.

use super::electrics::BIN;
use crate::clock::PICOSECONDS;
use crate::model_board::BoardParameters;
use crate::units::{Celsius, Kelvins, Quantity};

/// The shortest thermal step, 50 ms: after every action, and while the load
/// runs a programme.
pub(super) const SHORTEST_TICK: i64 = 50_000_000_000;
/// The longest, 5 s.
const LONGEST_TICK: i64 = 100 * SHORTEST_TICK;
/// Resistances are given for this temperature.
const REFERENCE: f64 = 25.0;
/// In one step the junction moves by about this many kelvins at most: half a
/// bin of the switches' resistance.
const STEP: f64 = BIN / 2.0;

/// Junction and case of the bridge. The heat capacities hang on the nodes (a
/// Cauer network): C_j T_j' = P - (T_j - T_c) / R_jc and
/// C_c T_c' = (T_j - T_c) / R_jc - T_c / R_ca, rises over the ambient.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Thermal {
    /// Integral of the squared current through each switch since the last
    /// tick, those of all switches together, A2s.
    pub(super) current_squared: f64,
    /// When that was.
    since: i64,
    /// Length of the step before.
    tick: i64,
    /// Rises over the ambient in kelvins.
    junction: f64,
    case: f64,
    ambient: f64,
    /// The junction over the reference temperature, in bins.
    bin: i16,
    network: Network,
}

/// Thermal steps within a period that is not stepped through.
#[derive(Clone, Debug)]
pub(super) struct Warmed {
    /// The heat before the first of them.
    pub(super) before: Thermal,
    pub(super) first: i64,
    pub(super) last: i64,
}

/// The two resistances in kelvins per watt and the two time constants.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Network {
    junction: f64,
    junction_time: f64,
    case: f64,
    case_time: f64,
}

impl Thermal {
    pub(super) fn new(board: &BoardParameters, ambient: Celsius) -> Self {
        Self {
            current_squared: 0.0,
            since: 0,
            tick: SHORTEST_TICK,
            junction: 0.0,
            case: 0.0,
            ambient: ambient.si(),
            bin: bin(ambient.si()),
            network: Network {
                junction: board.junction_rise_per_watt.si(),
                junction_time: board.junction_time_constant.si(),
                case: board.thermal_rise_per_watt.si(),
                case_time: board.thermal_time_constant.si(),
            },
        }
    }

    /// Brings it up to `now`, a switch's resistance having been `ohms`.
    pub(super) fn catch_up(&mut self, now: i64, ohms: f64) {
        if now <= self.since {
            return;
        }
        let seconds = (now - self.since) as f64 / PICOSECONDS as f64;
        let power = self.current_squared / seconds * ohms;
        let before = self.junction;
        (self.junction, self.case) = self
            .network
            .after(seconds, power, (self.junction, self.case));
        self.bin = bin(self.ambient + self.junction);
        let moved = (self.junction - before).abs();
        self.tick = next_tick(now - self.since, moved);
        self.current_squared = 0.0;
        self.since = now;
    }

    /// How long the next step is, by how far the last one led.
    pub(super) const fn tick(&self) -> i64 {
        self.tick
    }

    /// The junction over the reference temperature, in bins.
    pub(super) const fn bin(&self) -> i16 {
        self.bin
    }

    pub(super) fn junction(&self) -> Celsius {
        Celsius::new(self.ambient + self.junction)
    }

    pub(super) fn junction_rise(&self) -> Kelvins {
        Kelvins::new(self.junction)
    }

    pub(super) fn case(&self) -> Celsius {
        Celsius::new(self.ambient + self.case)
    }

    pub(super) const fn ambient(&self) -> Celsius {
        Celsius::new(self.ambient)
    }
}

/// Degrees Celsius over the reference temperature, in bins.
fn bin(celsius: f64) -> i16 {
    // `as` saturates, which is far beyond what any switch survives.
    libm::round((celsius - REFERENCE) / BIN) as i16
}

/// A step may be twice as long as the last one, and as long as the junction
/// moves by [`STEP`] at most.
fn next_tick(last: i64, moved: f64) -> i64 {
    let by_motion = last as f64 * (STEP / moved.max(1e-9));
    let longest = last.saturating_mul(2).min(LONGEST_TICK);
    let wanted = by_motion.min(longest as f64) as i64;
    wanted.max(SHORTEST_TICK)
}

impl Network {
    /// The rises `seconds` later under constant `power`: the steady state plus
    /// what exp(A t) leaves of the distance to it, by the closed form for two
    /// by two matrices with real eigenvalues m + q and m - q.
    fn after(&self, seconds: f64, power: f64, (junction, case): (f64, f64)) -> (f64, f64) {
        let steady = (power * (self.junction + self.case), power * self.case);
        let away = (junction - steady.0, case - steady.1);
        let a = [
            [-1.0 / self.junction_time, 1.0 / self.junction_time],
            if self.case > 0.0 {
                let case_capacity = self.case_time / self.case;
                let coupling = 1.0 / (self.junction * case_capacity);
                [coupling, -coupling - 1.0 / self.case_time]
            } else {
                // A case that is the ambient itself.
                [0.0, -1.0 / self.case_time]
            },
        ];
        let m = 0.5 * (a[0][0] + a[1][1]);
        let half = 0.5 * (a[0][0] - a[1][1]);
        let q = libm::sqrt(half * half + a[0][1] * a[1][0]);
        let (slow, fast) = (libm::exp((m + q) * seconds), libm::exp((m - q) * seconds));
        let even = 0.5 * (slow + fast);
        let odd = if q > 0.0 {
            0.5 * (slow - fast) / q
        } else {
            seconds * even
        };
        let left = (
            (even + odd * half) * away.0 + odd * a[0][1] * away.1,
            odd * a[1][0] * away.0 + (even - odd * half) * away.1,
        );
        (steady.0 + left.0, steady.1 + left.1)
    }
}
