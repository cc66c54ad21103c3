//! A profile's text to a checked profile. What a role needs is listed in
//! `needs`; nothing is sent here.

use super::needs::{CommandNeed, TOGETHER, needs};
use super::range::Range;
use super::sound;
use super::{Accuracy, LONGEST_LINE, Profile, REVISION, Reply, Safety, Waveform};
use super::{parse_argument, parse_line, parse_reply, parse_waveform};
use crate::document::{Demand, Fault, Faults, Node, Reader, Source, Table, Tree, nearest};
use crate::ident::Role;
use crate::template::{Template, unescaped};
use crate::units::{Dimension, Quantity as _, Ratio, Seconds};
use regex_lite::Regex;
use std::collections::BTreeMap;

/// The text of a profile that comes with the program.
pub fn shipped_source(name: &str) -> Option<Source> {
    let role = Role::ALL.into_iter().find(|role| role.word() == name)?;
    let title = format!("embedded: {name} profile");
    Some(Source::new(title, needs(role).shipped))
}

/// A profile that comes with the program; a test holds them all sound.
pub fn shipped(name: &str) -> Option<Profile> {
    parse(&shipped_source(name)?)
        .ok()
        .map(|(profile, _)| profile)
}

/// Reads a profile.
///
/// # Errors
/// Every fault in the text.
pub fn parse(source: &Source) -> Result<(Profile, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let profile = profile(&Table::of(&tree, &reader));
    reader.conclude(profile)
}

fn profile(root: &Table<'_>) -> Option<Profile> {
    root.format();
    let head = root.table("profile");
    let (name, role, identifies_as) = match &head {
        Some(head) => (
            head.string("name"),
            head.word("role", &Role::ALL.map(|role| (role.word(), role))),
            pattern(head),
        ),
        None => (None, None, None),
    };
    if let Some(head) = &head {
        head.finish();
    }
    let line = root.table("line").and_then(parse_line::line);
    let safe = root.table("safety");
    let commands = root.table("commands");
    let forms = root.optional_table("argument");
    let replies = root.optional_table("reply");
    let completion = root.optional_table("completion");
    let waveform = (role == Some(Role::Capture)).then(|| root.optional_table("waveform"));
    let condition = root.optional_table("condition");
    let operation = root.optional_table("operation");
    let range = root.optional_table("range");
    let accuracy = root.optional_table("accuracy");
    root.finish();
    // Without the role nothing more can be said about the rest.
    let Some(role) = role else {
        safe.and_then(|t| safety(t, None, None));
        return None;
    };
    if let (Some(pattern), Some(head)) = (&identifies_as, &head) {
        check_groups(pattern, head, role);
    }
    let needs = needs(role);
    let commands = commands.and_then(|t| read_commands(t, role));
    let safety = safe.and_then(|t| safety(t, Some(role), commands.as_ref()));
    let none = BTreeMap::new();
    let known = commands.as_ref().unwrap_or(&none);
    let forms = parse_argument::forms(forms.as_ref(), known);
    let replies = parse_reply::replies(replies.as_ref(), known);
    let completion = parse_line::completion(completion.as_ref(), known);
    let waveform = parse_waveform::waveform(waveform.flatten().as_ref());
    if let (Some(commands), Some(line)) = (&commands, &line) {
        check_together(root, commands, &waveform, role);
        check_lengths(root, commands, &replies, &line.ending);
    }
    let written_at = written_at(root, known);
    let asked = |command: &str| commands.as_ref().is_some_and(|c| c.contains_key(command));
    let needed = |command, bits| if asked(command) { bits } else { &[][..] };
    let condition = bits(
        root,
        condition,
        "condition",
        needed("condition", needs.condition),
    );
    let operation = bits(
        root,
        operation,
        "operation",
        needed("operation", needs.operation),
    );
    let range = read_range(root, range, role);
    let measures = |name: &str| !name.starts_with("measure_") || asked(name);
    let accuracy = accuracies(root, accuracy, needs.accuracy, measures);
    Some(Profile {
        name: name?,
        role,
        identifies_as: identifies_as?,
        line: line?,
        forms,
        replies,
        completion,
        waveform,
        written_at,
        commands: commands?,
        safety: safety?,
        condition,
        operation,
        range: range?,
        accuracy,
    })
}

