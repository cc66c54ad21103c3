//! What the supply scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "supply",
    purpose: "the customer's supply, loaded directly up to the trip current, shows whether the \
              board would ever see the current at which it is meant to trip",
    roles: &[
        Role::Supply,
        Role::Load,
        Role::Capture,
        Role::Switch,
        Role::Drive,
    ],
    signals: &[Signal::BoardSupply],
    settings: &[
        Setting {
            name: "steps",
            form: Form::List(Dimension::Current),
            default: "50, 75, 90, 95, 105 and 110 % of the trip current",
            doc: "The currents drawn one after the other, rising; the trip current itself lies \
                  between two of them, so that neither is in doubt.",
        },
        Setting::time(
            "settle",
            "200 ms",
            "Wait after each step before anything is read.",
        ),
        Setting::time(
            "hold",
            "3 s",
            "How long each step is watched: a supply that protects itself and tries again must \
             show both.",
        ),
        Setting::time("sampling_period", "200 us", "Time between samples."),
    ],
    metrics: &[
        Metric::unsigned(
            Per::Run,
            "delivered_current",
            Dimension::Current,
            Censoring::Both,
            Worse::Smaller,
            "The load's own reading at the highest step at which the board's supply rail stays \
             above the plan's lowest supply voltage by more than U; above it where no step \
             brings the rail down, below the first step where every one does.",
        ),
        Metric::unsigned(
            Per::Run,
            "droop",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Larger,
            "Mean of the supply rail before the load less that over the highest step that \
             holds.",
        ),
        Metric::unsigned(
            Per::Run,
            "hiccup",
            Dimension::Count,
            Censoring::Never,
            Worse::Larger,
            "1 where within one look the supply rail falls below the lowest supply voltage, \
             comes back and falls again; 0 otherwise. The step that brings the rail down is \
             looked at once more with the load as a resistance, since a load that goes on asking \
             for its current keeps a resting supply down. Lows of one sample do not count.",
        )
        .stating(),
        Metric::unsigned(
            Per::Run,
            "trip_reachable",
            Dimension::Count,
            Censoring::Never,
            Worse::Smaller,
            "1 where the delivered current less its U is the plan's trip current or more; 0 \
             where a step that fails, with its U, lies at the trip current or under it; \
             inconclusive between.",
        )
        .stating(),
    ],
};
