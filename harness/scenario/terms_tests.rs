//! The catalogue's own law: keys are unique, words come back, texts are whole.

use super::*;
use crate::scenario::list::ScenarioKind;
use std::collections::BTreeSet;

#[test]
fn entries_are_sound() {
    for kind in ScenarioKind::ALL {
        let entry = kind.entry();
        assert_eq!(entry.word, kind.word());
        assert_eq!(ScenarioKind::from_word(kind.word()), Some(kind));
        let keys: BTreeSet<_> = entry.metrics.iter().map(|m| m.key).collect();
        assert_eq!(keys.len(), entry.metrics.len(), "{kind}: metric twice");
        let names: BTreeSet<_> = entry.settings.iter().map(|s| s.name).collect();
        assert_eq!(names.len(), entry.settings.len(), "{kind}: setting twice");
        for metric in entry.metrics {
            assert!(metric.definition.ends_with('.'), "{kind} {}", metric.key);
            assert!(metric.definition.len() > 60, "{kind} {}", metric.key);
            // A statement is defined by when it is so, and is without a unit.
            let stated = metric.definition.starts_with("1 where ");
            assert_eq!(metric.statement, stated, "{kind} {}", metric.key);
            let bare = metric.dimension == Dimension::Count;
            assert!(bare || !metric.statement, "{kind} {}", metric.key);
        }
        assert!(entry.roles.contains(&Role::Capture), "{kind}");
    }
}

#[test]
fn the_same_key_is_the_same_dimension_everywhere() {
    for (a, b) in [(ScenarioKind::Overload, ScenarioKind::Short)] {
        for metric in a.entry().metrics {
            if let Some(other) = b.metric(metric.key) {
                assert_eq!(metric.dimension, other.dimension, "{}", metric.key);
            }
        }
    }
    assert!(ScenarioKind::Load.metric("trip_time").is_none());
    assert!(ScenarioKind::from_word("lode").is_none());
}
