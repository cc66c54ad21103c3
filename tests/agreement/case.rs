//! The demo's files with small changes, each named by the path of what it
//! changes, and back to text as a person would have written it. Nothing is
//! checked or run here.

use bufferstop::document::Source;
use bufferstop::ident::Role;
use bufferstop::plan::demo;
use bufferstop::profile;
use std::collections::BTreeMap;
use std::fmt;
use toml::{Table, Value};

/// Keys by which one table of a list is told from the others.
const LABELS: [&str; 6] = ["kind", "role", "measures", "closes", "number", "name"];

/// Settings that keep a run short; everything else is the demo's.
const SHORT: [(&str, &str); 9] = [
    ("scenario[soak].length", "\"12 s\""),
    ("scenario[soak].rest", "\"1 s\""),
    ("scenario[soak].interval", "\"1 s\""),
    (
        "scenario[soak].limits",
        "{ output_drift = { max = \"150 mV\", source = \"house limit\" } }",
    ),
    ("scenario[overload].ramp_time", "\"500 ms\""),
    ("scenario[overload].hold_time", "\"500 ms\""),
    ("scenario[short].repeats", "1"),
    ("scenario[supply].hold", "\"500 ms\""),
    ("scenario[inrush].length", "\"1 s\""),
];

/// Which file a change is made in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum File {
    Plan,
    Bench,
    Profile(Role),
}

/// What is changed there.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Change {
    /// Every number in the value, times this.
    Scale(f64),
    /// The value, as TOML.
    Set(String),
    /// Left out.
    Drop,
}

/// One change.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Edit {
    pub(super) file: File,
    /// Keys with dots between them, a table of a list by its label:
    /// `branch[near short].resistance`.
    pub(super) path: String,
    pub(super) change: Change,
}

impl fmt::Display for Edit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.file {
            File::Plan => write!(f, "plan ")?,
            File::Bench => write!(f, "bench ")?,
            File::Profile(role) => write!(f, "profile of the {role} ")?,
        }
        match &self.change {
            Change::Scale(factor) => write!(f, "{} x {factor}", self.path),
            Change::Set(value) => write!(f, "{} = {value}", self.path),
            Change::Drop => write!(f, "without {}", self.path),
        }
    }
}

/// Some scenarios of the demo's plan, and the changes.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Case {
    pub(super) kept: Vec<String>,
    pub(super) edits: Vec<Edit>,
}

impl Case {
    /// How much there is to read in it.
    pub(super) fn size(&self) -> usize {
        self.kept.len() + self.edits.len()
    }
}

impl fmt::Display for Case {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "only {}", self.kept.join(", "))?;
        for edit in &self.edits {
            write!(f, "; {edit}")?;
        }
        Ok(())
    }
}

/// Files as values, before they are text again.
#[derive(Clone, Debug)]
pub(super) struct Files {
    pub(super) plan: Table,
    pub(super) bench: Table,
    pub(super) profiles: BTreeMap<Role, Table>,
}

/// The text of a plan, a bench and its profiles.
pub(super) struct Texts {
    pub(super) plan: Source,
    pub(super) bench: Source,
    pub(super) profiles: BTreeMap<Role, Source>,
}

impl Files {
    /// The demo's, with settings that keep a run short.
    pub(super) fn of_the_demo() -> Self {
        let read = |source: Source| -> Table { source.text.parse().expect("TOML") };
        let shipped = |role: Role| profile::shipped_source(role.word());
        let mut files = Self {
            plan: read(demo::plan()),
            bench: read(demo::bench()),
            profiles: Role::ALL
                .into_iter()
                .filter_map(|role| Some((role, read(shipped(role)?))))
                .collect(),
        };
        // What a comparison names need not be in a part of the plan.
        files.plan.remove("comparison");
        for (path, value) in SHORT {
            let change = Change::Set(value.to_owned());
            let path = path.to_owned();
            let edit = Edit {
                file: File::Plan,
                path,
                change,
            };
            assert!(files.apply(&edit), "{edit}");
        }
        files
    }

    /// With only the scenarios and with the changes of `case`. A change of
    /// what another one has left out changes nothing.
    pub(super) fn with(&self, case: &Case) -> Self {
        let mut files = self.clone();
        if let Some(Value::Array(scenarios)) = files.plan.get_mut("scenario") {
            scenarios.retain(|scenario| case.kept.iter().any(|kind| labelled(scenario, kind)));
        }
        for edit in &case.edits {
            files.apply(edit);
        }
        files
    }

    /// Whether there was something to change.
    fn apply(&mut self, edit: &Edit) -> bool {
        let root = match edit.file {
            File::Plan => &mut self.plan,
            File::Bench => &mut self.bench,
            File::Profile(role) => match self.profiles.get_mut(&role) {
                Some(table) => table,
                None => return false,
            },
        };
        changed(root, &edit.path, &edit.change)
    }

