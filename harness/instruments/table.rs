//! Samples that come as a table in ASCII, a row each. What they mean is decided where
//! they are asked for.

use super::fault::InstrumentError;
use super::session::Session;
use crate::profile::Data;
use crate::protocol;
use crate::template::Argument;

/// Characters that a row of a table takes, with what ends it.
const CHARACTERS_A_ROW: usize = 40;

/// A column of a table, of which each of `count` rows is a sample.
pub(super) async fn rows(
    session: &Session,
    (command, arguments): (&'static str, &[(&str, Argument<'_>)]),
    count: u32,
) -> Result<Vec<f64>, InstrumentError> {
    let Data::Table {
        column,
        header_lines,
        in_block,
    } = session.profile().waveform.data
    else {
        return Ok(Vec::new());
    };
    let wanted = count as usize;
    let bytes = CHARACTERS_A_ROW * (wanted + header_lines);
    let text = if in_block {
        session.block(command, arguments, bytes).await?
    } else {
        let lines = header_lines + wanted;
        session.lines(command, arguments, lines, bytes).await?
    };
    let text = String::from_utf8_lossy(&text);
    let rows = text.lines().map(str::trim).skip(header_lines);
    let mut list = Vec::with_capacity(wanted);
    for row in rows.filter(|row| !row.is_empty()) {
        let cell = row.split([',', ';', '\t']).nth(column - 1).map(str::trim);
        let read = cell.and_then(|cell| protocol::number(cell.as_bytes()).ok());
        let Some(value) = read.and_then(|reading| reading.value()) else {
            let cut: String = row.chars().take(60).collect();
            return Err(session.data(format!(
                "row {} of the table, '{}', has no number in column {column}",
                list.len() + 1,
                cut.escape_debug()
            )));
        };
        list.push(value);
    }
    if list.len() != wanted {
        let found = list.len();
        return Err(session.data(format!("{wanted} rows asked for, {found} came")));
    }
    Ok(list)
}
