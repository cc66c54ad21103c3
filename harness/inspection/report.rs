//! Everything that an inspection found, ready to be shown. It computes nothing
//! but the standing over all demands.

use super::odd::odd;
use super::rows::rows;
use super::{Audience, Heard, RuleRow, Standing, Stretch, Trip};
use crate::capture_file::SampleFacts;
use crate::track::SignalReport;
use crate::units::Quantity;

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
    /// What was held against limits.
    pub rows: Vec<RuleRow>,
    /// Packets in words and how many.
    pub packets: Vec<(String, u64)>,
    /// What of the samples is not known or not to be trusted, where that was
    /// looked at.
    pub facts: Option<SampleFacts>,
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
            facts: None,
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
        self.rows = rows(&heard.report, at, self.period);
        self.odd.extend(odd(&heard.report));
        self.packets = heard.packets;
        self.signal = Some(heard.report);
    }

    /// The same of a voltage.
    pub fn add_voltage(&mut self, heard: Heard, at: Audience) {
        let silent = heard.report.edges == 0;
        self.add(heard, at);
        if silent {
            let words = "the voltage never passes zero: is it measured from rail to rail?";
            self.odd.push(words.to_owned());
        }
    }
}
