//! How the parts of a bench must fit together: numbers used once, lines that
//! exist, and no second earth path. Each part alone was checked when read.

use super::bench::Bench;
use super::parts::*;
use crate::document::{Fault, Place, Table};
use crate::ident::Role;
use std::collections::BTreeMap;
use std::fmt::Debug;

/// Notes every fault of `bench` as a whole, its instruments as written.
pub(super) fn check(bench: &Bench, root: &Table<'_>) {
    let checks = Checks { bench, root };
    checks.instruments();
    checks.numbers_used_once();
    checks.branches();
    checks.earth_paths();
    checks.envelope();
}

struct Checks<'a> {
    bench: &'a Bench,
    root: &'a Table<'a>,
}

impl Checks<'_> {
    fn place(&self, path: &str) -> Place {
        self.bench
            .places
            .find(path)
            .unwrap_or(self.root.place())
            .clone()
    }

    fn fault(&self, path: &str, message: impl Into<String>, expected: &str) {
        self.root
            .fault(Fault::error(&self.place(path), message).expected(expected));
    }

    fn instruments(&self) {
        if self.bench.instruments.is_empty() {
            self.fault(
                "",
                "this bench has no instruments",
                "`[[instrument]]` tables",
            );
        }
        for (index, second) in self.bench.instruments.iter().enumerate() {
            let before = &self.bench.instruments[..index];
            let path = |key: &str| format!("instrument.{index}.{key}");
            if before.iter().any(|first| first.role == second.role) {
                let message = format!("there is more than one {}", second.role);
                self.fault(&path("role"), message, "one instrument for each role");
            } else if !matches!(second.port, Port::Model | Port::Person)
                && let Some(first) = before.iter().find(|first| first.port == second.port)
            {
                let message = format!("the {} has the port of the {}", second.role, first.role);
                self.fault(&path("profile"), message, "a port of its own");
            }
        }
        let models = self
            .bench
            .instruments
            .iter()
            .filter(|i| i.port == Port::Model);
        let models = models.count();
        if models > 0 && models < self.bench.instruments.len() {
            self.fault(
                "instrument",
                "some instruments are models and some are real",
                "all of one kind: a model cannot feed a real board",
            );
        } else if models == 0 && self.bench.model.is_some() {
            self.fault(
                "model",
                "the bench has a `[model]` table, but its instruments are real",
                "`model = true` as the port of every instrument",
            );
        }
    }

    fn numbers_used_once(&self) {
        self.once("channel", "number", &self.bench.channels, |c| c.number);
        self.once("channel", "measures", &self.bench.channels, |c| c.measures);
        self.once("line", "number", &self.bench.lines, |l| l.number);
        // Each branch may have a marker and a pilot of its own.
        self.once("line", "carries", &self.bench.lines, |l| match l.carries {
            Carries::Marker | Carries::Pilot => (l.carries, l.number),
            once => (once, 0),
        });
        self.once("branch", "number", &self.bench.branches, |b| {
            match b.closer {
                Closer::Switch(number) => Some(number),
                Closer::Load => None,
            }
        });
        self.once("branch", "closes", &self.bench.branches, |b| b.closes);
    }

    fn once<T, K: Ord + Debug>(&self, list: &str, key: &str, items: &[T], of: impl Fn(&T) -> K) {
        let mut seen: BTreeMap<K, usize> = BTreeMap::new();
        for (index, item) in items.iter().enumerate() {
            if let Some(first) = seen.insert(of(item), index) {
                let other = self.place(&format!("{list}.{first}.{key}"));
                self.fault(
                    &format!("{list}.{index}.{key}"),
                    format!("this `{key}` is used twice"),
                    &format!("another than in line {}", other.line_and_column().0),
                );
            }
        }
    }

    fn branches(&self) {
        for (index, branch) in self.bench.branches.iter().enumerate() {
            let path = |key: &str| format!("branch.{index}.{key}");
            self.line_of(&path("marker_line"), branch.marker_line, Carries::Marker);
            self.line_of(&path("pilot_line"), branch.pilot_line, Carries::Pilot);
            let (missing, key) = match branch.proof {
                Proof::None => (false, ""),
                Proof::Load => {
                    if branch.closer != Closer::Load {
                        let message = "the load says nothing of a contact";
                        self.fault(
                            &path("proof"),
                            message,
                            "another proof, or no switch: `closed_by`",
                        );
                    }
                    (false, "")
                }
                Proof::Marker | Proof::SecondPole => (branch.marker_line.is_none(), "marker_line"),
                Proof::PilotCurrent => (branch.pilot_line.is_none(), "pilot_line"),
            };
            if missing {
                let message = format!("\"{}\" is proven on no line", branch.proof.word());
                self.fault(&path("proof"), message, &format!("`{key}` in this table"));
            }
            let gap = matches!(branch.closes, Closes::GapStraight | Closes::GapCrossed);
            if gap && self.bench.upstream.is_none() {
                self.fault(
                    &path("closes"),
                    "there is nothing behind this gap",
                    "an `[upstream]` table",
                );
            }
        }
    }

    fn line_of(&self, path: &str, number: Option<u32>, carries: Carries) {
        let Some(number) = number else {
            return;
        };
        match self.bench.lines.iter().find(|line| line.number == number) {
            Some(line) if line.carries == carries => {}
            Some(line) => {
                let message = format!("line {number} carries {}", line.carries.word());
                self.fault(
                    path,
                    message,
                    &format!("a line that carries {}", carries.word()),
                );
            }
            None => {
                let message = format!("there is no line {number}");
                self.fault(path, message, "the number of a `[[line]]` table");
            }
        }
    }

    /// Neither rail is ground: an earthed clip on a rail shorts a switch of the
    /// bridge, and so does a second instrument that shares a net with it.
    fn earth_paths(&self) {
        for (index, channel) in self.bench.channels.iter().enumerate() {
            let path = format!("channel.{index}.reference");
            if channel.reference == Reference::Earthed && channel.measures.is_on_rails() {
                let message = format!(
                    "an earthed clip on the {} shorts a bridge switch",
                    channel.measures.word()
                );
                self.fault(
                    &path,
                    message,
                    "\"differential\", \"isolated\" or \"subtracted\"",
                );
            }
            if channel.reference == Reference::Subtracted && channel.measures.is_current() {
                self.fault(
                    &path,
                    "two subtracted inputs are too coarse for a current",
                    "\"differential\" or \"isolated\"",
                );
            }
        }
        let earthed_clip = self
            .bench
            .channels
            .iter()
            .any(|channel| channel.reference == Reference::Earthed);
        let net = |role| self.bench.instrument(role).map(|i| i.net);
        // The supply's negative is tied to earth once at most; a load on the
        // node must not be tied to anything.
        if let Some(net) = net(Role::Load).filter(|net| *net != Net::Isolated) {
            let path = "instrument.load.net".to_owned();
            let message = format!(
                "the load hangs on the rails, but its low side is on {}",
                net.word()
            );
            self.fault(
                &path,
                message,
                "\"isolated\": it would short a bridge switch",
            );
        }
        let mut earths: Vec<Role> = self
            .bench
            .instruments
            .iter()
            .filter(|i| i.net == Net::Earth)
            .map(|i| i.role)
            .filter(|role| matches!(role, Role::Supply | Role::Drive | Role::Console))
            .collect();
        if earthed_clip && net(Role::Capture) == Some(Net::Earth) {
            earths.push(Role::Capture);
        }
        if let [first, second, ..] = earths[..] {
            let message = format!("the {second} earths the board a second time, after the {first}");
            self.fault(
                &format!("instrument.{second}.net"),
                message,
                "one earth at most: a second path goes round the sensor",
            );
        }
    }

    fn envelope(&self) {
        let Some(upstream) = &self.bench.upstream else {
            return;
        };
        if upstream.voltage > self.bench.envelope.voltage {
            self.fault(
                "upstream.voltage",
                "the upstream source is above the envelope's voltage",
                &format!("{} or less", self.bench.envelope.voltage),
            );
        }
    }
}
