//! What the contacts, the load and the upstream source do in time. It moves no
//! current; it says which branch is meant to conduct.

use super::action::LoadMode;
use super::key::SupplyMode;
use super::observed::{LoadKind, Observed, Settings};
use super::propagator::State;
use super::states::{I_LOAD, I_SET, V_LOAD};
use super::timers::{Timer, Timers, hold};
use crate::clock::{BenchSpan, PICOSECONDS};
use crate::model_board::{ContactDefect, FixtureParameters, SupplyKind};
use crate::units::Quantity;

/// The upstream source forgets an overload that has been away this long,
/// 200 us: longer than the crossings of an alternating current.
const UPSTREAM_RELIEF: i64 = 200_000_000;

/// Time constants of its loop after which a load at nothing is off.
const LOAD_REST: i64 = 12;

/// The fixture's times and habits.
#[derive(Clone, Copy, Debug)]
pub(super) struct FixtureTimes {
    bounce_at: i64,
    bounce_for: i64,
    upstream_trip: i64,
    /// Amperes per second.
    load_slew: f64,
    /// A load that is switched off waits until its loop has come to rest.
    load_rest: i64,
    pub(super) supply_own_limit: f64,
    pub(super) defect: Option<ContactDefect>,
}

impl FixtureTimes {
    pub(super) fn new(fixture: &FixtureParameters) -> Self {
        let span = |seconds| BenchSpan::from_seconds(seconds).picoseconds();
        Self {
            bounce_at: span(fixture.bounce_at),
            bounce_for: span(fixture.bounce_for),
            upstream_trip: span(fixture.upstream.trip_time),
            load_slew: fixture.load_slew.si(),
            load_rest: span(fixture.load_response).saturating_mul(LOAD_REST),
            supply_own_limit: fixture.supply.own_limit.si(),
            defect: fixture.contact_defect,
        }
    }
}

/// A shorting contact.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct ContactLogic {
    /// Closed by command; the second pole follows it.
    pub(super) commanded: bool,
    /// Really closed.
    pub(super) touching: bool,
    /// Closed for good.
    welded: bool,
    pulse: Timer,
    bounce: Timer,
}

impl ContactLogic {
    pub(super) const fn new(pulse: Timer, bounce: Timer) -> Self {
        Self {
            commanded: false,
            touching: false,
            welded: false,
            pulse,
            bounce,
        }
    }

    /// Closes, for good or until `until`.
    pub(super) fn close(
        &mut self,
        now: i64,
        until: Option<i64>,
        times: &FixtureTimes,
        timers: &mut Timers,
    ) {
        if !self.commanded {
            if !self.touching && times.bounce_for > 0 {
                timers.set(self.bounce, now + times.bounce_at);
            }
            self.commanded = true;
            self.touching = true;
        }
        match until {
            Some(due) => timers.set(self.pulse, due),
            None => timers.cancel(self.pulse),
        }
    }

    /// Opens; a welded contact does so only in name.
    pub(super) fn open(&mut self, times: &FixtureTimes, timers: &mut Timers) {
        self.commanded = false;
        timers.cancel(self.pulse);
        timers.cancel(self.bounce);
        if times.defect != Some(ContactDefect::Welded) {
            self.touching = self.welded;
        }
    }

    /// Touches from now on.
    pub(super) fn weld(&mut self, timers: &mut Timers) {
        self.touching = true;
        self.welded = true;
        timers.cancel(self.bounce);
    }

    /// Without supply a contact that only sticks lets go.
    pub(super) fn supply_off(&mut self) {
        if !self.commanded {
            self.touching = self.welded;
        }
    }

    /// Does what is due. True if something was.
    pub(super) fn due(&mut self, now: i64, times: &FixtureTimes, timers: &mut Timers) -> bool {
        let mut acted = false;
        if timers.take(self.bounce, now) {
            if self.touching {
                timers.set(self.bounce, now + times.bounce_for);
            }
            self.touching = !self.touching;
            acted = true;
        }
        if timers.take(self.pulse, now) {
            self.open(times, timers);
            acted = true;
        }
        acted
    }
}

/// The gaps and the upstream source behind them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct GapLogic {
    /// Bridged, and whether crossed.
    pub(super) bridged: Option<bool>,
    /// The upstream source has tripped and waits for the gap to open.
    pub(super) tripped: bool,
    /// Bridged for good.
    welded: bool,
}

