//! The table `[reply]` of a profile: how answers are worded. Nothing is read
//! from an instrument here.

use super::parse_line::optional_bytes;
use super::reply::{Binary, Reply, VALUE, measured};
use crate::document::{Fault, Table};
use crate::template::Template;
use crate::units::parse_si;
use regex_lite::Regex;
use std::collections::BTreeMap;

/// The longest pattern worth compiling.
const LONGEST_PATTERN: usize = 1000;

/// How the answer to each of `commands` is read, where the table says so.
pub(super) fn replies(
    table: Option<&Table<'_>>,
    commands: &BTreeMap<String, Template>,
) -> BTreeMap<String, Reply> {
    let mut replies = BTreeMap::new();
    let Some(table) = table else {
        return replies;
    };
    for command in commands.keys() {
        if let Some(one) = table.optional_table(command) {
            replies.insert(command.clone(), reply(&one, command));
            one.finish();
        }
    }
    table.finish();
    replies
}

fn reply(table: &Table<'_>, command: &str) -> Reply {
    let field = table.optional_integer("field", 1..=1000);
    Reply {
        pattern: table.has("pattern").then(|| pattern(table)).flatten(),
        field: field.and_then(|field| usize::try_from(field).ok()),
        factor: factor(table, command),
        words: words(table),
        bytes: bytes(table),
        binary: table.optional_word("binary", Binary::WORDS),
        lowest_channel: lowest_channel(table, command),
        acknowledgement: optional_bytes(table, "acknowledgement"),
    }
}

fn bytes(table: &Table<'_>) -> Option<usize> {
    let count = table.optional_integer("bytes", 1..=1000);
    match count {
        None if table.has("binary") => {
            table.missing("bytes", "how many bytes a binary answer has, 1 to 4");
        }
        Some(count) if table.has("binary") && count > 4 => table.fault(
            Fault::error(
                &table.place_of("bytes"),
                "a number of so many bytes does not fit",
            )
            .expected("1 to 4 bytes"),
        ),
        _ => {}
    }
    count.and_then(|count| usize::try_from(count).ok())
}

fn lowest_channel(table: &Table<'_>, command: &str) -> Option<u32> {
    let lowest = table.optional_integer("lowest_channel", 0..=256)?;
    if !matches!(command, "closed" | "continuity") {
        table.fault(
            Fault::error(
                &table.place_of("lowest_channel"),
                format!("`{command}` is not answered with a bit for each channel"),
            )
            .expected("this key for `closed` and `continuity` alone"),
        );
    }
    u32::try_from(lowest).ok()
}

fn pattern(table: &Table<'_>) -> Option<Regex> {
    let text = table.any_text("pattern")?;
    let refuse = |message: String| {
        table
            .fault(Fault::error(&table.place_of("pattern"), message).expected(
                "a regular expression, in which `(?<value>...)` is the part that counts",
            ));
        None
    };
    if text.len() > LONGEST_PATTERN {
        return refuse("this pattern is too long".to_owned());
    }
    let pattern = match Regex::new(text) {
        Ok(pattern) => pattern,
        Err(reason) => return refuse(format!("not a pattern: {reason}")),
    };
    let mut groups = pattern.capture_names().flatten();
    if let Some(other) = groups.find(|name| *name != VALUE) {
        return refuse(format!("a group called `{other}` means nothing here"));
    }
    Some(pattern)
}

/// SI units in one of the unit that numbers without one are in.
fn factor(table: &Table<'_>, command: &str) -> Option<f64> {
    let unit = table.optional_string("unit")?;
    let read = measured(command).map(|dimension| parse_si(&format!("1 {unit}"), dimension));
    match read {
        Some(Ok(factor)) if command != "measure_temperature" => Some(factor),
        _ => {
            let message = format!("`{command}` is not answered in \"{unit}\"");
            table.fault(
                Fault::error(&table.place_of("unit"), message)
                    .expected("a unit of voltage or current, for a command that measures it"),
            );
            None
        }
    }
}

/// `words = { READY = 0, BUSY = 8 }`.
fn words(table: &Table<'_>) -> Vec<(String, f64)> {
    let Some(words) = table.optional_table("words") else {
        return Vec::new();
    };
    let read = words.rest().into_iter().filter_map(|entry| {
        let value = words.integer_in(&entry.node, 0..=0xFFFF)?;
        // At most sixteen bits: exact.
        Some((entry.key.clone(), value as f64))
    });
    read.collect()
}
