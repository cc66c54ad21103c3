//! What the reversal scenario may be told and what it measures. How it is
//! driven and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "reversal",
    purpose: "a section boundary bridged against the wrong polarity, both ways, and a true short \
              in reversing mode show that the board turns its output in time and only then trips",
    roles: &[Role::Supply, Role::Switch, Role::Capture, Role::Drive],
    signals: &[
        Signal::NodeVoltage,
        Signal::OutputCurrent,
        Signal::GapCurrent,
        Signal::UpstreamVoltage,
    ],
    settings: &[
        Setting {
            name: "directions",
            form: Form::Words(&["forward", "back"]),
            default: "forward, back",
            doc: "Which way a reversal is asked for: forward closes the crossed gap on a board \
                  in phase with the upstream, back closes the straight gap on one reversed.",
        },
        Setting::time(
            "pulse",
            "100 ms",
            "How long a capture of one closing is: at least twice the limit of the reversal time.",
        ),
        Setting::time(
            "gap_pulse",
            "60 ms",
            "How long the boundary stays bridged; the capture goes on after it to see that the \
             board holds the new polarity alone.",
        ),
        Setting::time(
            "short_pulse",
            "100 ms",
            "How long the true short is closed: at least twice the limit of the trip time.",
        ),
        Setting::time("sampling_period", "2 us", "Time between samples."),
        Setting {
            name: "onset_level",
            form: Form::One(Dimension::Current),
            default: "the nominal trip current",
            doc: "The magnitude whose first crossing starts the trip time of the true short.",
        },
    ],
    metrics: &[
        Metric {
            key: "reversal_time",
            dimension: Dimension::Time,
            definition: "From the bridge closing, seen on its marker, to the first sample of the \
                         output voltage in the new polarity against the input's phase that lasts \
                         ten half-bits or more; the edge is interpolated at zero volts. U \
                         holds what another phase of the signal at the closing would have \
                         changed.",
            censoring: Censoring::Both,
            worse: Worse::Larger,
            per: Per::Direction,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "peak_current",
            dimension: Dimension::Current,
            definition: "Largest magnitude of the gap current from the bridge closing to the \
                         reversal, edge spikes shorter than the delay difference and three loop \
                         time constants left out.",
            censoring: Censoring::Above,
            worse: Worse::Larger,
            per: Per::Direction,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "reversals",
            dimension: Dimension::Count,
            definition: "Changes of the output's phase against the input in the whole capture, \
                         each lasting ten half-bits or more; one is right.",
            censoring: Censoring::Never,
            worse: Worse::Either,
            per: Per::Direction,
            signed: false,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "selectivity_margin",
            dimension: Dimension::Time,
            definition: "The upstream protection's trip time at the mismatch current, as the \
                         bench states or measured it, less the reversal time; below zero the \
                         upstream trips first.",
            censoring: Censoring::Both,
            worse: Worse::Smaller,
            per: Per::Direction,
            signed: true,
            statement: false,
            needs: &[],
        },
        Metric {
            key: "trip_time",
            dimension: Dimension::Time,
            definition: "Trip time on a true short near the board while reversing is enabled, \
                         from the first rising crossing of the onset level, interpolated, \
                         to the interruption; any reversal tried first is in it. U holds \
                         what another phase of the signal would have changed.",
            censoring: Censoring::Both,
            worse: Worse::Larger,
            per: Per::Run,
            signed: false,
            statement: false,
            needs: &[Need::LowestSupply],
        },
    ],
};
