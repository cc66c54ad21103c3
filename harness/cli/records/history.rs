//! `bufferstop records history`: everything that is known of one board, as lines or as
//! JSON. It gathers nothing itself.

use super::stored::open_checked;
use crate::cli::arguments::RecordsHistory;
use crate::cli::exit::Exit;
use crate::cli::output::Output;
use crate::ident::{Serial, harmless};
use crate::sitting::history as history_of;
use serde_json::{Value, json};

pub(super) fn history(arguments: &RecordsHistory, output: Output) -> Result<Exit, Exit> {
    let serial: Serial = arguments.serial.parse().map_err(|fault| {
        warn_line!("{}: {fault}", harmless(&arguments.serial));
        Exit::Usage
    })?;
    let reader = open_checked(&arguments.place)?;
    let all = history_of(&reader, &serial)?;
    if all.is_empty() {
        warn_line!("no board is called {serial}");
        return Err(Exit::Usage);
    }
    if output.json {
        let told: Vec<&Value> = all.iter().map(|one| &one.told).collect();
        output.document(&json!({ "serial": serial, "history": told }));
        return Ok(Exit::Pass);
    }
    say_line!("{serial}");
    for one in &all {
        let at = one.at.strftime("%Y-%m-%d %H:%M:%SZ").to_string();
        for (index, line) in one.lines.iter().enumerate() {
            let at = if index == 0 { at.as_str() } else { "" };
            let line = format!("  {at:<20}  {}", harmless(line));
            say_line!("{}", output.fitted(&line));
        }
    }
    Ok(Exit::Pass)
}
