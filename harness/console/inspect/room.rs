//! How much of an inspection a screen has room for, from all to what must be
//! said. It draws nothing.

/// How much of what is not decisive is shown.
#[derive(Clone, Copy)]
pub(super) struct Room {
    pub(super) histogram: bool,
    /// Stretches drawn.
    pub(super) stretches: usize,
    /// Kinds of packets listed.
    pub(super) packets: usize,
    /// Lines on what is odd.
    pub(super) odd: usize,
    /// Instants told of each broken rule.
    pub(super) places: usize,
    /// A line for each rule that is met, rather than one for all.
    pub(super) met: bool,
    /// The reason at each rule that could not be judged.
    pub(super) reasons: bool,
    /// What else was measured.
    pub(super) facts: bool,
}

/// From all that is worth showing to what must be.
pub(super) const ROOMS: [Room; 9] = [
    room(true, 3, 6, 12, 12).with(true, true, true),
    room(true, 2, 6, 8, 8).with(true, true, true),
    room(true, 1, 3, 6, 6).with(true, true, true),
    room(true, 1, 3, 4, 4).with(false, true, true),
    room(false, 1, 3, 4, 4).with(false, true, true),
    room(false, 1, 1, 2, 4).with(false, true, true),
    room(false, 1, 0, 1, 3).with(false, false, true),
    room(false, 1, 0, 1, 1).with(false, false, false),
    room(false, 0, 0, 1, 1).with(false, false, false),
];

const fn room(
    histogram: bool,
    stretches: usize,
    packets: usize,
    odd: usize,
    places: usize,
) -> Room {
    Room {
        histogram,
        stretches,
        packets,
        odd,
        places,
        met: true,
        reasons: true,
        facts: true,
    }
}

impl Room {
    const fn with(self, met: bool, reasons: bool, facts: bool) -> Self {
        Self {
            met,
            reasons,
            facts,
            ..self
        }
    }
}