impl GapLogic {
    pub(super) const fn new() -> Self {
        Self {
            bridged: None,
            tripped: false,
            welded: false,
        }
    }

    /// Bridges the gaps from now on.
    pub(super) fn weld(&mut self, crossed: bool, timers: &mut Timers) {
        self.close(crossed, None, timers);
        self.welded = true;
    }

    /// Bridges the gaps, for good or until `until`.
    pub(super) fn close(&mut self, crossed: bool, until: Option<i64>, timers: &mut Timers) {
        self.bridged = Some(crossed);
        match until {
            Some(due) => timers.set(Timer::GapPulse, due),
            None => timers.cancel(Timer::GapPulse),
        }
    }

    /// Opens the gaps, which also resets the upstream source.
    pub(super) fn open(&mut self, timers: &mut Timers) {
        timers.cancel(Timer::GapPulse);
        if !self.welded {
            self.bridged = None;
            self.tripped = false;
        }
    }

    /// Does what is due. True if something was.
    pub(super) fn due(&mut self, now: i64, timers: &mut Timers) -> bool {
        let mut acted = false;
        if timers.take(Timer::UpstreamTrip, now) {
            self.tripped = true;
            timers.cancel(Timer::UpstreamRelief);
            acted = true;
        }
        if timers.take(Timer::UpstreamRelief, now) {
            timers.cancel(Timer::UpstreamTrip);
            acted = true;
        }
        if timers.take(Timer::GapPulse, now) {
            self.open(timers);
            acted = true;
        }
        acted
    }

    /// Starts and stops the upstream source's own protection.
    pub(super) fn supervise(
        &mut self,
        now: i64,
        times: &FixtureTimes,
        observed: &Observed,
        timers: &mut Timers,
    ) {
        if self.tripped || self.bridged.is_none() {
            timers.cancel(Timer::UpstreamTrip);
            timers.cancel(Timer::UpstreamRelief);
        } else if observed.levels.upstream_above {
            timers.cancel(Timer::UpstreamRelief);
            if !timers.is_running(Timer::UpstreamTrip) {
                timers.set(Timer::UpstreamTrip, now + times.upstream_trip);
            }
        } else if timers.is_running(Timer::UpstreamTrip)
            && !timers.is_running(Timer::UpstreamRelief)
        {
            timers.set(Timer::UpstreamRelief, now + UPSTREAM_RELIEF);
        }
    }
}

/// The supply's own protection, where it rests instead of limiting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SupplyLogic {
    /// How long it bears its limit, and how long it rests.
    hiccup: Option<(i64, i64)>,
}

impl SupplyLogic {
    pub(super) fn new(fixture: &FixtureParameters) -> Self {
        let span = |seconds| BenchSpan::from_seconds(seconds).picoseconds();
        let supply = &fixture.supply;
        Self {
            hiccup: (supply.kind == SupplyKind::Hiccup)
                .then(|| (span(supply.hiccup_on), span(supply.hiccup_off))),
        }
    }

    /// Its output was switched: it begins anew.
    pub(super) fn restart(&mut self, settings: &mut Settings, timers: &mut Timers) {
        settings.supply_resting = false;
        timers.cancel(Timer::SupplyTrip);
        timers.cancel(Timer::SupplyRest);
    }

    /// Does what is due.
    pub(super) fn due(&mut self, now: i64, settings: &mut Settings, timers: &mut Timers) {
        let Some((_, rest)) = self.hiccup else {
            return;
        };
        if timers.take(Timer::SupplyTrip, now) {
            settings.supply_resting = true;
            timers.set(Timer::SupplyRest, now.saturating_add(rest));
        }
        if timers.take(Timer::SupplyRest, now) {
            settings.supply_resting = false;
        }
    }

    /// Starts and stops the clock of its patience.
    pub(super) fn supervise(&mut self, now: i64, observed: &Observed, timers: &mut Timers) {
        if let Some((patience, _)) = self.hiccup {
            let limiting = observed.sources.supply == SupplyMode::Limit;
            let due = now.saturating_add(patience);
            hold(timers, Timer::SupplyTrip, limiting, due);
        }
    }
}

