//! The state of the bench: the instruments of each bench file with their calibration, and
//! what the check standard came to. It asks no instrument.

use super::address::{Nothing, beside};
use super::lookup::table;
use super::markup::{Markup, in_address};
use super::pages::At;
use super::pages::Pages;
use super::shelf::Shelf;
use super::shell::{View, page};
use crate::bench_file::{Port, Standing};
use crate::clock::{SystemClock, WallClock as _};
use crate::console::BENCH_CAUTION;
use crate::ident::Serial;
use crate::sitting::{BenchFiles, Files};
use crate::store::{Filter, Kind, RunHeader};
use axum::body::Body;
use axum::extract::State;
use axum::http::Response;
use jiff::tz::TimeZone;

/// Runs of a check standard that are shown.
const LAST: usize = 10;

/// The state of the bench.
pub(super) async fn bench(State(pages): At) -> Response<Body> {
    beside(pages, View::Bench, |pages| {
        let folder = &pages.settings().files;
        let shelf = Shelf::of(folder);
        let mut body = Markup::default();
        body.raw("<section class=\"panel\"><h1>Bench</h1>");
        body.put("<p>{}</p>", &[&BENCH_CAUTION.replace('\n', " ")]);
        if shelf.benches.is_empty() {
            body.raw(
                "<p class=\"quiet\">There is no bench file in the folder of this server: boards run on the embedded \
                 model bench alone.</p>",
            );
        }
        body.raw("</section>");
        for name in &shelf.benches {
            let mut files = Files::default();
            let bench = files.bench(Some(&folder.join(name)), None);
            body.put("<section class=\"panel\"><h2>{}</h2>", &[name]);
            if let Some(bench) = &bench {
                instruments(&mut body, bench);
            }
            if !files.faults().is_empty() {
                body.raw("<pre class=\"told\">")
                    .lines(&files.rendered(false))
                    .raw("</pre>");
            }
            body.raw("</section>");
        }
        for name in &shelf.lots {
            let mut files = Files::default();
            let lot = files.lot(&folder.join(name));
            if let Some(serial) = lot.and_then(|lot| lot.check_standard) {
                standard(&mut body, pages, name, &serial)?;
            }
        }
        Ok(page(pages, View::Bench, "Bench", &body))
    })
    .await
}

fn instruments(out: &mut Markup, files: &BenchFiles) {
    let bench = &files.bench;
    let today = TimeZone::UTC.to_datetime(SystemClock.now()).date();
    out.raw(
        "<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"Instruments\"><table><thead><tr>\
         <th scope=\"col\">Role</th><th scope=\"col\">Profile</th><th scope=\"col\">Where</th>\
         <th scope=\"col\">Calibration due</th><th scope=\"col\">Standing</th></tr></thead><tbody>",
    );
    for instrument in &bench.instruments {
        let profile = files.profiles.get(&instrument.role);
        let profile = profile.map_or("", |profile| profile.name.as_str());
        let calibration = instrument.calibration.as_ref();
        let due = calibration.map_or("\u{2013}".to_owned(), |known| known.due.to_string());
        let standing = calibration
            .filter(|_| instrument.port != Port::Model)
            .map(|known| Standing::of(known.due, today));
        let (class, words) = match standing {
            None => ("", "\u{2013}".to_owned()),
            Some(standing @ Standing::Overdue(_)) => ("fail", standing.words().unwrap_or_default()),
            Some(standing @ Standing::EndsIn(_)) => ("open", standing.words().unwrap_or_default()),
            Some(Standing::Holds) => ("pass", "in date".to_owned()),
        };
        out.put(
            "<tr><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td class=\"{}\">{}</td></tr>",
            &[
                &instrument.role,
                &profile,
                &at(&instrument.port),
                &due,
                &class,
                &words,
            ],
        );
    }
    out.raw("</tbody></table></div>");
    for missing in bench.safety.missing() {
        out.put("<p class=\"told\">{}</p>", &[&missing]);
    }
}

/// Where an instrument is, in words.
fn at(port: &Port) -> String {
    match port {
        Port::Person => "worked by the person".to_owned(),
        Port::Model => "model".to_owned(),
        Port::Path(path) | Port::Usbtmc(path) => path.clone(),
        Port::Tcp(address) => address.clone(),
        Port::External(sends) => format!("always sends {sends}"),
        Port::Usb {
            vendor,
            product,
            serial,
        } => {
            let serial = serial.as_deref().unwrap_or_default();
            format!("USB {vendor:04x}:{product:04x} {serial}")
        }
    }
}

fn standard(out: &mut Markup, pages: &Pages, lot: &str, serial: &Serial) -> Result<(), Nothing> {
    out.put(
        "<section class=\"panel\"><h2>Check standard of {}: <a href=\"/board/{}\">{}</a></h2>",
        &[&lot, &in_address(serial.as_str()), serial],
    );
    let mut runs = Vec::new();
    if let Some(reader) = pages.reader(Kind::Records)? {
        let filter = Filter {
            serial: Some(serial.clone()),
            newest_first: true,
            ..Filter::default()
        };
        let last = reader.runs(&filter).take(LAST);
        runs = last.collect::<Result<Vec<RunHeader>, _>>()?;
    }
    if runs.is_empty() {
        out.raw("<p class=\"quiet\">It has not been run on a real bench yet.</p>");
    } else {
        out.add(&table(&runs));
    }
    out.raw("</section>");
    Ok(())
}
