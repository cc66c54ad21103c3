//! The tables `[line]` and `[completion]` of a profile: how bytes go to and fro,
//! and how the end of an action is known. Nothing is sent here.

use super::{Completion, LONGEST_LINE, LineSettings};
use crate::checksum::{Checksum, LineCheck, Written};
use crate::clock::BenchSpan;
use crate::document::{Demand, Fault, Table};
use crate::template::{Template, unescaped};
use crate::units::Seconds;
use std::collections::BTreeMap;

/// The most bytes of one message; longer ones come in parts.
const LONGEST_MESSAGE: i64 = 1 << 24;
/// So much is asked for at once where nothing is stated.
const USUAL_MESSAGE: i64 = 1 << 20;

pub(super) fn line(table: Table<'_>) -> Option<LineSettings> {
    let speed = table.integer("speed", 300..=12_000_000);
    let ending = table.any_text("ending").map(str::to_owned);
    if let Some(ending) = &ending
        && !matches!(ending.as_str(), "\n" | "\r" | "\r\n" | "")
    {
        table.fault(
            Fault::error(&table.place_of("ending"), "this cannot end a line").expected(
                "\"\\n\", \"\\r\" or \"\\r\\n\", or \"\" where the length of every answer is stated",
            ),
        );
    }
    let processing: Option<Seconds> = table.quantity("processing", Demand::Within(0.0, 60.0));
    let dtr = table.optional_boolean("dtr");
    if dtr.is_none() && !table.has("dtr") {
        table.missing("dtr", "true or false: raising the line resets some boards");
    }
    // Longer waits than a minute look like a program that hangs.
    let reply = table.optional_quantity("reply", Demand::Within(1e-3, 60.0));
    let quiet = table.optional_quantity("quiet", Demand::Within(1e-3, 10.0));
    // Making safe may have to wait for it.
    let gap = table.optional_quantity("gap", Demand::Within(0.0, 0.5));
    let message_size = table.optional_integer("message_size", 64..=LONGEST_MESSAGE);
    let echo = table.boolean_or("echo", false);
    let prompt = optional_bytes(&table, "prompt");
    let acknowledgement = optional_bytes(&table, "acknowledgement");
    let check = table.optional_table("checksum").and_then(checksum);
    table.finish();
    Some(LineSettings {
        speed: u32::try_from(speed?).ok()?,
        message_size: usize::try_from(message_size.unwrap_or(USUAL_MESSAGE)).ok()?,
        ending: ending?,
        processing: BenchSpan::from_seconds(processing?),
        dtr: dtr?,
        reply,
        quiet,
        gap,
        echo,
        prompt: prompt.unwrap_or_default(),
        acknowledgement,
        check,
    })
}

/// A short text whose characters are bytes, `\x06` among them.
pub(super) fn optional_bytes(table: &Table<'_>, key: &str) -> Option<String> {
    let node = table.take(key)?;
    let text = unescaped(table.any_text_in(node)?);
    if text.len() > LONGEST_LINE || text.chars().any(|c| u8::try_from(c).is_err()) {
        table.fault(
            Fault::error(
                &node.place,
                "this is too long or has characters that are no bytes",
            )
            .expected("a short text in ASCII, with `\\x06` for a byte by its number"),
        );
        return None;
    }
    Some(text)
}

fn checksum(table: Table<'_>) -> Option<LineCheck> {
    let kind = table.word("kind", Checksum::WORDS);
    let written = table.optional_word("written", Written::WORDS);
    let mark = table.optional_string("mark");
    let skip = table.optional_integer("skip", 0..=16);
    table.finish();
    if mark.as_ref().is_some_and(|mark| !mark.is_ascii()) {
        table.fault(
            Fault::error(&table.place_of("mark"), "this is not ASCII").expected("such as \"*\""),
        );
    }
    Some(LineCheck {
        checksum: kind?,
        written: written.unwrap_or(Written::Hexadecimal),
        mark: mark.unwrap_or_default(),
        skip: usize::try_from(skip.unwrap_or(0)).ok()?,
    })
}

/// How the end of an action is known.
pub(super) fn completion(
    table: Option<&Table<'_>>,
    commands: &BTreeMap<String, Template>,
) -> Completion {
    let Some(table) = table else {
        return Completion::default();
    };
    let bounded = |table: &Table<'_>, key: &str| {
        let stated: Option<Seconds> = table.optional_quantity(key, Demand::Within(0.0, 60.0));
        stated
    };
    let answer = table.optional_string("answer");
    let (every, within) = (bounded(table, "every"), bounded(table, "within"));
    let wait = bounded(table, "wait");
    for key in ["answer", "every", "within"] {
        if table.has(key) && !commands.contains_key("complete") {
            table.fault(
                Fault::error(
                    &table.place_of(key),
                    "nothing asks whether an action is over",
                )
                .expected("`complete` among the commands, or `wait` alone"),
            );
        }
    }
    if every.is_some() != within.is_some() {
        table.missing(
            if every.is_some() { "within" } else { "every" },
            "how often it is asked, and for how long",
        );
    }
    let mut waits = BTreeMap::new();
    if let Some(own) = table.optional_table("waits") {
        for command in commands.keys() {
            if let Some(wait) = bounded(&own, command) {
                waits.insert(command.clone(), wait);
            }
        }
        own.finish();
    }
    table.finish();
    let usual = Completion::default();
    Completion {
        answer: answer.unwrap_or(usual.answer),
        polls: every.zip(within),
        wait,
        waits,
    }
}
