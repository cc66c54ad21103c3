//! The table `[waveform]` of a capture device's profile. No sample is read here.

use super::waveform::{BlockCheck, Data, Place, Waveform};
use crate::checksum::{Checksum, LineCheck, Written};
use crate::document::{Demand, Fault, Table};
use crate::template::Template;
use crate::units::Dimension;

/// What the table says; the shipped profile's device where there is none.
pub(super) fn waveform(table: Option<&Table<'_>>) -> Waveform {
    let Some(table) = table else {
        return Waveform::default();
    };
    let data = data(table);
    let place = |key| place(table, key);
    let waveform = Waveform {
        data,
        check: table.optional_table("checksum").and_then(block_check),
        count: place("count"),
        volts_per_code: place("volts_per_code"),
        volts_at_zero: place("volts_at_zero"),
        zero_code: place("zero_code"),
        clipped: place("clipped"),
        bits: place("bits"),
        full_scale: place("full_scale"),
        period: place("period"),
        first: place("first"),
    };
    let volts = matches!(data, Data::Volts | Data::Table { .. });
    let blocks = matches!(
        data,
        Data::Block { .. } | Data::Table { in_block: true, .. }
    );
    if waveform.check.is_some() && !blocks {
        table.fault(
            Fault::error(
                &table.place_of("checksum"),
                "lines have their checksum in `[line]`",
            )
            .expected("samples in blocks with it"),
        );
    }
    if !volts && !table.has("volts_per_code") {
        table.missing(
            "volts_per_code",
            "where it stands, as in `volts_per_code = { query = \"CH{channel}:SCALE?\" }`",
        );
    }
    table.finish();
    waveform
}

/// The checksum of a block.
fn block_check(table: Table<'_>) -> Option<BlockCheck> {
    let kind = table.word("kind", Checksum::WORDS);
    let written = table.optional_word("written", Written::WORDS);
    let counted = table.boolean_or("counted", false);
    table.finish();
    Some(BlockCheck {
        check: LineCheck {
            checksum: kind?,
            written: written.unwrap_or(Written::HighFirst),
            mark: String::new(),
            skip: 0,
        },
        counted,
    })
}

#[derive(Clone, Copy)]
enum Samples {
    Block,
    Codes,
    Volts,
    Table,
}

fn data(table: &Table<'_>) -> Data {
    const WORDS: &[(&str, Samples)] = &[
        ("block", Samples::Block),
        ("codes", Samples::Codes),
        ("volts", Samples::Volts),
        ("table", Samples::Table),
    ];
    const FRAMES: &[(&str, bool)] = &[("block", true), ("lines", false)];
    const ORDERS: &[(&str, bool)] = &[("high first", true), ("low first", false)];
    let samples = table.word("data", WORDS);
    let bits = table.optional_integer("sample_bits", 8..=16);
    let signed = table.boolean_or("signed", true);
    let order = table.optional_word("order", ORDERS);
    let whole = |key, range| {
        let number = table.optional_integer(key, range);
        number.and_then(|number| usize::try_from(number).ok())
    };
    let column = whole("column", 1..=1000);
    let header_lines = whole("header_lines", 0..=1000);
    let in_block = table.optional_word("framed", FRAMES);
    let rows = matches!(samples, Some(Samples::Table));
    for key in ["column", "header_lines", "framed"] {
        if !rows && table.has(key) {
            table.fault(
                Fault::error(&table.place_of(key), "only a table has such a thing")
                    .expected("`data = \"table\"` with it"),
            );
        }
    }
    let block = matches!(samples, Some(Samples::Block) | None);
    if bits.is_some_and(|bits| bits != 8 && bits != 16) {
        table.fault(
            Fault::error(&table.place_of("sample_bits"), "a sample has whole bytes")
                .expected("8 or 16"),
        );
    }
    let codes = block || matches!(samples, Some(Samples::Codes));
    for (key, may_be) in [("sample_bits", block), ("signed", codes), ("order", block)] {
        if !may_be && table.has(key) {
            table.fault(
                Fault::error(&table.place_of(key), "a list in ASCII has no such thing")
                    .expected("`data = \"block\"` with it"),
            );
        }
    }
    match samples {
        Some(Samples::Codes) => Data::Codes { signed },
        Some(Samples::Volts) => Data::Volts,
        Some(Samples::Table) => Data::Table {
            column: column.unwrap_or(2),
            header_lines: header_lines.unwrap_or(0),
            in_block: in_block.unwrap_or(true),
        },
        Some(Samples::Block) | None => Data::Block {
            bytes: if bits == Some(8) { 1 } else { 2 },
            signed,
            high_first: order.unwrap_or(true),
        },
    }
}

/// One of `field`, `name`, `query` and `value`.
fn place(table: &Table<'_>, key: &str) -> Option<Place> {
    let one = table.optional_table(key)?;
    let field = one.optional_integer("field", 1..=1000);
    let field = field.and_then(|field| usize::try_from(field).ok());
    let named = one.optional_string("name");
    let value = one.optional_si("value", Dimension::Ratio, Demand::Any);
    let query = one.take("query").and_then(|node| {
        let text = one.any_text_in(node)?;
        match Template::parse(text) {
            Ok(query) if query.placeholders().all(|gap| gap == "channel") => Some(query),
            Ok(_) => {
                one.fault(
                    Fault::error(&node.place, "this question offers {channel} alone")
                        .expected("a question such as \"CH{channel}:SCALE?\""),
                );
                None
            }
            Err(fault) => {
                one.fault(Fault::error(&node.place, fault.to_string()));
                None
            }
        }
    });
    let keys = ["field", "name", "query", "value"];
    let written = keys.iter().filter(|key| one.has(key)).count();
    if written != 1 {
        one.fault(
            Fault::error(
                one.place(),
                "this says not where it stands, or more than once",
            )
            .expected("one of `field`, `name`, `query`, `value`"),
        );
    }
    one.finish();
    let field = field.map(Place::Field);
    let named = named.map(Place::Named);
    let asked = query.map(Place::Asked);
    field.or(named).or(asked).or(value.map(Place::Always))
}