fn pattern(head: &Table<'_>) -> Option<Regex> {
    let text = head.any_text("identifies_as")?;
    let place = head.place_of("identifies_as");
    if text.len() > LONGEST_LINE {
        head.fault(Fault::error(&place, "this pattern is too long"));
        return None;
    }
    match Regex::new(text) {
        Ok(regex) => Some(regex),
        Err(reason) => {
            head.fault(
                Fault::error(&place, format!("not a pattern: {reason}"))
                    .expected("a regular expression that the identification matches"),
            );
            None
        }
    }
}

/// Commands that another one needs, and a preamble where something stands in it.
fn check_together(
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
fn check_lengths(
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
fn written_at(root: &Table<'_>, commands: &BTreeMap<String, Template>) -> BTreeMap<String, usize> {
    let places = root.reader().places();
    let line = |command: &String| {
        let place = places.find(&format!("commands.{command}"))?;
        Some((command.clone(), place.line_and_column().0))
    };
    commands.keys().filter_map(line).collect()
}

/// The one named group that means something is the revision a board tells.
fn check_groups(pattern: &Regex, head: &Table<'_>, role: Role) {
    for name in pattern.capture_names().flatten() {
        let message = match (name, role) {
            (REVISION, Role::Console) => continue,
            (REVISION, _) => format!("the revision of a {role} is not asked for"),
            _ => format!("a group called `{name}` means nothing here"),
        };
        head.fault(
            Fault::error(&head.place_of("identifies_as"), message).expected(
                "groups without a name, and in a console's pattern `(?<revision>...)`: the \
                 board's own",
            ),
        );
    }
}

fn safety(
    table: Table<'_>,
    role: Option<Role>,
    commands: Option<&BTreeMap<String, Template>>,
) -> Option<Safety> {
    let abandon = table.any_text("abandon").map(unescaped);
    let lines = table.any_texts("make_safe");
    for line in lines.iter().flatten() {
        if line.is_empty() || line.len() > LONGEST_LINE || !line.chars().all(sendable) {
            table.fault(
                Fault::error(
                    &table.place_of("make_safe"),
                    "a make-safe line is not one plain line",
                )
                .expected("whole commands without line ends or placeholders"),
            );
        }
    }
    if let Some(commands) = commands {
        let abandon: Vec<&str> = abandon.iter().map(String::as_str).collect();
        sound::safety(&table, "abandon", &abandon, commands);
        let lines = lines.as_deref().unwrap_or_default();
        sound::safety(&table, "make_safe", lines, commands);
    }
    let silent = lines.as_ref().is_some_and(Vec::is_empty);
    if silent && role.is_some_and(|role| needs(role).can_energise) {
        table.fault(
            Fault::error(
                &table.place_of("make_safe"),
                "this instrument can put energy into a board, but nothing makes it safe",
            )
            .expected("the commands that switch it off"),
        );
    }
    table.finish();
    Some(Safety {
        abandon: abandon?,
        make_safe: lines?.into_iter().map(unescaped).collect(),
    })
}

/// Whether a make-safe line may have this character: a byte that ends no line.
fn sendable(c: char) -> bool {
    u8::try_from(c).is_ok() && !matches!(c, '\n' | '\r' | '{')
}

fn read_commands(table: Table<'_>, role: Role) -> Option<BTreeMap<String, Template>> {
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

/// Bits by name: those that the role needs, and any others the profile knows.
fn bits(
    root: &Table<'_>,
    table: Option<Table<'_>>,
    key: &str,
    needed: &[&str],
) -> BTreeMap<String, u32> {
    let mut bits = BTreeMap::new();
    let Some(table) = table else {
        if !needed.is_empty() && !root.has(key) {
            root.missing(
                key,
                &format!("a table `[{key}]` with {}", needed.join(", ")),
            );
        }
        return bits;
    };
    for name in needed {
        if let Some(weight) = table.integer(name, 1..=i64::from(u32::MAX)) {
            note_bit(&mut bits, &table, name, weight);
        }
    }
    for entry in table.rest() {
        if let Some(weight) = table.integer_in(&entry.node, 1..=i64::from(u32::MAX)) {
            note_bit(&mut bits, &table, &entry.key, weight);
        }
    }
    sound::bits(&table, &bits);
    bits
}

fn note_bit(bits: &mut BTreeMap<String, u32>, table: &Table<'_>, name: &str, weight: i64) {
    match u32::try_from(weight) {
        Ok(weight) if weight.is_power_of_two() => {
            bits.insert(name.to_owned(), weight);
        }
        _ => table.fault(
            Fault::error(&table.place_of(name), "this is not the weight of one bit")
                .expected("a power of two: 1, 2, 4, 8 and so on"),
        ),
    }
}

fn read_range(root: &Table<'_>, table: Option<Table<'_>>, role: Role) -> Option<Range> {
    let Some(read) = needs(role).range else {
        if let Some(table) = table {
            table.finish();
        }
        return Some(Range::None);
    };
    let Some(table) = table else {
        if !root.has("range") {
            root.missing(
                "range",
                &format!("a table `[range]`, which every {role} needs"),
            );
        }
        return None;
    };
    let range = read(&table);
    table.finish();
    range
}

fn accuracies(
    root: &Table<'_>,
    table: Option<Table<'_>>,
    needed: &[(&'static str, Dimension)],
    measures: impl Fn(&str) -> bool,
) -> BTreeMap<String, Accuracy> {
    let mut accuracies = BTreeMap::new();
    let Some(table) = table else {
        if let Some((name, _)) = needed.first()
            && !root.has("accuracy")
        {
            root.missing("accuracy", &format!("a table `[accuracy.{name}]`"));
        }
        return accuracies;
    };
    for &(name, dimension) in needed {
        let one = if measures(name) {
            table.table(name)
        } else {
            table.optional_table(name)
        };
        if let Some(one) = one {
            if dimension == Dimension::TemperatureDifference && one.has("fixed_of_range") {
                one.fault(
                    Fault::error(
                        &one.place_of("fixed_of_range"),
                        "a thermometer's profile states no range",
                    )
                    .expected("`fixed`, in kelvins"),
                );
            }
            accuracies.insert(name.to_owned(), accuracy(&one, dimension));
            one.finish();
        }
    }
    table.finish();
    accuracies
}

fn accuracy(table: &Table<'_>, dimension: Dimension) -> Accuracy {
    let part = |key| table.quantity_or(key, Demand::Within(0.0, 1.0), Ratio::ZERO);
    let amount = |key| {
        // A temperature's spread is a difference, written in kelvins.
        let dimension = match dimension {
            Dimension::Temperature => Dimension::TemperatureDifference,
            other => other,
        };
        table
            .optional_si(key, dimension, Demand::NotNegative)
            .unwrap_or(0.0)
    };
    let accuracy = Accuracy {
        dimension,
        reading: part("reading"),
        fixed: amount("fixed"),
        fixed_of_range: part("fixed_of_range"),
        resolution: amount("resolution"),
        integration: table.quantity_or("integration", Demand::Within(0.0, 3600.0), Seconds::ZERO),
        time_base: part("time_base"),
    };
    let written = ["reading", "fixed", "fixed_of_range"];
    let errs = accuracy.reading.si() + accuracy.fixed + accuracy.fixed_of_range.si();
    if written.iter().any(|key| table.has(key)) && errs <= 0.0 {
        table.fault(
            Fault::error(table.place(), "no instrument errs by nothing")
                .expected("what its data sheet or its calibration states"),
        );
    }
    if !written.iter().any(|key| table.has(key)) {
        table.fault(
            Fault::error(table.place(), "this states no accuracy")
                .expected("`reading`, `fixed` or `fixed_of_range`"),
        );
    }
    accuracy
}
