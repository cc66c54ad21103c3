//! The command lines of a profile's `[commands]`: each that its role needs, with the
//! placeholders that it offers. How they are sent is the line's matter.

use super::needs::{CommandNeed, TOGETHER, needs};
use super::sound;
use super::{LONGEST_LINE, Reply, Waveform};
use crate::document::{Fault, Node, Table, nearest};
use crate::ident::Role;
use crate::template::Template;
use std::collections::BTreeMap;

pub(super) fn read_commands(table: Table<'_>, role: Role) -> Option<BTreeMap<String, Template>> {
    let needs = needs(role);
    let mut commands = BTreeMap::new();
    let mut sound = true;
    let may_be = needs.optional.iter().chain(needs.confirming);
    for (need, demanded) in
        (needs.commands.iter().map(|n| (n, true))).chain(may_be.map(|n| (n, false)))
    {
        let Some(node) = table.take(need.name) else {
            if demanded {
                sound = false;
                table.missing(need.name, &template_example(need, role));
            }
            continue;
        };
        match template(&table, node, need) {
            Some(template) => {
                commands.insert(need.name.to_owned(), template);
            }
            None => sound = false,
        }
    }
    sound::commands(&table, &commands);
    table.finish();
    sound.then_some(commands)
}

fn template_example(need: &CommandNeed, role: Role) -> String {
    let what = format!("a command line, which every {role} needs");
    if need.placeholders.is_empty() {
        return what;
    }
    format!("{what}, with {}", braced(need.placeholders))
}

fn braced(names: &[&str]) -> String {
    if names.is_empty() {
        return "no placeholder".to_owned();
    }
    let names: Vec<String> = names.iter().map(|name| format!("{{{name}}}")).collect();
    names.join(", ")
}

fn template(table: &Table<'_>, node: &Node, need: &CommandNeed) -> Option<Template> {
    let text = table.any_text_in(node)?;
    let refuse = |message: String, hint: Option<String>| {
        table.fault(
            Fault::error(&node.place, message)
                .expected(match need.may {
                    [] => format!("one command line with {}", braced(need.placeholders)),
                    may => format!(
                        "one command line with {}, and perhaps {}",
                        braced(need.placeholders),
                        braced(may)
                    ),
                })
                .maybe_hint(hint),
        );
        None
    };
    if text.trim().is_empty() || text.len() > LONGEST_LINE {
        return refuse("this is empty or longer than 1000 bytes".to_owned(), None);
    }
    let template = match Template::parse(text) {
        Ok(template) => template,
        Err(fault) => return refuse(fault.to_string(), None),
    };
    for name in template.placeholders() {
        let mut offered = need.placeholders.iter().chain(need.may).copied();
        if !offered.clone().any(|offered| offered == name) {
            let near = nearest(name, &mut offered);
            return refuse(
                format!("`{}` offers no {{{name}}}", need.name),
                near.map(|near| format!("did you mean {{{near}}}?")),
            );
        }
    }
    for name in need.placeholders {
        if !template.placeholders().any(|used| used == *name) {
            return refuse(
                format!("{{{name}}} is not used, so it would never be sent"),
                None,
            );
        }
    }
    Some(template)
}

/// Commands that another one needs, and a preamble where something stands in it.
pub(super) fn check_together(
    root: &Table<'_>,
    commands: &BTreeMap<String, Template>,
    waveform: &Waveform,
    role: Role,
) {
    let place = root.place_of("commands");
    let may_be = needs(role).optional.iter();
    let offered: Vec<&str> = may_be.map(|need| need.name).collect();
    for (one, other) in TOGETHER {
        let offers = offered.contains(&other);
        if offers && commands.contains_key(one) && !commands.contains_key(other) {
            root.fault(
                Fault::error(&place, format!("`{other}` is missing"))
                    .expected(format!("a command line, which `{one}` needs beside it")),
            );
        }
    }
    if role == Role::Capture && waveform.has_preamble() && !commands.contains_key("preamble") {
        root.fault(Fault::error(&place, "`preamble` is missing").expected(
            "a question for it, or a `query` or a `value` for all that `[waveform]` states",
        ));
    }
}

/// Where nothing ends a line, every answer has a stated length.
pub(super) fn check_lengths(
    root: &Table<'_>,
    commands: &BTreeMap<String, Template>,
    replies: &BTreeMap<String, Reply>,
    ending: &str,
) {
    if !ending.is_empty() {
        return;
    }
    for command in commands.keys().filter(|command| asks(command)) {
        if replies
            .get(command)
            .is_none_or(|reply| reply.bytes.is_none())
        {
            let place = root.place_of("commands");
            root.fault(
                Fault::error(
                    &place,
                    format!("nothing says where the answer to `{command}` ends"),
                )
                .expected(format!("`bytes = ...` in `[reply.{command}]`"))
                .hint("`ending = \"\"` says that no line has an end"),
            );
        }
    }
}

/// Whether a command asks for a line or for bytes.
fn asks(command: &str) -> bool {
    let measures = command.starts_with("measure_") || command.ends_with("_setting");
    let other = [
        "identify",
        "error",
        "complete",
        "event_status",
        "condition",
        "operation",
        "closed",
        "continuity",
        "sense",
        "state",
        "preamble",
    ];
    measures || other.contains(&command)
}

/// The line of the file in which each command stands.
pub(super) fn written_at(
    root: &Table<'_>,
    commands: &BTreeMap<String, Template>,
) -> BTreeMap<String, usize> {
    let places = root.reader().places();
    let line = |command: &String| {
        let place = places.find(&format!("commands.{command}"))?;
        Some((command.clone(), place.line_and_column().0))
    };
    commands.keys().filter_map(line).collect()
}
