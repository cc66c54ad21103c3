//! What the signal scenario may be told and what it measures. How it is driven
//! and evaluated is said elsewhere.

use crate::ident::Role;
use crate::scenario::terms::{Censoring, Entry, Form, Metric, Need, Per, Setting, Worse};
use crate::units::Dimension;
use crate::waveform::Signal;

pub(in crate::scenario) static ENTRY: Entry = Entry {
    word: "signal",
    purpose: "a known packet stream at no load and at the rated current shows that the board \
              passes the signal on undistorted, cutouts included",
    roles: &[Role::Supply, Role::Capture, Role::Drive],
    signals: &[Signal::NodeVoltage, Signal::OutputCurrent],
    settings: &[
        Setting {
            name: "packets",
            form: Form::Words(&["idle", "reset", "speed", "page preset"]),
            default: "idle, reset, speed, page preset",
            doc: "The packets sent one behind the other, over and over: idle, reset, address 55 \
                  forward step 6 (S-9.2) and page preset (S-9.2.3).",
        },
        Setting {
            name: "loads",
            form: Form::Words(&["none", "rated"]),
            default: "none, rated",
            doc: "At which loading of the output it is captured; the rated current flows through \
                  the bench's resistor bank, or else through its load as a resistance.",
        },
        Setting {
            name: "cutouts",
            form: Form::Words(&["nominal", "none"]),
            default: "nominal",
            doc: "Whether packets are followed by the cutout of S-9.3.2; a board of one signal \
                  line cannot show one and is sent none.",
        },
        Setting::time("length", "40 ms", "How long one capture is."),
        Setting::time(
            "sampling_period",
            "200 ns",
            "Time between samples: 1 us at most for the asymmetry, 200 ns at most for the slew.",
        ),
        Setting::time(
            "settle",
            "50 ms",
            "Wait after the load before anything is captured.",
        ),
    ],
    metrics: &[
        Metric::unsigned(
            Per::Loading,
            "half_bit_of_a_one",
            Dimension::Time,
            Censoring::Never,
            Worse::Either,
            "Half-bit of a 1, from one crossing of zero by the rail-to-rail voltage to the next, each \
             read by a fit through all samples of its edge near zero; the mean of all, the \
             shortest and the longest, less what noise alone adds to an extreme. Where an edge \
             passes zero more than once, the last passing counts: from it on the voltage keeps \
             its new sign (S-9.1 times crossings of zero and does not say which).",
        ),
        Metric::unsigned(
            Per::Loading,
            "half_bit_of_a_zero",
            Dimension::Time,
            Censoring::Never,
            Worse::Either,
            "Half-bit of a 0 that is not stretched, between crossings of zero as for a 1; the mean of \
             all, the shortest and the longest, less what noise alone adds to an extreme.",
        ),
        Metric::unsigned(
            Per::Loading,
            "asymmetry",
            Dimension::Time,
            Censoring::Never,
            Worse::Larger,
            "Difference between the two halves of a 1, without sign: of the mean of all ones, \
             and of the worst of them. Not stated where the U of one reading is above a third of \
             the 3 us that S-9.1 allows.",
        ),
        Metric {
            censoring: Censoring::Above,
            ..Metric::unsigned(
                Per::Loading,
                "slew_rate",
                Dimension::VoltageSlew,
                Censoring::Never,
                Worse::Smaller,
                "Mean slope of the rail-to-rail voltage between -4 V and +4 V, from all edges of a \
                 direction laid over each other, of the slower direction: the mean and the \
                 slowest edge. A bound where less than one sampling period lies between, where \
                 four standard uncertainties of that time are as long as it, or where samples are \
                 more than 200 ns apart.",
            )
        },
        Metric::unsigned(
            Per::Loading,
            "crossing_distortion",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Larger,
            "Largest magnitude of the rail-to-rail voltage at which an edge runs backwards \
             between 10 % and 90 % by more than the noise; zero where none does.",
        ),
        Metric::unsigned(
            Per::Loading,
            "amplitude",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Either,
            "Peak amplitude of the rail-to-rail voltage: half the waveform amplitude of IEEE 181, \
             the distance of its two state levels by histogram, and the lowest and highest mean of a single \
             half-bit, crossings left out.",
        ),
        Metric::unsigned(
            Per::Loading,
            "amplitude_asymmetry",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Larger,
            "Difference of the magnitudes of the positive and the negative level, without sign: \
             of the state levels, and the largest between two half-bits that follow each other.",
        ),
        Metric::unsigned(
            Per::Loading,
            "overshoot",
            Dimension::Ratio,
            Censoring::Never,
            Worse::Larger,
            "Largest excursion past the new state level within three durations of the edge, as \
             a proportion of the distance of the levels, of the worse direction: of all edges laid \
             over each other, and of the worst single one, less what noise alone adds to a \
             maximum.",
        ),
        Metric::unsigned(
            Per::Loading,
            "propagation_delay",
            Dimension::Time,
            Censoring::Never,
            Worse::Larger,
            "From an edge of the input lines to the output's crossing of zero that answers it: \
             the mean of all and the longest. Where an edge passes zero more than once, or \
             pauses there in the bridge's dead time, the last passing counts: only from it on \
             does the voltage keep its new sign.",
        )
        .needing(&[Need::FirstInput]),
        Metric::unsigned(
            Per::Loading,
            "delay_range",
            Dimension::Time,
            Censoring::Never,
            Worse::Larger,
            "Longest less shortest propagation delay between the polarities in one capture; \
             what sampling and noise add is taken off and stated with it.",
        )
        .needing(&[Need::FirstInput]),
        Metric::unsigned(
            Per::Loading,
            "packet_errors",
            Dimension::Count,
            Censoring::Never,
            Worse::Larger,
            "Packets of the input lines that the output does not repeat bit for bit, and packets \
             of the output that were not sent, in one capture.",
        )
        .needing(&[Need::FirstInput]),
        Metric::unsigned(
            Per::Loading,
            "cutouts_missing",
            Dimension::Count,
            Censoring::Never,
            Worse::Larger,
            "Cutouts of the input lines in one capture during which the output's rails are not \
             joined.",
        ),
        Metric::unsigned(
            Per::Loading,
            "cutout_start",
            Dimension::Time,
            Censoring::Never,
            Worse::Either,
            "From the last edge of the packet end bit to the rails being joined, at a band of \
             2.5 V about zero: the mean, the earliest and the latest.",
        ),
        Metric::unsigned(
            Per::Loading,
            "cutout_end",
            Dimension::Time,
            Censoring::Never,
            Worse::Either,
            "From the last edge of the packet end bit to the rails being driven again, at a band \
             of 2.5 V about zero: the mean, the earliest and the latest.",
        ),
        Metric::unsigned(
            Per::Loading,
            "cutout_drop",
            Dimension::Voltage,
            Censoring::Never,
            Worse::Larger,
            "Mean magnitude of the rail-to-rail voltage within a cutout, its crossings left out, \
             with whatever current the loading sends through it: the mean and the worst cutout.",
        ),
    ],
};
