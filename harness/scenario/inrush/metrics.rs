//! What the inrush scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "inrush",
    purpose: "a start into a bank of empty capacitors behind diodes, as a layout full of \
              vehicles is one, shows that the board gets going instead of tripping for ever",
    roles: &[Role::Supply, Role::Capture, Role::Switch, Role::Drive],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting::time(
            "length",
            "2.5 s",
            "How long a start is watched: several retries must fit into it.",
        ),
        Setting::time(
            "coarse_period",
            "20 us",
            "Time between samples of that; it must not miss a half-bit.",
        ),
        Setting::time(
            "close_look",
            "60 ms",
            "How long a start of its own is watched finely, for the peak.",
        ),
        Setting::time(
            "sampling_period",
            "2 us",
            "Time between samples of the close look.",
        ),
        Setting {
            name: "repeats",
            form: Form::One(Dimension::Count),
            default: "1",
            doc: "Starts of each kind, the bank emptied before each.",
        },
    ],
    metrics: &[
        Metric {
            key: "starts",
            dimension: Dimension::Count,
            definition: "1 where the magnitude of the rail-to-rail voltage, once at a quarter of \
                         the nominal supply voltage or above, in the end stays there until the \
                         capture ends, for longer than any stretch before it that ended; 0 \
                         otherwise. Lows no longer than a half-bit and a cutout do not count.",
            censoring: Censoring::Never,
            worse: Worse::Smaller,
            per: Per::Run,
            signed: false,
            statement: true,
            needs: &[],
        },
        Metric {
            key: "nuisance_trips",
            dimension: Dimension::Count,
            definition: "Stretches of output, by the same level, that ended while it was \
                         watched: each is a trip at a load that is no fault.",
            censoring: Censoring::Above,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "peak_current",
            dimension: Dimension::Current,
            definition: "Largest magnitude of the output current from the departure beyond noise \
                         to the end of the close look, of all starts, less what the largest of \
                         many noisy samples adds and with what may lie between samples.",
            censoring: Censoring::Above,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "charge",
            dimension: Dimension::Charge,
            definition: "Integral of the output current, turned by the sign of the rail-to-rail \
                         voltage, over the close look by the trapezoidal rule; what the bank and \
                         its bleeder took.",
            censoring: Censoring::Never,
            worse: Worse::Either,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "time_to_start",
            dimension: Dimension::Time,
            definition: "From the first instant at which the output is on, by the level of \
                         `starts`, to that from which it stays on until the capture ends: zero \
                         without a trip. A bound where it does not.",
            censoring: Censoring::Above,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
    ],
};
