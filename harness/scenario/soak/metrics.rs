//! What the soak scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "soak",
    purpose: "the rated current for minutes shows how warm the board gets in the end and that \
              it goes on delivering",
    roles: &[
        Role::Supply,
        Role::Load,
        Role::Capture,
        Role::Drive,
        Role::Thermometer,
    ],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting {
            name: "current",
            form: Form::One(Dimension::Current),
            default: "the rated current",
            doc: "The current that is held.",
        },
        Setting::time(
            "rest",
            "60 s",
            "How long the board is watched without power before, for its ambient.",
        ),
        Setting::time("length", "300 s", "How long the current is held."),
        Setting::time(
            "interval",
            "10 s",
            "Time between two looks at temperature and output.",
        ),
        Setting {
            name: "polarities",
            form: Form::Words(&["positive", "negative", "alternating"]),
            default: "alternating",
            doc: "The states of the output in which it is held, one after the other.",
        },
    ],
    metrics: &[
        Metric::unsigned(
            Per::Polarity,
            "temperature_rise",
            Dimension::TemperatureDifference,
            Censoring::Above,
            Worse::Larger,
            "Steady case temperature less the ambient. Steady is the end of one exponential \
             fitted by least squares to all readings under load; ambient is what the readings \
             without power lead to with the same time constant. Where the record is shorter \
             than two time constants, the extrapolation's U is above a tenth of the rise, or \
             the readings lie further beside the exponential than their scatter explains, the \
             last reading is a bound.",
        ),
        Metric::unsigned(
            Per::Polarity,
            "thermal_time_constant",
            Dimension::Time,
            Censoring::Never,
            Worse::Either,
            "Time constant of that exponential; not stated where the steady temperature is not.",
        ),
        Metric::unsigned(
            Per::Polarity,
            "output_drift",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Larger,
            "Mean magnitude of the rail-to-rail voltage at its levels in the first look under \
             load less the lowest of any look; an output that goes dead drifts by all of it.",
        ),
    ],
};
