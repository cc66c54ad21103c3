//! The table `[argument]` of a profile: how the values of commands are written.
//! Nothing is written here.

use super::argument::{Form, Spelling};
use crate::document::{Demand, Fault, Table};
use crate::template::{Template, unescaped};
use crate::units::{Dimension, Quantity as _, Ratio};
use std::collections::BTreeMap;

/// The forms of every value of `commands` that the table names.
pub(super) fn forms(
    table: Option<&Table<'_>>,
    commands: &BTreeMap<String, Template>,
) -> BTreeMap<String, BTreeMap<String, Form>> {
    let mut forms = BTreeMap::new();
    let Some(table) = table else {
        return forms;
    };
    for (command, template) in commands {
        if template.placeholders().next().is_none() {
            continue;
        }
        let Some(one) = table.optional_table(command) else {
            continue;
        };
        let mut own: BTreeMap<String, Form> = BTreeMap::new();
        for gap in template.placeholders() {
            if own.contains_key(gap) {
                continue;
            }
            if let Some(table) = one.optional_table(gap) {
                own.insert(gap.to_owned(), form(&table));
                table.finish();
            }
        }
        one.finish();
        forms.insert(command.clone(), own);
    }
    table.finish();
    forms
}

fn form(table: &Table<'_>) -> Form {
    let number = |key, usual| {
        let stated = table.optional_si(key, Dimension::Ratio, Demand::Any);
        stated.unwrap_or(usual)
    };
    let whole = |key, most| {
        let stated = table.optional_integer(key, 0..=most);
        stated.and_then(|stated| usize::try_from(stated).ok())
    };
    let scale = number("scale", 1.0);
    if scale == 0.0 {
        table.fault(
            Fault::error(
                &table.place_of("scale"),
                "every value would be sent as nought",
            )
            .expected("what is sent for one SI unit, such as 1000 for milliamperes"),
        );
    }
    let spelling = table.optional_word("spelling", Spelling::WORDS);
    Form {
        scale,
        add: number("add", 0.0),
        decimals: whole("decimals", 15),
        width: whole("width", 40).unwrap_or(0),
        steps: steps(table),
        spelling: spelling.unwrap_or_default(),
        words: words(table),
    }
}

fn steps(table: &Table<'_>) -> Vec<f64> {
    let Some(steps) = table.quantities::<Ratio>("steps", Demand::Any) else {
        return Vec::new();
    };
    let steps: Vec<f64> = steps.into_iter().map(Ratio::si).collect();
    if steps.is_empty() || steps.windows(2).any(|pair| pair[0] >= pair[1]) {
        table.fault(
            Fault::error(&table.place_of("steps"), "these steps do not rise")
                .expected("every value that can be sent, the smallest first"),
        );
    }
    steps
}

/// `words = { POS = "RISE", NEG = "FALL" }`.
fn words(table: &Table<'_>) -> Vec<(String, String)> {
    let Some(words) = table.optional_table("words") else {
        return Vec::new();
    };
    let read = words.rest().into_iter().filter_map(|entry| {
        let text = words.any_text_in(&entry.node)?;
        Some((entry.key.clone(), unescaped(text)))
    });
    read.collect()
}
