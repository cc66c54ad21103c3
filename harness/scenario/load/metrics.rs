//! What the load scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "load",
    purpose: "held steps from zero to the rated current show that the board carries it in both \
              polarities and how far its output gives way",
    roles: &[Role::Supply, Role::Load, Role::Capture, Role::Drive],
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
            default: "200 ms",
            doc: "How long each step is held and read.",
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
            key: "output_voltage",
            dimension: Dimension::Voltage,
            definition: "Mean magnitude of the rail-to-rail voltage at the board's output over \
                         the hold of a step, the drop along the stated output leads added back; \
                         no interpolation.",
            censoring: Censoring::Never,
            worse: Worse::Either,
            per: Per::Step,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "output_resistance",
            dimension: Dimension::Resistance,
            definition: "Slope of the output voltage magnitude over the output current by least \
                         squares through all steps of one polarity, sign changed; its \
                         uncertainty holds the slope's standard error and the common errors of \
                         shunt and gain.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Polarity,
            signed: true,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "level_asymmetry",
            dimension: Dimension::Voltage,
            definition: "Largest difference between the output voltage magnitudes of the two \
                         polarities at one step, held or within one alternating capture, \
                         without sign.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "supply_droop",
            dimension: Dimension::Voltage,
            definition: "Mean of the board's supply rail over the hold of the step of least \
                         current less that over the step of most, the largest over the states \
                         of the output; no interpolation.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: true,
            statement: false,
            needs: &[Need::Channel(Signal::BoardSupply)],
        },
        Metric {
            key: "ripple",
            dimension: Dimension::Voltage,
            definition: "Peak to peak of the output voltage magnitude over the hold of the last \
                         step, of an alternating output over the second half of each half-bit, \
                         where ringing has died away; the sample noise inflates it and is \
                         stated with it.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Polarity,
            signed: false,
            statement: false,
            needs: &[],
        },
    ],
};
