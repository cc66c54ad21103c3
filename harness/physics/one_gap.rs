//! The circuit where one gap alone is bridged and the upstream source shares
//! the board's negative. Which half-bridges conduct is decided elsewhere.
//!
//! The gap's current leaves by line A's half-bridge and wire, together with
//! that of the node, and returns through the common negative; what comes back
//! by line B's half-bridge is the node's current alone. The upstream source is
//! one half-bridge too: its voltage while that is high, nothing while it is low.
//! Of resistance and inductance of output and leads, which are known as those
//! of the loop, each wire has half, and the halves do not couple: next to the
//! gap and the upstream source's own leads no bench would tell the difference.

use super::affine::Affine;
use super::bridge::Half;
use super::electrics::Electrics;
use super::key::{CLAMP, Contact, Key};
use super::signal::Polarity;
use super::states::{I_GAP, I_OUT};
use crate::units::Quantity;

/// What the two currents do, and where that leaves the terminals that idle.
pub(super) struct OneGap {
    /// How the current of line A's wire rises.
    pub(super) output: Affine,
    /// How the gap's current rises.
    pub(super) gap: Affine,
    /// The voltage at each half-bridge that idles.
    pub(super) held: [Option<Affine>; 2],
}

impl OneGap {
    /// Kirchhoff's laws for the loop of the two wires and for that of wire A,
    /// gap and negative, with x and g for the rises of the two currents:
    /// 2 l x - l g = wires, and l x + L g = bridged.
    pub(super) fn new(e: &Electrics, key: &Key, rail: Affine, node: Affine) -> Self {
        let [first, second] = key.bridge.0;
        let (out, gap) = (Affine::state(I_OUT), Affine::state(I_GAP));
        let back = out.plus(-1.0, gap);
        let resistance = 0.5 * e.output_resistance;
        let inductance = 0.5 * e.output_inductance;
        let (gap_resistance, gap_inductance) = (e.gap.resistance.si(), e.gap.inductance.si());
        let opposed = match key.upstream {
            Some(Polarity::Positive) => e.upstream_voltage,
            Some(Polarity::Negative) | None => 0.0,
        } + match key.gap {
            Contact::Clamped(sign) => sign.sign() * CLAMP,
            Contact::Open | Contact::Closed => 0.0,
        };
        let from = first
            .voltage(e, rail)
            .plus(-(key.bridge.first_resistance(e, key.bin) + resistance), out);
        let to = second
            .voltage(e, rail)
            .plus(second.resistance(e, key.bin) + resistance, back);
        let across = Affine::constant(opposed).plus(gap_resistance, gap);
        let wires = from.plus(-1.0, to).plus(-1.0, node);
        let bridged = from.plus(-1.0, across);
        let (output, rise) = match [first, second].map(|half| half == Half::IDLE) {
            [false, false] => {
                let whole = inductance * (2.0 * gap_inductance + inductance);
                (
                    wires
                        .times(gap_inductance)
                        .plus(inductance, bridged)
                        .times(1.0 / whole),
                    bridged
                        .times(2.0)
                        .plus(-1.0, wires)
                        .times(inductance / whole),
                )
            }
            // All of the gap's current comes through the node and wire B ...
            [true, false] => (
                Affine::zero(),
                to.plus(1.0, node)
                    .plus(-1.0, across)
                    .times(1.0 / (gap_inductance + inductance)),
            ),
            // ... or all of wire A's goes through the gap.
            [false, true] => {
                let both = bridged.times(1.0 / (gap_inductance + inductance));
                (both, both)
            }
            [true, true] => (Affine::zero(), Affine::zero()),
        };
        // The ends of the wires at the node, which idling terminals share.
        let near = across.plus(gap_inductance, rise);
        let far = near.plus(-1.0, node);
        Self {
            output,
            gap: rise,
            held: [
                (first == Half::IDLE).then_some(near),
                (second == Half::IDLE).then_some(far),
            ],
        }
    }
}
