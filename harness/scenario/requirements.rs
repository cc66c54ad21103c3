//! What a scenario requires of a bench beyond what its drive shows when it is
//! run dry: what limits need to be seen, and loops in which something must be
//! able to happen. Each room states its own in `Settings::require`.

use super::board::{Configuration, Ratings};
use super::demands::MetricLimit;
use super::terms::Entry;
use crate::bench_file::{Bench, Carries, Closes, Probed, Proof};
use crate::document::{Fault, Faults, Places};
use crate::ident::Role;
use crate::judgement::Limit;
use crate::profile::Profile;
use crate::units::Amperes;
use crate::waveform::Signal;
use std::collections::BTreeMap;

/// One scenario of a plan beside a bench, to be checked.
pub struct Requirements<'a> {
    /// What the board is rated for.
    pub ratings: &'a Ratings,
    /// How the board is connected and set.
    pub configuration: &'a Configuration,
    /// The limits on its metrics.
    pub limits: &'a [MetricLimit],
    /// The largest current at which a good board need not have tripped yet.
    pub trips_by: Amperes,
    /// Where each part of the plan was written.
    pub places: &'a Places,
    /// The path under which this scenario's places are noted.
    pub path: String,
    /// What may be set, and what holds otherwise.
    pub entry: &'static Entry,
    /// The bench.
    pub bench: &'a Bench,
    /// How its instruments are talked to.
    pub profiles: &'a BTreeMap<Role, Profile>,
    /// Branches that were warned of already.
    pub warned: &'a mut Vec<Closes>,
    /// What was found.
    pub faults: &'a mut Faults,
}

impl Requirements<'_> {
    /// The limit on `metric`.
    pub(super) fn limit(&self, metric: &str) -> Option<&Limit> {
        let found = self.limits.iter().find(|l| l.metric == metric);
        found.map(|l| &l.limit)
    }

    /// Notes a fault at `key` of the scenario's table.
    pub(crate) fn fault(&mut self, key: &str, message: String, expected: String) {
        let path = format!("{}.{key}", self.path);
        if let Some(place) = self.places.find(&path) {
            let unstated = self.entry.unstated(self.places, &path, key);
            self.faults.push(
                Fault::error(place, message)
                    .expected(expected)
                    .maybe_hint(unstated),
            );
        }
    }

    /// Notes a fault at `path` of the bench file.
    pub(super) fn bench_fault(&mut self, path: &str, message: String, expected: String) {
        if let Some(place) = self.bench.places.find(path) {
            self.faults
                .push(Fault::error(place, message).expected(expected));
        }
    }

    /// The bench has an instrument in `role`.
    pub(crate) fn role(&mut self, role: Role) {
        // What the load's own short does not close is missed by name.
        let closes = role == Role::Switch && self.bench.load_shorts();
        if self.bench.instrument(role).is_none() && !closes {
            self.fault(
                "kind",
                format!("the bench has no {role}, which this scenario needs"),
                format!("an `[[instrument]]` with `role = \"{role}\"` in the bench file"),
            );
        } else if role == Role::Thermometer && self.bench.probed() == Some(Probed::Ambient) {
            self.fault(
                "kind",
                "the bench's thermometer reads the ambient, and this scenario needs one on the \
                 board's heat sink"
                    .to_owned(),
                "`at = \"heat sink\"` for the thermometer in the bench file, its probe fixed there"
                    .to_owned(),
            );
        }
    }

    /// A channel of the capture device shows `signal`.
    pub(crate) fn channel(&mut self, signal: Signal) {
        let mut channels = self.bench.channels.iter();
        if !channels.any(|channel| channel.measures.word() == signal.words()) {
            self.fault(
                "kind",
                format!("no channel of the bench measures the {signal}"),
                format!("a `[[channel]]` with `measures = \"{signal}\"`"),
            );
        }
    }

    /// A logic line of the capture device carries `carries`.
    pub(crate) fn line(&mut self, carries: Carries) {
        if self.bench.line(carries).is_none() {
            self.fault(
                "kind",
                format!("no logic line of the bench carries {}", carries.word()),
                format!("a `[[line]]` with `carries = \"{}\"`", carries.word()),
            );
        }
    }

    /// Switch or load close `closes`, as the setting `key` asks; a contact that
    /// nothing proves is warned of once.
    pub(super) fn branch(&mut self, key: &str, closes: Closes) {
        let Some(branch) = self.bench.branch(closes) else {
            let word = closes.word();
            let switch = self.bench.instrument(Role::Switch);
            let (message, expected) = if switch.is_none() && self.bench.load_shorts() {
                (
                    format!("the load's own short makes no {word}, and the bench has no switch"),
                    format!("a switch, and a `[[branch]]` with `closes = \"{word}\"`"),
                )
            } else {
                (
                    format!("no channel of the bench's switch closes the {word}"),
                    format!("a `[[branch]]` with `closes = \"{word}\"`"),
                )
            };
            self.fault(key, message, expected);
            return;
        };
        let short = matches!(closes, Closes::NearShort | Closes::FarShort);
        let weak = short && matches!(branch.proof, Proof::None | Proof::Marker);
        if !weak || self.warned.contains(&closes) {
            return;
        }
        self.warned.push(closes);
        let index = self.bench.branches.iter().position(|b| b.closes == closes);
        let place = index.and_then(|index| {
            let path = format!("branch.{index}.proof");
            self.bench.places.find(&path)
        });
        if let Some(place) = place {
            self.faults.push(
                Fault::warning(
                    place,
                    "nothing proves this contact while the rails are dead",
                )
                .expected("\"second pole\" or \"pilot current\"")
                .hint(
                    "a blown fuse then looks like a trip: only a board that retries into the \
                     same short can pass",
                ),
            );
        }
    }
}