    /// As text.
    pub(super) fn texts(&self) -> Texts {
        let write = |name: &str, table: &Table| {
            Source::new(name, toml::to_string(table).expect("a value is TOML"))
        };
        Texts {
            plan: write("plan.toml", &self.plan),
            bench: write("bench.toml", &self.bench),
            profiles: self
                .profiles
                .iter()
                .map(|(&role, table)| (role, write(&format!("{role}.toml"), table)))
                .collect(),
        }
    }

    /// The paths of everything in `file`; with `numbers`, of what has one.
    pub(super) fn paths(&self, file: File, numbers: bool) -> Vec<String> {
        let root = match file {
            File::Plan => &self.plan,
            File::Bench => &self.bench,
            File::Profile(role) => match self.profiles.get(&role) {
                Some(table) => table,
                None => return Vec::new(),
            },
        };
        let mut found = Vec::new();
        walk(root, "", numbers, &mut found);
        found
    }
}

fn labelled(value: &Value, label: &str) -> bool {
    LABELS.iter().any(|key| {
        let found = value.get(key);
        found.is_some_and(|found| found.as_str() == Some(label) || found.to_string() == label)
    })
}

fn walk(table: &Table, before: &str, numbers: bool, found: &mut Vec<String>) {
    for (key, value) in table {
        let path = if before.is_empty() {
            key.clone()
        } else {
            format!("{before}.{key}")
        };
        match value {
            Value::Table(inner) => {
                if !numbers {
                    found.push(path.clone());
                }
                walk(inner, &path, numbers, found);
            }
            Value::Array(items) if items.iter().all(Value::is_table) && !items.is_empty() => {
                for item in items.iter().filter_map(Value::as_table) {
                    let label = LABELS.iter().find_map(|key| item.get(*key));
                    let label = label.map(|label| match label.as_str() {
                        Some(word) => word.to_owned(),
                        None => label.to_string(),
                    });
                    if let Some(label) = label {
                        let path = format!("{path}[{label}]");
                        if !numbers {
                            found.push(path.clone());
                        }
                        walk(item, &path, numbers, found);
                    }
                }
            }
            // What a table is found by, and what says how a file is read.
            _ if matches!(key.as_str(), "format" | "number" | "kind" | "role") => {}
            _ if !numbers || scaled(value, 1.0).is_some() => found.push(path),
            _ => {}
        }
    }
}

fn changed(root: &mut Table, path: &str, change: &Change) -> bool {
    let mut keys: Vec<&str> = path.split('.').collect();
    let Some(last) = keys.pop() else {
        return false;
    };
    let mut table = root;
    for key in keys {
        let found = match key.split_once('[') {
            Some((list, label)) => {
                let label = label.trim_end_matches(']');
                let items = table.get_mut(list).and_then(Value::as_array_mut);
                items.and_then(|items| items.iter_mut().find(|item| labelled(item, label)))
            }
            None => table.get_mut(key),
        };
        match found {
            Some(Value::Table(inner)) => table = inner,
            _ => return false,
        }
    }
    if let Some((list, label)) = last.split_once('[') {
        // A table of a list can only be left out.
        let label = label.trim_end_matches(']');
        let Some(items) = table.get_mut(list).and_then(Value::as_array_mut) else {
            return false;
        };
        let before = items.len();
        items.retain(|item| !labelled(item, label));
        return items.len() < before;
    }
    match change {
        Change::Drop => table.remove(last).is_some(),
        Change::Set(text) => {
            let read: Table = format!("value = {text}").parse().expect("a value of TOML");
            table.insert(last.to_owned(), read["value"].clone());
            true
        }
        Change::Scale(factor) => match table.get(last).and_then(|value| scaled(value, *factor)) {
            Some(value) => {
                table.insert(last.to_owned(), value);
                true
            }
            None => false,
        },
    }
}

/// The value with every number in it times `factor`; `None` where there is
/// none.
fn scaled(value: &Value, factor: f64) -> Option<Value> {
    match value {
        Value::Integer(number) => {
            let scaled = (*number as f64 * factor).round().max(1.0);
            Some(Value::Integer(scaled as i64))
        }
        Value::Float(number) => Some(Value::Float(rounded(number * factor))),
        Value::String(text) => {
            let end = text.find(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))?;
            let number: f64 = text[..end].parse().ok()?;
            let unit = &text[end..];
            Some(Value::String(format!("{}{unit}", rounded(number * factor))))
        }
        Value::Array(items) => {
            let items: Option<Vec<Value>> = items.iter().map(|item| scaled(item, factor)).collect();
            items.filter(|items| !items.is_empty()).map(Value::Array)
        }
        _ => None,
    }
}

/// To six digits, as people write numbers.
fn rounded(number: f64) -> f64 {
    format!("{number:.5e}").parse().unwrap_or(number)
}
