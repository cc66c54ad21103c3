//! What the sense scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "sense",
    purpose: "held steps from zero to the rated current against the board's own reading give the \
              current of one count, the number on the board's label",
    roles: &[
        Role::Supply,
        Role::Load,
        Role::Capture,
        Role::Drive,
        Role::Console,
    ],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting {
            name: "steps",
            form: Form::List(Dimension::Current),
            default: "0, 25, 50, 75 and 100 % of the rated current",
            doc: "The currents held one after the other, rising.",
        },
        Setting {
            name: "settle",
            form: Form::One(Dimension::Time),
            default: "50 ms",
            doc: "Wait after each step before anything is read.",
        },
        Setting {
            name: "hold",
            form: Form::One(Dimension::Time),
            default: "50 ms",
            doc: "How long the current is captured; half of the board's readings are taken \
                  before it and half after.",
        },
        Setting {
            name: "readings",
            form: Form::One(Dimension::Count),
            default: "10",
            doc: "Readings of the board at each step.",
        },
        Setting {
            name: "last_count",
            form: Form::One(Dimension::Count),
            default: "",
            doc: "The board's reading at the end of its converter: 2^n - 1 for n bits.",
        },
        Setting {
            name: "polarities",
            form: Form::Words(&["positive", "negative", "alternating"]),
            default: "positive, negative",
            doc: "The states of the output in which the steps are taken; of a board that goes dead \
                  without a signal alternating alone.",
        },
    ],
    metrics: &[
        Metric {
            key: "scale_factor",
            dimension: Dimension::CountScale,
            definition: "Reciprocal of the slope, common to all polarities, of the board's mean \
                         counts over the magnitude of the mean output current by least squares \
                         through all steps; its uncertainty holds the slope's standard error and \
                         the common errors of shunt and gain.",
            censoring: Censoring::Above,
            worse: Worse::Either,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "zero_offset",
            dimension: Dimension::Current,
            definition: "Counts of the fitted line at no current, the mean over the polarities, \
                         times the scale factor: what the board believes to flow when nothing \
                         does.",
            censoring: Censoring::Never,
            worse: Worse::Either,
            per: Per::Run,
            signed: true,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "non_linearity",
            dimension: Dimension::Current,
            definition: "Largest distance of a step's mean counts from the line fitted through \
                         its polarity with the common slope, times the scale factor, without \
                         sign; the converter's own steps are part of it.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "full_scale",
            dimension: Dimension::Current,
            definition: "Current at which the fitted line reaches the board's last count, \
                         extrapolated beyond the steps.",
            censoring: Censoring::Never,
            worse: Worse::Smaller,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
    ],
};
