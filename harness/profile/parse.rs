//! A profile's text to a checked profile. What a role needs is listed in
//! `needs`; nothing is sent here.

use super::needs::{CommandNeed, needs};
use super::parse_reply;
use super::range::Range;
use super::{Accuracy, LineSettings, Profile, REVISION, Safety};
use crate::clock::BenchSpan;
use crate::document::{Demand, Fault, Faults, Node, Reader, Source, Table, Tree, nearest};
use crate::ident::Role;
use crate::template::Template;
use crate::units::{Dimension, Ratio, Seconds};
use regex_lite::Regex;
use std::collections::BTreeMap;

/// The longest line a profile may ask for, in bytes.
const LONGEST_LINE: usize = 1000;

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
    let line = root.table("line").and_then(line);
    let safety = root.table("safety").and_then(|t| safety(t, role));
    let commands = root.table("commands");
    let replies = root.optional_table("reply");
    let condition = root.optional_table("condition");
    let operation = root.optional_table("operation");
    let range = root.optional_table("range");
    let accuracy = root.optional_table("accuracy");
    root.finish();
    // Without the role nothing more can be said about the rest.
    let role = role?;
    if let (Some(pattern), Some(head)) = (&identifies_as, &head) {
        check_groups(pattern, head, role);
    }
    let needs = needs(role);
    let commands = commands.and_then(|t| read_commands(t, role));
    let replies = match &commands {
        Some(commands) => parse_reply::replies(replies.as_ref(), commands),
        None => BTreeMap::new(),
    };
    let asked = |command| commands.as_ref().is_some_and(|c| c.contains_key(command));
    let needed = |command, bits| if asked(command) { bits } else { &[][..] };
    let condition = bits(
        root,
        condition,
        "condition",
        needed("condition", needs.condition),
    );
    let operation = bits(root, operation, "operation", needs.operation);
    let range = read_range(root, range, role);
    let accuracy = accuracies(root, accuracy, needs.accuracy);
    Some(Profile {
        name: name?,
        role,
        identifies_as: identifies_as?,
        line: line?,
        commands: commands?,
        replies,
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

fn line(table: Table<'_>) -> Option<LineSettings> {
    let speed = table.integer("speed", 300..=12_000_000);
    let ending = table.any_text("ending").map(str::to_owned);
    if let Some(ending) = &ending
        && !matches!(ending.as_str(), "\n" | "\r" | "\r\n")
    {
        table.fault(
            Fault::error(&table.place_of("ending"), "this cannot end a line")
                .expected("\"\\n\", \"\\r\" or \"\\r\\n\""),
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
    table.finish();
    Some(LineSettings {
        speed: u32::try_from(speed?).ok()?,
        ending: ending?,
        processing: BenchSpan::from_seconds(processing?),
        dtr: dtr?,
        reply,
        quiet,
    })
}

fn safety(table: Table<'_>, role: Option<Role>) -> Option<Safety> {
    let abandon = table.any_text("abandon").map(str::to_owned);
    let lines = table.any_texts("make_safe");
    for line in lines.iter().flatten() {
        if line.is_empty() || line.len() > LONGEST_LINE || line.contains(['\n', '\r', '{']) {
            table.fault(
                Fault::error(
                    &table.place_of("make_safe"),
                    "a make-safe line is not one plain line",
                )
                .expected("whole commands without line ends or placeholders"),
            );
        }
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
        make_safe: lines?.into_iter().map(str::to_owned).collect(),
    })
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
                .expected(format!(
                    "one command line with {}",
                    braced(need.placeholders)
                ))
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
        if !need.placeholders.contains(&name) {
            let near = nearest(name, need.placeholders.iter().copied());
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
        if let Some(one) = table.table(name) {
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
    if !written.iter().any(|key| table.has(key)) {
        table.fault(
            Fault::error(table.place(), "this states no accuracy")
                .expected("`reading`, `fixed` or `fixed_of_range`"),
        );
    }
    accuracy
}
