//! Everything that an inspection found, ready to be shown. It computes nothing
//! but the standing over all demands.

use super::odd::odd;
use super::rows::{nothing_heard, rows};
use super::{Audience, CutOff, Heard, RuleRow, Standing, Stretch, Trip, Unread};
use crate::track::{Packet, SignalReport};
use crate::units::{Dimension, Quantity, show};

/// Everything about a capture file.
#[derive(Clone, Debug, PartialEq)]
pub struct Inspection {
    /// The file's name.
    pub file: String,
    /// Its format in words.
    pub format: &'static str,
    /// The wire or column that was read.
    pub channel: String,
    /// Samples.
    pub samples: u64,
    /// Whether U holds what is known of the scale and the clock.
    pub scale_known: bool,
    /// Time between them, s.
    pub period: f64,
    /// How the period is known.
    pub period_from: &'static str,
    /// First to last instant, s.
    pub length: f64,
    /// The rules' name.
    pub rules: &'static str,
    /// Half of a 1, half of a 0: least and most, s.
    pub limits: [f64; 4],
    /// The signal, where a voltage or a wire was read.
    pub signal: Option<SignalReport>,
    /// What was compared with limits.
    pub rows: Vec<RuleRow>,
    /// Packets in words and how many.
    pub packets: Vec<(String, u64)>,
    /// Every packet, up to what the reader keeps.
    pub packet_list: Vec<Packet>,
    /// Packets that the list has no room for.
    pub packets_unlisted: u64,
    /// What is no reading, and where there is no signal.
    pub unread: Option<Unread>,
    /// What is odd.
    pub odd: Vec<String>,
    /// Stretches worth looking at, the one to plot first.
    pub stretches: Vec<Stretch>,
    /// A trip, where a current was named.
    pub trip: Option<Trip>,
}

impl Inspection {
    /// The facts of a file and the rules in force `at` that place, before what was
    /// heard.
    pub fn new(file: String, format: &'static str, channel: String, at: Audience) -> Self {
        let rules = at.rules();
        Self {
            file,
            format,
            channel,
            samples: 0,
            scale_known: false,
            period: 0.0,
            period_from: "",
            length: 0.0,
            rules: rules.name,
            limits: [rules.one.0, rules.one.1, rules.zero.0, rules.zero.1]
                .map(|limit| limit.seconds().si()),
            signal: None,
            rows: Vec::new(),
            packets: Vec::new(),
            packet_list: Vec::new(),
            packets_unlisted: 0,
            unread: None,
            odd: Vec::new(),
            stretches: Vec::new(),
            trip: None,
        }
    }

    /// The standing over all demands; `None` when nothing was judged.
    pub fn standing(&self) -> Option<Standing> {
        self.rows.iter().map(|row| row.standing).max()
    }

    /// Adds what was heard in the signal, and how it stands to the rules.
    pub fn add(&mut self, heard: Heard, at: Audience) {
        self.rows = rows(&heard, at, self.period);
        self.odd.extend(odd(&heard.report, &heard.unread));
        for (cut, name) in heard.unread.clipped.iter().zip(["positive", "negative"]) {
            self.odd.extend(cut.as_ref().map(|cut| cut_off(cut, name)));
        }
        self.unread = Some(heard.unread);
        self.packets = heard.packets;
        self.signal = Some(heard.report);
    }

    /// The same of a voltage.
    pub fn add_voltage(&mut self, heard: Heard, at: Audience) {
        let silent = nothing_heard(&heard);
        self.add(heard, at);
        if let Some(words) = silent {
            self.odd.push(words.to_owned());
        }
    }
}

/// Where the range ends.
fn cut_off(cut: &CutOff, name: &str) -> String {
    let at = show(cut.level, Dimension::Voltage);
    let end = if cut.last_code {
        "that is the last code of the file's type"
    } else {
        "the range ends there"
    };
    let places = match cut.spans.first.first() {
        None => String::new(),
        Some(first) => format!(" ({} times, first at {:.6} s)", cut.spans.count, first.from),
    };
    format!("{name} halves are cut off flat at {at}{places}: {end}, the voltage may be more")
}
