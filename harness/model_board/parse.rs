//! A model board's text to a checked model board. The names it may use are
//! listed in `table` and `defects`.

use super::defects::{DEFECTS, Defect};
use super::table::{BOARD, Parameter};
use super::{BoardParameters, ModelBoard, OnSignalLoss, Planted};
use crate::document::{Demand, Fault, Faults, Kind, Reader, Source, Table, Tree};
use crate::units::Dimension;

/// Reads a model board.
///
/// # Errors
/// Every fault in the text.
pub fn parse(source: &Source) -> Result<(ModelBoard, Vec<Fault>), Vec<Fault>> {
    let mut faults = Faults::new();
    let Some(tree) = Tree::read(source, &mut faults) else {
        return Err(faults.into_list());
    };
    let reader = Reader::new(faults);
    let board = board(&Table::of(&tree, &reader));
    reader.conclude(board)
}

fn board(root: &Table<'_>) -> Option<ModelBoard> {
    root.format();
    let (name, family, identity) = root.table("board").map_or((None, None, None), |head| {
        let family = head.optional_string("family");
        let told = (
            head.string("name"),
            family,
            head.optional_string("identity"),
        );
        head.finish();
        told
    });
    let mut nominal = BoardParameters::default();
    if let Some(table) = root.optional_table("nominal") {
        read_nominal(&table, &mut nominal);
    }
    let spread = root
        .optional_table("spread")
        .map_or_else(Vec::new, |table| read_spread(&table));
    let planted = root
        .tables("defect")
        .iter()
        .filter_map(|table| {
            let planted = read_defect(table, &nominal);
            table.finish();
            planted
        })
        .collect();
    root.finish();
    Some(ModelBoard {
        name: name?,
        family,
        identity,
        nominal,
        spread,
        planted,
    })
}

fn read_nominal(table: &Table<'_>, nominal: &mut BoardParameters) {
    // The table's order puts `reversing` before what belongs to it.
    for parameter in BOARD {
        let Some(node) = table.take(parameter.name) else {
            continue;
        };
        // Yes and no read better than one and nought.
        let si = match (&node.kind, parameter.name) {
            (Kind::Boolean(yes), "reversing" | "brake_wired") => Some(f64::from(u8::from(*yes))),
            (Kind::String(_), "on_signal_loss") => {
                nominal.on_signal_loss = table
                    .word("on_signal_loss", OnSignalLoss::WORDS)
                    .unwrap_or(nominal.on_signal_loss);
                None
            }
            _ => table.si_in(node, parameter.dimension, parameter.demand),
        };
        if let Some(si) = si {
            (parameter.set)(nominal, si);
        }
        let belongs = parameter.name.starts_with("reversing_");
        if belongs && nominal.reversing.is_none() {
            table.fault(
                Fault::error(&node.place, "this board has no reversing logic")
                    .expected("`reversing = true` beside it"),
            );
        }
    }
    table.finish();
}

fn read_spread(table: &Table<'_>) -> Vec<(&'static str, f64)> {
    let spreads = BOARD
        .iter()
        .filter(|p| can_spread(p))
        .filter_map(|parameter| {
            let deviation =
                table.optional_si(parameter.name, Dimension::Ratio, Demand::Within(0.0, 0.3))?;
            Some((parameter.name, deviation))
        })
        .collect();
    table.finish();
    spreads
}

/// Whole numbers do not spread.
fn can_spread(parameter: &Parameter<BoardParameters>) -> bool {
    parameter.dimension != Dimension::Count
}

fn read_defect(table: &Table<'_>, nominal: &BoardParameters) -> Option<Planted> {
    let words: Vec<(&'static str, &'static Defect)> =
        DEFECTS.iter().map(|defect| (defect.name, defect)).collect();
    let defect = table.word("kind", &words);
    let boards = table.take("boards").map(|node| match &node.kind {
        Kind::Array(items) => items
            .iter()
            .filter_map(|item| table.integer_in(item, 1..=1_000_000))
            .filter_map(|index| u64::try_from(index).ok())
            .collect(),
        kind => {
            table.fault(
                Fault::error(&node.place, format!("this is {}", kind.noun()))
                    .expected("a list of board numbers such as [5, 9]"),
            );
            Vec::new()
        }
    });
    let defect = defect?;
    if !defect.fits(nominal) {
        let (message, expected) = if defect.reversing_only {
            let message = "a board without reversing logic cannot have this defect";
            (message, "`reversing = true` in `[nominal]`")
        } else {
            let message = "this board is meant to be so: the defect changes nothing";
            (message, "another kind, or another value in `[nominal]`")
        };
        table.fault(Fault::error(&table.place_of("kind"), message).expected(expected));
    }
    Some(Planted {
        defect,
        boards: boards.unwrap_or_default(),
    })
}
