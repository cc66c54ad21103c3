//! What the idle scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

/// Something that is done (1) or not (0).
const fn obeyed(key: &'static str, per: Per, definition: &'static str) -> Metric {
    Metric::unsigned(
        per,
        key,
        Dimension::Count,
        Censoring::Never,
        Worse::Smaller,
        definition,
    )
    .stating()
}

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "idle",
    purpose: "the supply raised in steps under a low current limit, the output off, braked and \
              then on without a load, show a wrongly built board before anything can hurt it",
    roles: &[Role::Supply, Role::Capture, Role::Drive],
    signals: &[Signal::NodeVoltage],
    settings: &[
        Setting {
            name: "supply_steps",
            form: Form::List(Dimension::Voltage),
            default: "half the lowest supply voltage, that voltage, and the supply voltage",
            doc: "The supply voltages with the output off, rising; the states follow at the last.",
        },
        Setting::one(
            "current_limit",
            Dimension::Current,
            "500 mA",
            "The supply's current limit in every state.",
        ),
        Setting::one(
            "settle",
            Dimension::Time,
            "200 ms",
            "Wait after each change before anything is read; the supply's meter is then read \
             until it shows the same twice, since some renew their readings twice a second.",
        ),
        Setting::one(
            "length",
            Dimension::Time,
            "20 ms",
            "How long the output is captured in each state.",
        ),
        Setting::one(
            "sampling_period",
            Dimension::Time,
            "2 us",
            "Time between samples.",
        ),
        Setting {
            name: "states",
            form: Form::Words(&["off", "braked", "on"]),
            default: "off, braked, on",
            doc: "What is asked of the output by its enable and brake lines.",
        },
        Setting {
            name: "polarities",
            form: Form::Words(&["positive", "negative", "alternating"]),
            default: "alternating, positive, negative",
            doc: "How the output is driven while it is on; of a board that goes \
                  dead without a signal alternating alone.",
        },
    ],
    metrics: &[
        Metric {
            key: "input_current_off",
            dimension: Dimension::Current,
            definition: "The supply's own reading of its current at the last supply step, the \
                         output off; where the supply limits its current, that reading is a bound.",
            censoring: Censoring::Above,
            worse: Worse::Either,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "input_current_on",
            dimension: Dimension::Current,
            definition: "The supply's own reading of its current with the output on and unloaded \
                         but for the bench's bleeder; where the supply limits its current, that \
                         reading is a bound.",
            censoring: Censoring::Above,
            worse: Worse::Either,
            per: Per::Polarity,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "off_voltage",
            dimension: Dimension::Voltage,
            definition: "Mean of the rail-to-rail voltage over the capture at the last supply \
                         step, the output off, without its sign; no interpolation.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "off_leakage",
            dimension: Dimension::Current,
            definition: "The off voltage divided by the resistance of the bench's bleeder across \
                         the node: the current that the output drives through it while off.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        obeyed(
            "off_when_disabled",
            Per::Run,
            "1 where the top state of the output voltage's magnitude is below a tenth of the \
             supply voltage while the board is disabled and above half of it in every state that \
             is on, else 0.",
        ),
        obeyed(
            "off_when_braked",
            Per::Run,
            "1 where the top state of the output voltage's magnitude is below a tenth of the \
             supply voltage while the board is enabled and braked and above half of it in every \
             state that is on, else 0.",
        ),
        obeyed(
            "polarity_correct",
            Per::Polarity,
            "1 where the output voltage has the sign that the input asks for in three quarters \
             of all samples beyond half the supply voltage, and half of all samples are; else 0. \
             Alternating, the first input line says which sign.",
        ),
        obeyed(
            "fault_line_inactive",
            Per::Run,
            "1 where the board's fault line is low at every sample of every capture at the last \
             supply step, else 0.",
        )
        .needing(&[Need::FaultLine]),
    ],
};
