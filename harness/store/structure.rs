//! Whether the file's tables and indexes are those that this program makes, and
//! whether an index finds what its table holds. It reads no line of a run.

use super::database::SCHEMA;
use rusqlite::Connection;
use std::collections::BTreeMap;

/// What is wrong with the file's layout, or with the indexes over the tables that
/// `checks` are about: each entry is compared with its row.
pub(super) fn fault_of(
    connection: &Connection,
    checks: &[&str],
) -> rusqlite::Result<Option<String>> {
    if let Some(what) = foreign_object(connection)? {
        return Ok(Some(what));
    }
    for check in checks {
        let sql = format!("PRAGMA {check}");
        let what: String = connection.query_row(&sql, [], |row| row.get(0))?;
        if what != "ok" {
            return Ok(Some(what));
        }
    }
    Ok(None)
}

/// What the file holds besides what this program makes, or lacks of it: a view in a
/// table's place, or an index over some rows only, would be read and not be checked.
fn foreign_object(connection: &Connection) -> rusqlite::Result<Option<String>> {
    let ours = Connection::open_in_memory()?;
    ours.execute_batch(SCHEMA)?;
    let (mut ours, found) = (objects(&ours)?, objects(connection)?);
    for (name, sql) in found {
        // What the database's own analysis leaves behind decides no answer.
        if name.starts_with("sqlite_stat") {
            continue;
        }
        if ours.remove(&name) != Some(sql) {
            return Ok(Some(format!("`{name}` is not what this program makes")));
        }
    }
    let gone = ours.into_keys().next();
    Ok(gone.map(|name| format!("`{name}` is gone")))
}

/// Tables, indexes and whatever else there is, with what made them.
fn objects(connection: &Connection) -> rusqlite::Result<BTreeMap<String, Option<String>>> {
    let mut statement = connection.prepare("SELECT name, sql FROM sqlite_schema")?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}