/// The load's programme.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct LoadLogic {
    /// Slope of the set current in amperes per second.
    pub(super) slope: f64,
    /// A pulse or ramp is under way.
    pub(super) running: bool,
    target: f64,
    off_at_target: bool,
    /// It has come to nothing and is about to be off.
    resting: bool,
}

impl LoadLogic {
    pub(super) const fn new() -> Self {
        Self {
            slope: 0.0,
            running: false,
            target: 0.0,
            off_at_target: false,
            resting: false,
        }
    }

    /// A new setting, which ends any programme.
    pub(super) fn set(
        &mut self,
        mode: LoadMode,
        now: i64,
        times: &FixtureTimes,
        (kind, state, timers): (&mut LoadKind, &mut State, &mut Timers),
    ) {
        self.running = false;
        timers.cancel(Timer::LoadPulse);
        match mode {
            LoadMode::Off if *kind == LoadKind::Current => {
                self.head_for(0.0, now, times, state, timers);
                self.off_at_target = true;
            }
            LoadMode::Off => self.stop(LoadKind::Off, (kind, state, timers)),
            LoadMode::Current(current) => {
                *kind = LoadKind::Current;
                self.head_for(current.si().max(0.0), now, times, state, timers);
            }
            LoadMode::Resistance(resistance) => {
                let kept = LoadKind::Resistance(resistance.si().max(0.0));
                self.stop(kept, (kind, state, timers));
            }
        }
    }

    /// A setting that ends by itself at `until`.
    pub(super) fn pulse(&mut self, until: i64, timers: &mut Timers) {
        self.running = true;
        timers.set(Timer::LoadPulse, until);
    }

    /// A ramp of the set current.
    pub(super) fn ramp(
        &mut self,
        (from, to): (f64, f64),
        (now, duration): (i64, i64),
        (kind, state, timers): (&mut LoadKind, &mut State, &mut Timers),
    ) {
        timers.cancel(Timer::LoadPulse);
        let duration = duration.max(1);
        *kind = LoadKind::Current;
        state[I_SET] = from.max(0.0);
        self.target = to.max(0.0);
        self.slope = (self.target - state[I_SET]) / duration as f64 * PICOSECONDS as f64;
        self.off_at_target = false;
        self.resting = false;
        self.running = true;
        timers.set(Timer::LoadTarget, now + duration);
    }

    /// Does what is due. True if something was.
    pub(super) fn due(
        &mut self,
        now: i64,
        times: &FixtureTimes,
        (kind, state, timers): (&mut LoadKind, &mut State, &mut Timers),
    ) -> bool {
        let mut acted = false;
        if timers.take(Timer::LoadTarget, now) {
            state[I_SET] = self.target;
            self.slope = 0.0;
            if !timers.is_running(Timer::LoadPulse) {
                self.running = false;
            }
            if std::mem::take(&mut self.resting) {
                self.stop(LoadKind::Off, (kind, state, timers));
            } else if self.off_at_target {
                self.resting = true;
                timers.set(Timer::LoadTarget, now + times.load_rest);
            }
            acted = true;
        }
        if timers.take(Timer::LoadPulse, now) {
            self.set(LoadMode::Off, now, times, (kind, state, timers));
            acted = true;
        }
        acted
    }

    fn head_for(
        &mut self,
        target: f64,
        now: i64,
        times: &FixtureTimes,
        state: &State,
        timers: &mut Timers,
    ) {
        let way = target - state[I_SET];
        self.target = target;
        self.off_at_target = false;
        self.resting = false;
        self.slope = if way < 0.0 {
            -times.load_slew
        } else {
            times.load_slew
        };
        let span = libm::round(way.abs() / times.load_slew * PICOSECONDS as f64) as i64;
        timers.set(Timer::LoadTarget, now.saturating_add(span));
    }

    fn stop(
        &mut self,
        kept: LoadKind,
        (kind, state, timers): (&mut LoadKind, &mut State, &mut Timers),
    ) {
        *kind = kept;
        state[I_SET] = 0.0;
        state[I_LOAD] = 0.0;
        if kept == LoadKind::Off {
            state[V_LOAD] = 0.0;
        }
        self.resting = false;
        self.slope = 0.0;
        self.target = 0.0;
        self.off_at_target = false;
        timers.cancel(Timer::LoadTarget);
    }
}
