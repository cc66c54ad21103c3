//! What `bufferstop.toml` says of the workshop: who issues its papers, and what
//! its commands take where nothing else is stated. It looks for no file and
//! reads no logo.

use crate::document::{Fault, Faults, Kind, Node, Reader, Source, Table, Tree};

/// Name of the file, looked for in the working directory and then upwards.
pub const FILE: &str = "bufferstop.toml";
/// Lines of an address at most; more find no room on a page.
const ADDRESS_LINES: usize = 6;
/// Characters of such a line, and of a name, at most.
const LINE: usize = 60;

/// A workshop as its file states it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Workshop {
    /// Who issues papers; none are named where the file says nothing of it.
    pub issuer: Option<Issuer>,
    /// What commands take where nothing else is stated.
    pub defaults: Defaults,
}

/// Who issues a paper.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Issuer {
    /// The workshop's name.
    pub name: String,
    /// Where it is and how it is reached, a line each.
    pub address: Vec<String>,
    /// Its logo, a file beside this one that ends in `.svg` or `.png`.
    pub logo: Option<String>,
    /// What stands below the line for a signature; no line without it.
    pub signature: Option<String>,
}

/// What commands take where their options state nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Defaults {
    /// Who runs the tests.
    pub operator: Option<String>,
    /// The lot: a name, or a lot file beside this one.
    pub lot: Option<String>,
    /// The folder of the records, beside this file.
    pub records: Option<String>,
}

/// Reads a workshop's file.
///
/// # Errors
/// Every fault in the text.
///
/// ```
/// use bufferstop::{document::Source, workshop};
///
/// let text = "format = 1\n[issuer]\nname = \"Alder Lane Works\"\n[defaults]\noperator = \"R. T.\"\n";
/// let (workshop, _) = workshop::parse(&Source::new("bufferstop.toml", text)).expect("sound");
/// assert_eq!(workshop.defaults.operator.as_deref(), Some("R. T."));
/// assert!(workshop.issuer.is_some_and(|issuer| issuer.address.is_empty()));
/// ```
pub fn parse(source: &Source) -> Result<(Workshop, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let root = Table::of(&tree, &reader);
    root.format();
    let issuer = root.optional_table("issuer").and_then(|t| issuer(&t));
    let defaults = root.optional_table("defaults").map(|t| defaults(&t));
    root.finish();
    let defaults = defaults.unwrap_or_default();
    reader.conclude(Some(Workshop { issuer, defaults }))
}

fn issuer(table: &Table<'_>) -> Option<Issuer> {
    let name = table
        .string("name")
        .filter(|name| short(table, "name", name));
    let address = table.take("address").map(|node| address(table, node));
    let logo = table
        .optional_string("logo")
        .filter(|logo| picture(table, logo));
    let signature = table.optional_string("signature");
    let signature = signature.filter(|text| short(table, "signature", text));
    table.finish();
    Some(Issuer {
        name: name?,
        address: address.unwrap_or_default(),
        logo,
        signature,
    })
}

/// The lines of an address; each faulty one is named and left out.
fn address(table: &Table<'_>, node: &Node) -> Vec<String> {
    let expected = format!("a list of at most {ADDRESS_LINES} lines of at most {LINE} characters");
    let wrong = |node: &Node, what: &str| {
        table.fault(Fault::error(&node.place, what).expected(&*expected));
    };
    let Kind::Array(lines) = &node.kind else {
        wrong(node, "this is no list of lines");
        return Vec::new();
    };
    if lines.len() > ADDRESS_LINES {
        wrong(node, "these lines find no room on a page");
    }
    let line = |node: &Node| match &node.kind {
        Kind::String(text)
            if (1..=LINE).contains(&text.trim().chars().count())
                && !text.chars().any(char::is_control) =>
        {
            Some(text.trim().to_owned())
        }
        _ => {
            wrong(node, "this is no line of an address");
            None
        }
    };
    lines.iter().filter_map(line).collect()
}

fn short(table: &Table<'_>, key: &str, text: &str) -> bool {
    let fits = text.chars().count() <= LINE;
    if !fits {
        table.fault(
            Fault::error(&table.place_of(key), "this finds no room on a page")
                .expected(format!("at most {LINE} characters")),
        );
    }
    fits
}

fn picture(table: &Table<'_>, logo: &str) -> bool {
    let fits = [".svg", ".png"].iter().any(|ending| logo.ends_with(ending));
    if !fits {
        table.fault(
            Fault::error(
                &table.place_of("logo"),
                "this is no picture that a page can show",
            )
            .expected("a file beside this one whose name ends in .svg or .png"),
        );
    }
    fits
}

fn defaults(table: &Table<'_>) -> Defaults {
    let defaults = Defaults {
        operator: table.optional_string("operator"),
        lot: table.optional_string("lot"),
        records: table.optional_string("records"),
    };
    table.finish();
    defaults
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: &str = r#"format = 1

[issuer]
name = "Alder Lane Works"
address = ["4 Alder Lane", "Nether Sallow"]
logo = "alder.svg"
signature = "Tested by"

[defaults]
operator = "R. T."
lot = "lots/GB-2026-11.toml"
records = "reports"
"#;

    fn read(text: &str) -> Result<Workshop, Vec<Fault>> {
        parse(&Source::new(FILE, text)).map(|(workshop, _)| workshop)
    }

    #[test]
    fn a_workshop_is_read_whole_or_in_part() {
        let whole = read(WHOLE).expect("sound");
        let issuer = whole.issuer.expect("stated");
        assert_eq!(issuer.address, ["4 Alder Lane", "Nether Sallow"]);
        assert_eq!(issuer.logo.as_deref(), Some("alder.svg"));
        assert_eq!(whole.defaults.records.as_deref(), Some("reports"));
        assert_eq!(read("format = 1\n"), Ok(Workshop::default()));
    }

    #[test]
    fn each_fault_stands_at_its_line() {
        let long = format!("name = \"{}\"", "x".repeat(61));
        for (old, new, line, message) in [
            ("format = 1", "format = 9", 1, "format"),
            ("name = \"Alder Lane Works\"", "", 3, "name"),
            ("name = \"Alder Lane Works\"", long.as_str(), 4, "no room"),
            (
                "[\"4 Alder Lane\", \"Nether Sallow\"]",
                "\"4 Alder Lane\"",
                5,
                "no list",
            ),
            ("\"Nether Sallow\"", "7", 5, "no line of an address"),
            ("alder.svg", "alder.gif", 6, "no picture"),
            ("operator", "operators", 10, "operators"),
        ] {
            let text = WHOLE.replacen(old, new, 1);
            assert_ne!(text, WHOLE, "{old}");
            let faults = read(&text).expect_err(new);
            assert_eq!(faults.len(), 1, "{new}: {faults:#?}");
            assert_eq!(faults[0].line, line, "{new}: {faults:#?}");
            assert!(faults[0].message.contains(message), "{new}: {faults:#?}");
        }
    }
}
