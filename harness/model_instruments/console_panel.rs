//! What the board's console answers: four words, plain lines, no SCPI. It tells
//! what the board believes, which is not always what the bench measures.

use super::MODEL_MARK;
use super::scene::Scene;
use crate::physics::Probe;
use crate::protocol::ErrorCode;
use crate::waveform::LogicLine;

/// Below this the board's rail counts as gone, in volts.
const RAIL_GONE: f64 = 1.0;

/// Tells the converter's noise from every instrument's.
const NOISE: u64 = 0x5c01;

/// Answers one line, without its ending; a word it does not know is queued and
/// gets no answer.
pub(super) fn answer(scene: &mut Scene, line: &[u8]) -> Vec<u8> {
    match line.trim_ascii() {
        b"" => Vec::new(),
        b"version" => format!("{} ({MODEL_MARK})", scene.console.identity).into_bytes(),
        b"sense" => sense(scene).to_string().into_bytes(),
        b"state" => state(scene).to_vec(),
        b"error" => match scene.console.errors.pop() {
            None => b"0,\"No error\"".to_vec(),
            Some(entry) => {
                format!("{},\"{}\"", entry.code.number(), entry.description()).into_bytes()
            }
        },
        _ => {
            scene.console.errors.push(ErrorCode::UndefinedHeader, "");
            Vec::new()
        }
    }
}

/// One reading of the board's converter.
fn sense(scene: &mut Scene) -> u32 {
    let console = &mut scene.console;
    console.readings += 1;
    let instant = scene.circuit.now().picoseconds() as u64;
    let key = [NOISE, instant, console.readings];
    let noise = scene.seed.stream(&key).normal() * console.noise;
    scene.circuit.sense_counts(noise)
}

fn state(scene: &Scene) -> &'static [u8] {
    if scene.circuit.line(LogicLine::Fault) {
        b"tripped"
    } else if scene.drive.enabled
        && scene.drive.signal
        && scene.circuit.probe(Probe::BoardRail) > RAIL_GONE
    {
        b"on"
    } else {
        b"off"
    }
}
