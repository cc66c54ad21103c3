//! Whether the capture device and the switch are fast and patient enough for a
//! plan: sampling periods, record lengths and pulses. Currents are checked
//! elsewhere.

use super::{Against, At, inrush, supply};
use crate::ident::Role;
use crate::profile::Profile;
use crate::scenario::Settings;
use crate::scenario::loss::BEFORE_LOSS;
use crate::units::{Quantity, Seconds};

impl Against<'_> {
    pub(super) fn sampling(&mut self, at: At<'_>) {
        let Some(range) = self.profile(Role::Capture).and_then(Profile::capture_range) else {
            return;
        };
        for (key, period, length) in captures(&at.scenario.settings) {
            if period < range.period {
                self.plan_fault(
                    &at.path(key),
                    "the capture device cannot sample so fast",
                    format!("{} or more", range.period),
                );
                continue;
            }
            // A tenth goes before the trigger, for the zero and the noise.
            let samples = 1.1 * length.si() / period.si();
            if samples > range.samples as f64 {
                self.plan_fault(
                    &at.path(key),
                    format!("this takes {samples:.0} samples, more than the capture device holds"),
                    format!("{} samples at most", range.samples),
                );
            }
        }
    }

    pub(super) fn pulses(&mut self, at: At<'_>) {
        let Some(range) = self.profile(Role::Switch).and_then(Profile::switch_range) else {
            return;
        };
        let pulses: Vec<(&str, Seconds)> = match &at.scenario.settings {
            Settings::Idle(_)
            | Settings::Load(_)
            | Settings::Sense(_)
            | Settings::Overload(_)
            | Settings::Signal(_)
            | Settings::Loss(_)
            | Settings::Soak(_) => Vec::new(),
            Settings::Inrush(i) => vec![
                ("length", inrush::connected(i.length)),
                ("close_look", inrush::connected(i.close_look)),
            ],
            Settings::Supply(s) => vec![("hold", supply::connected(s))],
            Settings::Short(short) => vec![
                ("pulse", short.pulse),
                ("recovery_pulse", short.recovery_pulse),
            ],
            Settings::Reversal(reversal) => vec![
                ("gap_pulse", reversal.gap_pulse),
                ("short_pulse", reversal.short_pulse),
            ],
        };
        for (key, pulse) in pulses {
            if pulse < range.shortest_pulse || pulse > range.longest_pulse {
                self.plan_fault(
                    &at.path(key),
                    "the switch does not end such a pulse by itself",
                    format!("{} to {}", range.shortest_pulse, range.longest_pulse),
                );
            }
        }
    }
}

/// The setting that names the period, the period, and how long is captured.
fn captures(settings: &Settings) -> Vec<(&'static str, Seconds, Seconds)> {
    match settings {
        Settings::Idle(i) => vec![("sampling_period", i.sampling_period, i.length)],
        Settings::Load(_) | Settings::Sense(_) | Settings::Soak(_) => Vec::new(),
        Settings::Inrush(i) => vec![
            ("coarse_period", i.coarse_period, i.length),
            ("sampling_period", i.sampling_period, i.close_look),
        ],
        Settings::Supply(s) => vec![("sampling_period", s.sampling_period, s.hold)],
        Settings::Overload(o) => vec![("sampling_period", o.sampling_period, o.pulse)],
        Settings::Short(s) => vec![
            ("sampling_period", s.sampling_period, s.pulse),
            ("coarse_period", s.coarse_period, s.recovery_pulse),
        ],
        Settings::Signal(s) => vec![("sampling_period", s.sampling_period, s.length)],
        Settings::Loss(l) => vec![("sampling_period", l.sampling_period, l.length + BEFORE_LOSS)],
        Settings::Reversal(r) => vec![
            ("sampling_period", r.sampling_period, r.pulse),
            ("sampling_period", r.sampling_period, r.short_pulse),
        ],
    }
}
