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
    /// The dead time is over.
    DeadTime,
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
    /// The junction temperature is brought up to date.
    Thermal,
}

/// Number of timers.
pub(super) const TIMERS: usize = Timer::Thermal as usize + 1;
/// A timer that is not running.
pub(super) const NEVER: i64 = i64::MAX;

/// Deadlines in picoseconds of bench time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Timers([i64; TIMERS]);

impl Timers {
    /// Nothing is due.
    pub(super) const fn new() -> Self {
        Self([NEVER; TIMERS])
    }

    /// Starts or restarts a timer.
    pub(super) fn set(&mut self, timer: Timer, due: i64) {
        self.0[timer as usize] = due;
    }

    /// Stops a timer.
    pub(super) fn cancel(&mut self, timer: Timer) {
        self.0[timer as usize] = NEVER;
    }

    /// Whether it runs.
    pub(super) fn is_running(&self, timer: Timer) -> bool {
        self.0[timer as usize] != NEVER
    }

    /// Stops a timer that is due and says so.
    pub(super) fn take(&mut self, timer: Timer, now: i64) -> bool {
        let due = self.0[timer as usize] <= now;
        if due {
            self.cancel(timer);
        }
        due
    }

    /// The earliest deadline.
    pub(super) fn next(&self) -> i64 {
        self.0.iter().copied().fold(NEVER, i64::min)
    }

    /// The deadlines, for comparing two periods.
    pub(super) fn deadlines(&self) -> &[i64; TIMERS] {
        &self.0
    }

    /// Moves the deadline with index `index` by `picoseconds`.
    pub(super) fn shift(&mut self, index: usize, picoseconds: i64) {
        if self.0[index] != NEVER {
            self.0[index] = self.0[index].saturating_add(picoseconds);
        }
    }
}
