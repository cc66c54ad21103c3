//! A profile's text to a checked profile. What a role needs is listed in
//! `needs`; nothing is sent here.

use super::needs::{needs, without_instrument};
use super::parse_accuracy::accuracies;
use super::parse_commands::{check_lengths, check_together, read_commands, written_at};
use super::range::Range;
use super::sound;
use super::{LONGEST_LINE, Profile, REVISION, Safety};
use super::{parse_argument, parse_line, parse_reply, parse_waveform};
use crate::document::{Fault, Faults, Reader, Source, Table, Tree};
use crate::ident::Role;
use crate::template::{Template, unescaped};
use regex_lite::Regex;
use std::collections::BTreeMap;

/// The text of a profile that comes with the program.
pub fn shipped_source(name: &str) -> Option<Source> {
    let role = Role::ALL.into_iter().find(|role| role.word() == name);
    let text = match role {
        Some(role) => needs(role).shipped,
        None => without_instrument(name)?,
    };
    let title = format!("embedded: {name} profile");
    Some(Source::new(title, text))
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
            head.word("role", Role::WORDS),
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
    let shorts = matches!(&range, Some(Range::Load(load)) if load.short_resistance.is_some());
    if range.is_some() && asked("short_pulse") && !shorts {
        let message = "`short_resistance` is missing, without which nobody knows what could flow";
        root.fault(
            Fault::error(&root.place_of("range"), message)
                .expected("the minimum resistance of the load's short, as \"50 mohm\""),
        );
    }
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
