//! `bufferstop guide`: what each scenario and metric means, out of the same
//! catalogue by which they are measured, and what each key of a file does. It reads
//! no file.

use super::arguments::Guide;
use super::exit::Exit;
use super::output::Output;
use crate::console::guide;
use crate::console::keys::{File, Page};
use crate::document::nearest;
use crate::ident::harmless;
use crate::scenario::{Metric, ScenarioKind, influences_on};
use serde_json::{Value, json};

pub(super) fn guide(arguments: &Guide, output: Output) -> Exit {
    let room = output.screen().width;
    let Some(topic) = &arguments.topic else {
        if output.json {
            let all = ScenarioKind::ALL.map(entry);
            output.document(&json!({ "scenarios": all }));
        } else {
            say!("{}", guide::overview(room));
        }
        return Exit::Pass;
    };
    let (kind, key) = match topic.split_once('.') {
        Some((kind, key)) => (kind, Some(key)),
        None => (topic.as_str(), None),
    };
    if let Some(file) = File::of(kind) {
        return key_of(topic, file, key, output);
    }
    let Some(kind) = ScenarioKind::from_word(kind) else {
        let words = ScenarioKind::ALL.map(ScenarioKind::word);
        return unknown(topic, "a scenario", kind, &words);
    };
    let Some(key) = key else {
        if output.json {
            output.document(&entry(kind));
        } else {
            say!("{}", guide::scenario(kind.entry(), room));
        }
        return Exit::Pass;
    };
    let Some(metric) = kind.metric(key) else {
        let metrics = kind.entry().metrics.iter();
        let keys: Vec<&str> = metrics.map(|metric| metric.key).collect();
        return unknown(topic, &format!("a metric of {kind}"), key, &keys);
    };
    if output.json {
        output.document(&described(kind, metric));
    } else {
        say!("{}", guide::metric(kind, metric, room));
    }
    Exit::Pass
}

/// A page of a file's key, or each with its first sentence: all of a file's, or
/// those of a table.
fn key_of(topic: &str, file: &File, key: Option<&str>, output: Output) -> Exit {
    let described = |page: &Page| json!({ "file": file.word, "key": page.key, "says": page.says, "example": page.example });
    let room = output.screen().width;
    let Some(key) = key else {
        if output.json {
            let pages: Vec<Value> = file.all().map(described).collect();
            output.document(&json!({ "file": file.word, "keys": pages }));
        } else {
            say!("{}", file.overview(room));
        }
        return Exit::Pass;
    };
    let Some(page) = file.page(key) else {
        let pages = file.within(key);
        if !pages.is_empty() {
            if output.json {
                let keys: Vec<Value> = pages.into_iter().map(described).collect();
                output.document(&json!({ "file": file.word, "table": key, "keys": keys }));
            } else {
                say!("{}", file.table(key, &pages, room));
            }
            return Exit::Pass;
        }
        let keys: Vec<&str> = file.all().map(|page| page.key).collect();
        return unknown(topic, &format!("a key of a {} file", file.word), key, &keys);
    };
    if output.json {
        output.document(&described(page));
    } else {
        say!("{}", file.shown(page, room));
    }
    Exit::Pass
}

fn unknown(topic: &str, what: &str, word: &str, known: &[&str]) -> Exit {
    let near = nearest(word, known.iter().copied());
    let hint = near.map_or_else(
        || match known.len() {
            0..=30 => format!("one of {}", known.join(", ")),
            _ => "the first word alone lists all".to_owned(),
        },
        |near| format!("did you mean `{near}`?"),
    );
    let topic = harmless(topic);
    warn_line!("guide {topic}: `{}` is not {what}; {hint}", harmless(word));
    Exit::Usage
}

fn entry(kind: ScenarioKind) -> Value {
    let entry = kind.entry();
    let metrics = entry.metrics.iter();
    let roles: Vec<&str> = entry.roles.iter().map(|role| role.word()).collect();
    let settings = entry.settings.iter().map(|setting| {
        let default = Some(setting.default).filter(|default| !default.is_empty());
        json!({ "name": setting.name, "default": default, "doc": setting.doc })
    });
    json!({
        "scenario": kind,
        "purpose": entry.purpose,
        "roles": roles,
        "settings": settings.collect::<Vec<_>>(),
        "metrics": metrics.map(|metric| described(kind, metric)).collect::<Vec<_>>(),
    })
}

fn described(kind: ScenarioKind, metric: &Metric) -> Value {
    let moved = influences_on(kind, metric.key).map(|(influence, moved)| {
        json!({
            "parameter": influence.parameter,
            "is": influence.choice.map(|choice| choice.is),
            "instead_of": influence.choice.map(|choice| choice.of),
            "part": influence.part,
            "goes": moved.way.word(),
            "by": moved.law,
        })
    });
    json!({
        "scenario": kind,
        "metric": metric.key,
        "unit": metric.dimension.unit(),
        "definition": metric.definition,
        "bound": metric.censoring,
        "worse": metric.worse,
        "per": metric.per,
        "moved_by": moved.collect::<Vec<_>>(),
    })
}
