//! What the overload scenario may be told and what it measures. How it is
//! driven and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "overload",
    purpose: "a slow ramp, steps to multiples of the trip current and a long hold just below it \
              show that the board trips where and when it should, and not before",
    roles: &[Role::Supply, Role::Load, Role::Capture, Role::Drive],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting::one(
            "ramp_from",
            Dimension::Current,
            "80 % of the nominal trip current",
            "Where the slow ramp starts.",
        ),
        Setting::one(
            "ramp_to",
            Dimension::Current,
            "150 % of the nominal trip current",
            "Where it ends when the board has not tripped before.",
        ),
        Setting::one(
            "ramp_time",
            Dimension::Time,
            "2 s",
            "How long the ramp takes; its rate times the trip delay is a bias that is corrected.",
        ),
        Setting {
            name: "multiples",
            form: Form::List(Dimension::Ratio),
            default: "1.5, 2, 3",
            doc: "Multiples of the nominal trip current that are applied as steps.",
        },
        Setting::one(
            "pulse",
            Dimension::Time,
            "100 ms",
            "How long each multiple is applied: at least twice the limit of the trip time.",
        ),
        Setting::one(
            "hold_current",
            Dimension::Current,
            "90 % of the nominal trip current",
            "The current just below the trip current that must not trip.",
        ),
        Setting::one("hold_time", Dimension::Time, "5 s", "How long it is held."),
        Setting::one(
            "onset_level",
            Dimension::Current,
            "the nominal trip current",
            "The magnitude whose first crossing starts the trip time.",
        ),
        Setting::one(
            "off_level",
            Dimension::Current,
            "5 % of the rated current",
            "The magnitude below which the current counts as interrupted; never less than four \
             times the noise with the offset's uncertainty.",
        ),
        Setting::one(
            "sampling_period",
            Dimension::Time,
            "2 us",
            "Time between samples of the steps.",
        ),
    ],
    metrics: &[
        Metric {
            key: "trip_current",
            dimension: Dimension::Current,
            definition: "Top state of the current's magnitude over the last ten whole half-bits \
                         before the interruption of the slow ramp, less the ramp's rate times \
                         the trip time measured at the smallest multiple.",
            censoring: Censoring::Above,
            worse: Worse::Either,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "trip_time",
            dimension: Dimension::Time,
            definition: "Interruption less onset on the current's magnitude: from its first \
                         rising crossing of the onset level, interpolated, to the last \
                         instant before it stays under the off level for longer than the \
                         longest half-bit and any cutout. U holds what another phase of the \
                         signal would have changed.",
            censoring: Censoring::Both,
            worse: Worse::Larger,
            per: Per::Multiple,
            signed: false,
            statement: false,
            needs: &[Need::LowestSupply],
        },
        Metric {
            key: "nuisance_trips",
            dimension: Dimension::Count,
            definition: "Interruptions of the output during the whole hold just below the trip \
                         current; an interruption counts when the current's magnitude stays \
                         under the off level for longer than the longest half-bit and any \
                         cutout.",
            censoring: Censoring::Never,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[],
        },
    ],
};
