//! Whether a branch was closed, as its own line shows it. What the current
//! says about that is left to others.

use super::Context;
use crate::scenario::take::Proof;
use crate::scenario::take::Take;
use crate::scenario::terms::Place;
use crate::units::Quantity;
use crate::waveform::{Edge, LogicLine, edges};

/// The branch that was closed, as its own line shows it.
pub(super) struct Closure {
    edges: Vec<Edge>,
    initial: bool,
    /// Whether there is a line that shows it at all.
    pub(super) seen: bool,
    /// Whether the line proves closure while the rails are dead.
    pub(super) proves: bool,
    /// First closing.
    pub(super) closed_at: Option<f64>,
    /// The opening after which it stays open for longer than bounce.
    pub(super) opened_at: Option<f64>,
}

impl Closure {
    /// The closure of the branch at `place` in `take`.
    pub(super) fn of(take: &Take, place: Place, context: &Context) -> Self {
        let marker = match place {
            Place::Near => LogicLine::NearMarker,
            Place::Far => LogicLine::FarMarker,
        };
        let pilot = match place {
            Place::Near => LogicLine::NearPilot,
            Place::Far => LogicLine::FarPilot,
        };
        let line = match take.proof {
            Proof::PilotCurrent if take.capture.line(pilot).is_some() => pilot,
            _ => marker,
        };
        let proves = match take.proof {
            Proof::PilotCurrent => line == pilot,
            Proof::SecondPole => true,
            Proof::None | Proof::Marker => false,
        };
        let track = take.capture.line(line);
        let edges = edges(&take.capture, line);
        let closed_at = match track {
            Some(track) if track.initial => Some(take.capture.first.si()),
            Some(_) => edges.first().map(|edge| edge.at),
            None => None,
        };
        let bounce = context.bounce.si();
        let opened_at = edges.iter().enumerate().find_map(|(index, edge)| {
            let again = edges.get(index + 1).map(|next| next.at - edge.at);
            (!edge.rising && again.is_none_or(|gap| gap > bounce)).then_some(edge.at)
        });
        Self {
            initial: track.is_some_and(|track| track.initial),
            seen: track.is_some() && take.proof != Proof::None,
            proves: proves && track.is_some(),
            edges,
            closed_at,
            opened_at,
        }
    }

    /// Whether the line is low anywhere from `from` to `to`, a sample wide
    /// either side.
    pub(super) fn apart(&self, from: f64, to: f64) -> bool {
        let mut level = self.initial;
        let mut low = false;
        for edge in &self.edges {
            if edge.at > to {
                break;
            }
            if edge.at < from {
                level = edge.rising;
            } else if !edge.rising {
                low = true;
            }
        }
        low || !level
    }
}
