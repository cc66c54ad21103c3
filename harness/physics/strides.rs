//! Spans that a circuit covers again and again, from one edge of its signal to
//! the next: after a while each has a step of its own. It decides only that one
//! pays; the state it leads to is the same but for rounding.

use super::mode::Mode;
use super::propagator::{Rise, State};
use rustc_hash::FxHashMap;
use std::collections::BTreeSet;
use std::sync::Arc;

/// A span that has come this often is worth a matrix, which costs as much as
/// about forty steps save.
const WORTHWHILE: u32 = 40;
/// Most spans that are remembered.
const MOST: usize = 4_096;

/// How often a span has come, and its step once that is worth it.
#[derive(Clone, Debug)]
struct Stride {
    seen: u32,
    rise: Option<Rise>,
}

/// Spans by the circuit in force and their length in picoseconds; looked up,
/// never walked. The circuits must be kept as long as this.
#[derive(Clone, Debug, Default)]
pub(super) struct Strides(FxHashMap<(usize, i64), Stride>);

impl Strides {
    /// Forgets those in `modes`, together with the circuits.
    pub(super) fn forget<'a>(&mut self, modes: impl Iterator<Item = &'a Arc<Mode>>) {
        let gone: BTreeSet<usize> = modes.map(|mode| Arc::as_ptr(mode) as usize).collect();
        self.0.retain(|(mode, _), _| !gone.contains(mode));
    }

    /// The state `span` picoseconds later.
    pub(super) fn advance(&mut self, mode: &Arc<Mode>, span: i64, state: &State) -> State {
        if self.0.len() >= MOST {
            self.0.clear();
        }
        let stride = self
            .0
            .entry((Arc::as_ptr(mode) as usize, span))
            .or_insert(Stride {
                seen: 0,
                rise: None,
            });
        if let Some(rise) = &stride.rise {
            return rise.risen(state);
        }
        stride.seen += 1;
        if stride.seen >= WORTHWHILE {
            stride.rise = Some(mode.propagator.rise(span));
        }
        mode.propagator.advance(span, state)
    }
}
