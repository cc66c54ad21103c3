//! The circuit and the state of every instrument on it: what moves together
//! when bench time moves. It reads no line and writes no reply.

use super::capture::Capture;
use super::console::Console;
use super::drive::Drive;
use super::load::Load;
use super::settings::WorldSettings;
use super::supply::Supply;
use super::switch::Switch;
use super::thermometer::Thermometer;
use crate::clock::{BenchInstant, BenchSpan};
use crate::physics::Circuit;
use crate::seed::Seed;

/// Circuit and instruments.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub(super) circuit: Circuit,
    pub(super) seed: Seed,
    pub(super) supply: Supply,
    pub(super) load: Load,
    pub(super) capture: Capture,
    pub(super) switch: Switch,
    pub(super) drive: Drive,
    pub(super) console: Console,
    pub(super) thermometer: Thermometer,
    meter_history: BenchSpan,
}

impl Scene {
    pub(super) fn new(circuit: Circuit, settings: &WorldSettings) -> Self {
        Self {
            circuit,
            seed: settings.seed,
            supply: Supply::new(settings),
            load: Load::new(settings),
            capture: Capture::new(settings),
            switch: Switch::new(settings),
            drive: Drive::new(),
            console: Console::new(settings),
            thermometer: Thermometer::new(settings),
            meter_history: BenchSpan::ZERO,
        }
    }

    /// Moves bench time, stopping wherever an instrument must look at the
    /// circuit.
    pub(super) fn advance_to(&mut self, target: BenchInstant) {
        while self.circuit.now() < target {
            let now = self.circuit.now();
            let looks = [self.capture.next_look(now), self.load.next_look(now)];
            let next = looks.into_iter().flatten().fold(target, Ord::min);
            assert!(next > now, "bench time must move");
            self.circuit.advance_to(next);
            self.load.look(&mut self.circuit);
            if self.capture.look(&self.circuit) {
                self.keep_history();
            }
        }
    }

    /// Keeps the circuit's past for a meter; zero when it has read.
    pub(super) fn hold_meter_history(&mut self, span: BenchSpan) {
        self.meter_history = span;
        self.keep_history();
    }

    /// Keeps as much of the past as anyone needs now.
    pub(super) fn keep_history(&mut self) {
        let span = self.meter_history.max(self.capture.history_wanted());
        self.circuit.keep_history(span);
    }
}
