//! axe-core, an engine that nobody here wrote, asked what on a page keeps people out: by
//! WCAG 2.2, levels A and AA, and by its own rules of good practice. What only a person
//! can judge it does not judge.

use super::driver::Tab;
use crate::tools;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// The engine's text.
pub(super) struct Axe(String);

/// What it is asked: each fault as its weight, its rule, and the first places. A fault of
/// any weight counts where a criterion of WCAG forbids it, else a serious one.
const ASKED: &str = "axe.run(document, {resultTypes: ['violations'], runOnly: ['wcag2a', 'wcag2aa', \
    'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}).then((found) => found.violations\
    .filter((fault) => ['serious', 'critical'].includes(fault.impact) || fault.tags.some((tag) => /^wcag/.test(tag)))\
    .map((fault) => [fault.impact, fault.id, ...fault.nodes.slice(0, 3).map((node) => node.target.join(' ') + ': ' + \
    node.failureSummary)].join(' | ')))";

impl Axe {
    /// Nothing where `scripts/check` has not put it there.
    pub(super) fn here() -> Option<Self> {
        let place = std::env::var_os("BUFFERSTOP_AXE").map_or_else(
            || Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/axe.min.js"),
            PathBuf::from,
        );
        let text = std::fs::read_to_string(&place).ok();
        if text.is_none() {
            tools::absent(&format!(
                "no axe-core at {}; run scripts/check",
                place.display()
            ));
        }
        text.map(Self)
    }

    /// The faults of the page that `tab` shows.
    pub(super) fn faults(&self, tab: &mut Tab) -> Vec<String> {
        if tab.evaluated("typeof window.axe") != "object" {
            tab.evaluated(&self.0);
        }
        let found = tab.evaluated(ASKED);
        let found = found.as_array().expect("it says what it found");
        found
            .iter()
            .map(|fault| {
                fault
                    .as_str()
                    .map_or_else(|| Value::to_string(fault), str::to_owned)
            })
            .collect()
    }
}
