//! The model bench as a host meets it: lines in at a role, bytes out, bench
//! time moving by the computed cost of each exchange. It opens no port.

use super::scene::Scene;
use super::settings::{LineCost, WorldSettings};
use super::{
    capture_panel, console_panel, drive_panel, load_panel, supply_panel, switch_panel,
    thermometer_panel,
};
use crate::clock::{BenchInstant, BenchSpan};
use crate::ident::Role;
use crate::physics::{Action, Circuit};
use crate::protocol::Interpreter;
use std::collections::BTreeMap;

/// The line ending of every instrument here.
const ENDING: u8 = b'\n';

/// A model bench: one circuit, seven instruments.
#[derive(Clone, Debug)]
pub struct World {
    /// It follows the present only when somebody looks: what an answer costs on its
    /// line passes together with the next question's way in.
    scene: Scene,
    present: BenchInstant,
    lines: BTreeMap<Role, LineCost>,
    supply: Interpreter<supply_panel::Command>,
    load: Interpreter<load_panel::Command>,
    capture: Interpreter<capture_panel::Command>,
    switch: Interpreter<switch_panel::Command>,
    drive: Interpreter<drive_panel::Command>,
    thermometer: Interpreter<thermometer_panel::Command>,
}

impl World {
    /// A bench just switched on, around `circuit`.
    pub fn new(circuit: Circuit, settings: WorldSettings) -> Self {
        let scene = Scene::new(circuit, &settings);
        Self {
            present: scene.circuit.now(),
            scene,
            lines: settings.lines,
            supply: Interpreter::new("BUFFERSTOP MODEL,SUPPLY,0001,1.0", supply_panel::tree()),
            load: Interpreter::new("BUFFERSTOP MODEL,LOAD,0002,1.0", load_panel::tree()),
            capture: Interpreter::new("BUFFERSTOP MODEL,CAPTURE,0003,1.0", capture_panel::tree()),
            switch: Interpreter::new("BUFFERSTOP MODEL,SWITCH,0004,1.0", switch_panel::tree()),
            drive: Interpreter::new("BUFFERSTOP MODEL,DRIVE,0005,1.0", drive_panel::tree()),
            thermometer: Interpreter::new(
                "BUFFERSTOP MODEL,THERMOMETER,0006,1.0",
                thermometer_panel::tree(),
            ),
        }
    }

    /// The bench's present.
    pub fn now(&self) -> BenchInstant {
        self.present
    }

    /// Lets bench time pass.
    pub fn advance(&mut self, span: BenchSpan) {
        self.present += span.max(BenchSpan::ZERO);
    }

    /// The circuit and its instruments at the present.
    fn followed(&mut self) -> &mut Scene {
        self.scene.advance_to(self.present);
        &mut self.scene
    }

    /// One complete line, without its ending, that came in at the instrument of
    /// `role`: bench time advances by the bytes in, the instrument acts, then
    /// by its processing and the bytes out. Returns the reply with its ending,
    /// or nothing.
    pub fn exchange(&mut self, role: Role, line: &[u8]) -> Vec<u8> {
        let Some(&cost) = self.lines.get(&role) else {
            return Vec::new();
        };
        let line = line.strip_suffix(b"\r").unwrap_or(line);
        self.advance(cost.transfer(line.len() + 1));
        self.followed();
        let scene = &mut self.scene;
        let mut reply = match role {
            Role::Supply => self.supply.obey(line, &mut supply_panel::Panel(scene)),
            Role::Load => self.load.obey(line, &mut load_panel::Panel(scene)),
            Role::Capture => self.capture.obey(line, &mut capture_panel::Panel(scene)),
            Role::Switch => self.switch.obey(line, &mut switch_panel::Panel(scene)),
            Role::Drive => self.drive.obey(line, &mut drive_panel::Panel(scene)),
            Role::Console => console_panel::answer(scene, line),
            Role::Thermometer => self
                .thermometer
                .obey(line, &mut thermometer_panel::Panel(scene)),
        };
        // A reading takes its own time.
        self.present = self.scene.circuit.now();
        self.advance(cost.processing);
        if !reply.is_empty() {
            reply.push(ENDING);
            self.advance(cost.transfer(reply.len()));
        }
        reply
    }

    /// Does something to the circuit that no instrument was asked for: a weld,
    /// a supply that comes on by itself. No instrument knows of it.
    pub fn befall(&mut self, action: Action) {
        self.followed().circuit.apply(action);
    }

    /// The circuit behind the instruments, at the present.
    pub fn circuit(&mut self) -> &Circuit {
        &self.followed().circuit
    }
}
