//! A lot's text to a checked lot: boards built together from one parts list,
//! revision and firmware. It compares no lots.

use crate::document::{Fault, Faults, Kind, Reader, Source, Table, Tree};
use crate::ident::{LotName, Serial};
use serde::{Deserialize, Serialize};

/// Boards built together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lot {
    /// Its name.
    pub name: LotName,
    /// The board family.
    pub family: String,
    /// The board's revision.
    pub revision: String,
    /// The firmware on them, where they have any.
    pub firmware: Option<String>,
    /// How jumpers and solder bridges are set.
    pub jumpers: Option<String>,
    /// Serial number of a reference board that is measured along with the lot,
    /// to see what the bench itself does from day to day.
    #[serde(default)]
    pub check_standard: Option<Serial>,
    /// What each of the parts that matter is.
    pub parts: Vec<LotPart>,
}

/// What a part is in this lot.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct LotPart {
    /// Its place on the board, `U1`.
    pub place: String,
    /// What it is, with its batch where known.
    pub part: String,
}

/// Reads a lot file.
///
/// # Errors
/// Every fault in the text.
pub fn parse_lot(source: &Source) -> Result<(Lot, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let lot = lot(&Table::of(&tree, &reader));
    reader.conclude(lot)
}

fn lot(root: &Table<'_>) -> Option<Lot> {
    root.format();
    let head = root.table("lot").map(|head| {
        let texts = (
            head.parsed("name", "a name of letters, digits, '-', '_' and '.'"),
            head.string("family"),
            head.string("revision"),
            head.optional_string("firmware"),
            head.optional_string("jumpers"),
            head.optional_parsed("check_standard", "the serial number of a reference board"),
        );
        head.finish();
        texts
    });
    let parts = root
        .optional_table("parts")
        .map_or_else(Vec::new, |table| parts(&table));
    root.finish();
    let (name, family, revision, firmware, jumpers, check_standard) = head?;
    Some(Lot {
        name: name?,
        family: family?,
        revision: revision?,
        firmware,
        jumpers,
        check_standard,
        parts,
    })
}

/// The keys are places on the board, so any will do.
fn parts(table: &Table<'_>) -> Vec<LotPart> {
    let mut parts = Vec::new();
    for entry in table.rest() {
        match &entry.node.kind {
            Kind::String(part)
                if !part.trim().is_empty() && !part.chars().any(char::is_control) =>
            {
                parts.push(LotPart {
                    place: entry.key.clone(),
                    part: part.clone(),
                });
            }
            kind => table.fault(
                Fault::error(&entry.node.place, format!("this is {}", kind.noun()))
                    .expected("what the part is, as a plain text of one line"),
            ),
        }
    }
    parts
}
