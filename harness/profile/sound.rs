//! What a profile says that cannot be meant: a command that switches off and on
//! alike, a safe line that energises, two bits that are one. Whether the instrument
//! understands its commands, only the instrument can say.

use crate::document::{Fault, Table};
use crate::template::Template;
use std::collections::BTreeMap;

/// Commands that switch off; several may be the same line.
const OFF: [&str; 6] = [
    "output_off",
    "input_off",
    "signal_off",
    "open",
    "open_all",
    "stop",
];

/// Commands that may let energy into a board. Lines with a state of their own,
/// `set_enable`, are not among them.
const ON: [&str; 7] = [
    "output_on",
    "input_on",
    "signal_on",
    "close",
    "pulse",
    "ramp",
    "short_pulse",
];

/// Questions whose answers' bits differ though the line may be the same.
const REGISTERS: [&str; 5] = [
    "condition",
    "operation",
    "complete",
    "error",
    "event_status",
];

/// Notes each command that does what another one does.
pub(super) fn commands(table: &Table<'_>, commands: &BTreeMap<String, Template>) {
    let bare = |template: &Template| plain(template.source());
    for (index, (name, template)) in commands.iter().enumerate() {
        for (other, same) in commands.iter().take(index) {
            let alike = [&OFF[..], &REGISTERS[..]];
            let may_be = alike
                .iter()
                .any(|group| group.contains(&name.as_str()) && group.contains(&other.as_str()));
            if may_be || bare(template) != bare(same) {
                continue;
            }
            table.fault(
                Fault::error(
                    &table.place_of(name),
                    format!("`{name}` and `{other}` are the same line"),
                )
                .expected("a line that does this and nothing else"),
            );
        }
        if OFF.contains(&name.as_str())
            && let Some(on) = energising(template.source(), commands)
            && commands[on].source() != template.source()
        {
            table.fault(
                Fault::error(
                    &table.place_of(name),
                    format!("`{name}` does what `{on}` does"),
                )
                .expected("a line that switches off"),
            );
        }
    }
}

/// Notes each safe line under `key` that would do what a command that energises does.
pub(super) fn safety(
    table: &Table<'_>,
    key: &str,
    lines: &[&str],
    commands: &BTreeMap<String, Template>,
) {
    for line in lines {
        if let Some(on) = energising(line, commands) {
            table.fault(
                Fault::error(
                    &table.place_of(key),
                    format!("this does what `{on}` does, and may put energy into a board"),
                )
                .expected("lines that switch off"),
            );
        }
    }
}

/// Notes names in `table` that stand for one and the same bit.
pub(super) fn bits(table: &Table<'_>, bits: &BTreeMap<String, u32>) {
    for (index, (name, weight)) in bits.iter().enumerate() {
        let same = bits.iter().take(index).find(|(_, other)| *other == weight);
        if let Some((other, _)) = same {
            table.fault(
                Fault::error(
                    &table.place_of(name),
                    format!("`{name}` and `{other}` are the same bit"),
                )
                .expected("a weight of its own"),
            );
        }
    }
}

/// The command of those that energise that `line` or a part of it is. Of a command of
/// several parts the last one starts what the others have set.
fn energising<'a>(line: &str, commands: &'a BTreeMap<String, Template>) -> Option<&'a str> {
    let parts: Vec<String> = line.split(['\n', '\r', ';']).map(plain).collect();
    ON.iter().find_map(|name| {
        let (name, template) = commands.get_key_value(*name)?;
        let last = template.source().rsplit(';').next().unwrap_or_default();
        let does = |part: &String| is_one_of(part, template.source()) || is_one_of(part, last);
        let does = parts.iter().any(does) || is_one_of(&plain(line), template.source());
        does.then_some(name.as_str())
    })
}

/// Whether `line` is `template` with numbers for its placeholders.
fn is_one_of(line: &str, template: &str) -> bool {
    let template = plain(template);
    let (Some(from), Some(to)) = (template.find('{'), template.rfind('}')) else {
        return !line.is_empty() && line == template;
    };
    let numbers = line
        .strip_prefix(&template[..from])
        .and_then(|rest| rest.strip_suffix(&template[to + 1..]));
    let of_numbers = |c: char| c.is_ascii_digit() || " +-.,:E()@".contains(c);
    numbers.is_some_and(|numbers| !numbers.is_empty() && numbers.chars().all(of_numbers))
}

/// A line without what makes no difference to instruments that speak in words; of
/// one or two characters each may mean what it is.
fn plain(line: &str) -> String {
    let line = line.trim().trim_start_matches(':');
    match line.len() {
        0..=2 => line.to_owned(),
        _ => line.to_ascii_uppercase(),
    }
}
