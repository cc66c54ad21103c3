//! `bufferstop inspect`: what a capture file from anywhere says of the signal
//! in it, by the same functions that judge boards. It touches no instrument and
//! gives no verdict on a board.

mod analysis;
mod logic;
mod packet_list;
mod plot;
mod record;
mod source;
mod stream;
mod voltage;

use super::arguments::{Audience, Inspect};
use super::exit::Exit;
use super::output::Output;
use crate::console::inspect::{screen, svg};
use crate::ident::harmless;
use crate::inspection::{self, Inspection, Standing};
use serde_json::json;
use stream::Trouble;

pub(super) fn inspect(arguments: &Inspect, output: Output) -> Exit {
    let name = harmless(&arguments.capture.display().to_string());
    if arguments.packets && !output.json {
        warn_line!("--packets hands out lines of JSON: add --json");
        return Exit::Usage;
    }
    if let Some(place) = &arguments.plot
        && let Some(why) = plot::spoils(place, &arguments.capture)
    {
        let shown = harmless(&place.display().to_string());
        warn_line!("--plot {shown}: {why}");
        return Exit::Usage;
    }
    let inspection = match analysis::inspection(arguments) {
        Ok(inspection) => inspection,
        Err(Trouble::Usage(words)) => {
            warn_line!("{name}: {words}");
            return Exit::Usage;
        }
        Err(Trouble::File(words)) => {
            warn_line!("{name}: {words}");
            return Exit::File;
        }
        Err(Trouble::Told(exit)) => return exit,
    };
    if arguments.packets {
        output.line(&json!({ "inspection": document(&inspection, arguments.at) }));
    } else if output.json {
        output.document(&document(&inspection, arguments.at));
    } else {
        say!("{}", screen(&inspection, output.screen()));
    }
    if let Some(place) = &arguments.plot {
        let shown = harmless(&place.display().to_string());
        if let Err(fault) = std::fs::write(place, svg(&inspection)) {
            warn_line!("{shown}: {fault}");
            return Exit::Usage;
        }
        if !output.json {
            say_line!("  drawn: {shown}");
        }
    }
    match inspection.standing() {
        Some(Standing::Within) => Exit::Pass,
        Some(Standing::Violation) => Exit::Fail,
        Some(Standing::Inconclusive) | None => Exit::Inconclusive,
    }
}

impl From<Audience> for inspection::Audience {
    fn from(at: Audience) -> Self {
        match at {
            Audience::Station => Self::Station,
            Audience::Receiver => Self::Receiver,
        }
    }
}

fn document(inspection: &Inspection, at: Audience) -> serde_json::Value {
    let standing = match inspection.standing() {
        Some(standing) => json!(standing),
        None => json!("nothing_to_judge"),
    };
    let packets: Vec<_> = inspection
        .packets
        .iter()
        .map(|(words, count)| json!({"words": words, "count": count}))
        .collect();
    let list = &inspection.packet_list;
    let list: Vec<_> = list.iter().map(packet_list::document).collect();
    json!({
        "file": inspection.file, "format": inspection.format, "channel": inspection.channel,
        "samples": inspection.samples, "period_s": inspection.period, "length_s": inspection.length,
        "at": match at { Audience::Station => "station", Audience::Receiver => "receiver" },
        "edges": inspection.signal.as_ref().map(|signal| signal.edges),
        "standing": standing, "rules": inspection.rows, "packets": packets, "odd": inspection.odd,
        "packet_list": list, "packets_unlisted": inspection.packets_unlisted,
        "unread": inspection.unread, "trip": inspection.trip, "signal": inspection.signal,
    })
}
