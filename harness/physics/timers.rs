//! Everything that is due at a known instant. It says when, never what then
//! happens.

/// What may be due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
pub(super) enum Timer {
    /// The next edge of the input signal.
    InputEdge,
    /// The next edge at the board's output.
    OutputEdge,
    /// The dead time of line A's half-bridge is over.
    FirstDeadTime,
    /// That of line B's half-bridge is over.
    SecondDeadTime,
    /// The input has been quiet for too long.
    SignalLoss,
    /// The next edge of the signal that the board makes when it has none.
    OwnEdge,
    /// The load's current reaches its target.
    LoadTarget,
    /// The load's pulse ends.
    LoadPulse,
    /// The near short opens by itself.
    NearPulse,
    /// The near contact bounces open or closed.
    NearBounce,
    /// The far short opens by itself.
    FarPulse,
    /// The far contact bounces open or closed.
    FarBounce,
    /// The gap opens by itself.
    GapPulse,
    /// The overload has lasted long enough.
    TripDebounce,
    /// The board tries again.
    Retry,
    /// The reversing condition has lasted long enough.
    ReverseDebounce,
    /// The board may count and reverse again.
    HoldOff,
    /// The board may reverse once more.
    ReverseRearm,
    /// The under-voltage comparator has been steady for its filter time.
    UnderVoltage,
    /// The upstream source has been overloaded long enough.
    UpstreamTrip,
    /// The upstream source has been relieved long enough.
    UpstreamRelief,
    /// The capacitor bank is taken off by itself.
    BankPulse,
    /// The resistor bank is taken off by itself.
    ResistorPulse,
    /// The load returns to the node by itself.
    SupplyLoadPulse,
    /// The supply has borne its limit long enough.
    SupplyTrip,
    /// The supply has rested long enough.
    SupplyRest,
    /// The board's converter looks for an overload.
    TripLook,
    /// The junction temperature is brought up to date.
    Thermal,
}

/// Number of timers.
pub(super) const TIMERS: usize = Timer::Thermal as usize + 1;
/// A timer that is not running.
pub(super) const NEVER: i64 = i64::MAX;

/// Deadlines in picoseconds of bench time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Timers {
    due: [i64; TIMERS],
    /// The earliest of them.
    next: i64,
}

impl Timers {
    /// Nothing is due.
    pub(super) const fn new() -> Self {
        Self {
            due: [NEVER; TIMERS],
            next: NEVER,
        }
    }

    /// Starts or restarts a timer.
    pub(super) fn set(&mut self, timer: Timer, due: i64) {
        let was = std::mem::replace(&mut self.due[timer as usize], due);
        if due < self.next {
            self.next = due;
        } else if was == self.next && due != was {
            self.next = self.due.iter().copied().fold(NEVER, i64::min);
        }
    }

    /// Stops a timer.
    #[inline]
    pub(super) fn cancel(&mut self, timer: Timer) {
        if self.is_running(timer) {
            self.set(timer, NEVER);
        }
    }

    /// Whether it runs.
    pub(super) fn is_running(&self, timer: Timer) -> bool {
        self.due[timer as usize] != NEVER
    }

    /// Stops a timer that is due and says so.
    pub(super) fn take(&mut self, timer: Timer, now: i64) -> bool {
        let due = self.due[timer as usize] <= now;
        if due {
            self.cancel(timer);
        }
        due
    }

    /// The earliest deadline.
    pub(super) const fn next(&self) -> i64 {
        self.next
    }

    /// The deadlines, for comparing two periods.
    pub(super) const fn deadlines(&self) -> &[i64; TIMERS] {
        &self.due
    }

    /// Moves the deadlines in `which`, one bit each, by `picoseconds`.
    pub(super) fn shift(&mut self, which: u64, picoseconds: i64) {
        for (index, due) in self.due.iter_mut().enumerate() {
            if which >> index & 1 == 1 {
                *due = due.saturating_add(picoseconds);
            }
        }
        self.next = self.due.iter().copied().fold(NEVER, i64::min);
    }
}

/// A timer that runs as long as its condition holds.
pub(super) fn hold(timers: &mut Timers, timer: Timer, condition: bool, due: i64) {
    if !condition {
        timers.cancel(timer);
    } else if !timers.is_running(timer) {
        timers.set(timer, due);
    }
}
