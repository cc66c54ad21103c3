//! What the short scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "short",
    purpose: "a hard short near the board and one at the far end of the bus, held and then \
              removed, show that the board protects the layout and comes back by itself",
    roles: &[Role::Supply, Role::Switch, Role::Capture, Role::Drive],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting {
            name: "places",
            form: Form::Words(&["near", "far"]),
            default: "near, far",
            doc: "Where the short is made: at the board, or behind the stated bus resistance.",
        },
        Setting::one(
            "pulse",
            Dimension::Time,
            "40 ms",
            "How long the short is closed: at least twice the limit of the trip time.",
        ),
        Setting::one(
            "sampling_period",
            Dimension::Time,
            "2 us",
            "Time between samples of the pulse.",
        ),
        Setting::one(
            "coarse_period",
            Dimension::Time,
            "20 us",
            "Time between samples of the recovery pulse.",
        ),
        Setting::one(
            "recovery_pulse",
            Dimension::Time,
            "2 s",
            "How long the short is held to see the board retry into it.",
        ),
        Setting::one(
            "onset_level",
            Dimension::Current,
            "the nominal trip current",
            "The magnitude whose first crossing starts the trip time.",
        ),
        Setting {
            name: "repeats",
            form: Form::One(Dimension::Count),
            default: "5",
            doc: "Closings at each place, their phase left to chance; the worst is judged.",
        },
    ],
    metrics: &[
        Metric::unsigned(
            Per::Place,
            "peak_current",
            Dimension::Current,
            Censoring::Above,
            Worse::Larger,
            "Largest magnitude of the current from inception to interruption, less what the \
             largest of many noisy samples adds and with what may lie between samples; a sample \
             at the end of the channel's range makes it a bound. Of several closings U \
             holds what another phase of the signal would have changed.",
        ),
        Metric::unsigned(
            Per::Place,
            "trip_time",
            Dimension::Time,
            Censoring::Both,
            Worse::Larger,
            "Interruption less onset on the current's magnitude: from its first rising crossing \
             of the onset level, interpolated and contact bounce counted as one fault, \
             to the last instant before it stays under the off level for longer than the \
             longest half-bit and any cutout, while the short is proven closed. Of several \
             closings U holds what another phase of the signal would have changed.",
        )
        .needing(&[Need::LowestSupply]),
        Metric::unsigned(
            Per::Place,
            "let_through",
            Dimension::LetThrough,
            Censoring::Above,
            Worse::Larger,
            "Integral of the squared current by the trapezoidal rule from inception, the first \
             departure beyond noise after the switch marker, to interruption, less the noise's \
             own square.",
        ),
        Metric::unsigned(
            Per::Place,
            "retries",
            Dimension::Count,
            Censoring::Never,
            Worse::Either,
            "Onsets after the first within the recovery pulse, each followed by an interruption.",
        ),
        Metric::unsigned(
            Per::Place,
            "retry_interval",
            Dimension::Time,
            Censoring::Above,
            Worse::Either,
            "Mean time from an interruption to the next onset within the recovery pulse, both \
             interpolated on the coarse capture.",
        ),
        Metric::unsigned(
            Per::Place,
            "recovery_time",
            Dimension::Time,
            Censoring::Above,
            Worse::Larger,
            "From the proven opening of the short after the recovery pulse to the first instant \
             from which the output voltage's magnitude stays above 90 % of its mean before the \
             short, crossings and cutouts left out. Of several closings U holds what \
             another phase of the signal would have changed.",
        ),
        Metric::unsigned(
            Per::Place,
            "supply_dip",
            Dimension::Voltage,
            Censoring::Above,
            Worse::Larger,
            "Mean of the board's supply rail before the trigger less its lowest value from \
             inception to interruption; no interpolation. Of several closings U holds half \
             of what they differ by.",
        )
        .needing(&[Need::Channel(Signal::BoardSupply)]),
        Metric::unsigned(
            Per::Place,
            "recovered_voltage",
            Dimension::Ratio,
            Censoring::Never,
            Worse::Smaller,
            "Mean magnitude of the output voltage at its levels (its crossings and cutouts left out) \
             after recovery divided by that before the short, both unloaded.",
        ),
    ],
};
