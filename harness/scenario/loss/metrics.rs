//! What the loss scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "loss",
    purpose: "the input signal stops, or one of two lines breaks, and the rails must go dead \
              before a locomotive runs away on what is left of them",
    roles: &[Role::Supply, Role::Capture, Role::Drive],
    signals: &[Signal::NodeVoltage],
    settings: &[
        Setting {
            name: "causes",
            form: Form::Words(&["signal stops", "line a breaks", "line b breaks"]),
            default: "signal stops",
            doc: "How the signal is lost; a line breaks only on a board of two.",
        },
        Setting::time(
            "length",
            "100 ms",
            "How long the output is watched after the loss: at least twice the limit.",
        ),
        Setting::time("sampling_period", "2 us", "Time between samples."),
    ],
    metrics: &[
        Metric {
            key: "shutdown_time",
            dimension: Dimension::Time,
            definition: "From the last edge of the input (of the broken line, where one breaks) \
                         to the last instant before the output voltage's magnitude stays under a \
                         twentieth of the supply voltage for ten of the longest half-bits and any \
                         cutout; interpolated linearly.",
            censoring: Censoring::Above,
            worse: Worse::Larger,
            per: Per::Cause,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "residual_dc",
            dimension: Dimension::Voltage,
            definition: "Mean of the rail-to-rail voltage over the last quarter of the time from \
                         the loss to the end of the capture, without its sign; what still \
                         alternates adds half a half-bit's share to its uncertainty.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Cause,
            signed: false,
            statement: false,
            needs: &[],
        },
    ],
};
