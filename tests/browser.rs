//! The page at the bench in a real browser: a day of twelve boards by keyboard alone, a
//! reload in mid-run, two tabs, a stop and a lost server in mid-short. How it looks is
//! looked at by people.

mod axe;
mod driver;
mod views;

use super::guardian::{bench_on, output_is_on, serve};
use super::page::{folder_with, page};
use super::tools;
use driver::{Browser, Tab};
use std::time::{Duration, Instant};

/// The browser, or word that there is none.
fn browser() -> Option<Browser> {
    let browser = Browser::start();
    if browser.is_none() {
        tools::absent("no chromium on this machine");
    }
    browser
}

const VERDICT: &str = "document.querySelector('#verdict strong').textContent";
const SERIAL: &str = "document.activeElement.id === 'serial'";

fn is_verdict(tab: &mut Tab, words: &str, serial: &str) {
    let so = format!(
        "{VERDICT} === '{words}' && document.querySelector('#verdict .of').textContent === '{serial}'"
    );
    tab.until(&format!("{serial} {words}"), &so);
}

/// The scanner reads a label, which is keys and Enter.
fn scanned(tab: &mut Tab, serial: &str) {
    tab.until("the serial number is asked for", SERIAL);
    tab.types(serial);
    tab.press("Enter");
}

/// Says why a board is tested again, and that it shall be.
fn again(tab: &mut Tab, why: &str) {
    let asked = "document.activeElement.name === 'retest'";
    tab.until("a reason is asked for", asked);
    tab.types(why);
    tab.press("Enter");
}

/// The demo's lot of twelve, of which the fifth has a slow trip and the ninth a cold joint.
#[test]
fn a_day_by_keyboard_alone() {
    let Some(browser) = browser() else { return };
    let folder = folder_with(&["idle", "load", "short"]);
    let (server, at, _) = page(folder.path(), "127.0.0.1:0");
    let mut tab = browser.tab();
    tab.screen(1366, 768, false);
    tab.go(&format!("http://{at}/"));

    // Plan, bench and lot, once.
    tab.tab_to("the lot", "e.name === 'lot'");
    tab.types("lot.toml");
    tab.tab_to("the button", "e.textContent === 'Open the bench'");
    tab.press("Enter");

    // Scanned; nothing moves while values arrive.
    scanned(&mut tab, "GB-2026-11-01");
    is_verdict(&mut tab, "RUNNING", "GB-2026-11-01");
    tab.evaluated(
        "window.moved = 0; new PerformanceObserver((list) => { for (const one of list.getEntries()) \
         moved += one.value; }).observe({type: 'layout-shift'}); true",
    );
    is_verdict(&mut tab, "MODEL PASS", "GB-2026-11-01");
    let moved = tab.evaluated("window.moved").as_f64().expect("a number");
    // A tenth is the bound of a good page (web vitals); a bench wants far less.
    assert!(moved < 0.02, "the page moved by {moved}");
    let rows = tab.evaluated("document.querySelectorAll('#metric-rows tr:not(.group)').length");
    assert!(rows.as_u64() > Some(15), "{rows} metrics");

    // Read twice by the scanner.
    scanned(&mut tab, "GB-2026-11-01");
    tab.until(
        "a reason is asked for",
        "document.activeElement.name === 'retest'",
    );
    tab.tab_to("leaving it out", "e.textContent === 'Leave it out'");
    tab.press("Enter");

    // Markup for a serial number stays text.
    scanned(&mut tab, HOSTILE);
    tab.until(
        "it is refused",
        "document.querySelector('#said.told') !== null",
    );
    is_harmless(&mut tab);

    let mut other = browser.tab();
    other.go(&format!("http://{at}/"));
    tab.bring_to_front();
    for number in 2..=12 {
        let serial = format!("GB-2026-11-{number:02}");
        let bad = [5, 9].contains(&number);
        scanned(&mut tab, &serial);
        is_verdict(&mut tab, "RUNNING", &serial);
        match number {
            // A bad board, the page loaded again in mid-run.
            5 => {
                let measured = "document.querySelector('#metric-rows tr') !== null";
                tab.until("a metric", measured);
                tab.reload();
                is_verdict(&mut tab, "RUNNING", &serial);
                tab.until("what was measured", measured);
            }
            // A second tab watches; any tab stops, by Escape or a foot switch.
            10 | 11 => {
                stopped_by(
                    &mut other,
                    &serial,
                    if number == 10 { "Escape" } else { "F9" },
                );
                is_verdict(&mut tab, "MODEL INCONCLUSIVE", &serial);
                scanned(&mut tab, &serial);
                again(&mut tab, HOSTILE);
                is_verdict(&mut tab, "RUNNING", &serial);
            }
            _ => {}
        }
        is_verdict(
            &mut tab,
            if bad { "MODEL FAIL" } else { "MODEL PASS" },
            &serial,
        );
    }
    // A board that was tested again counts by its last run.
    let tally =
        "document.querySelector('.tally dd').innerText === '10 passed 2 failed 0 not judged'";
    tab.until("all of them are counted", tally);
    let failed = "[...document.querySelectorAll('#boards li:has(.fail) a')].map((a) => a.textContent).sort().join()";
    assert_eq!(tab.evaluated(failed), "GB-2026-11-05,GB-2026-11-09");
    assert_eq!(other.complaints, Vec::<String>::new());

    looks_up(&mut tab, &at);
    // A server that is lost while a board runs is said to be lost.
    tab.go(&format!("http://{at}/"));
    scanned(&mut tab, "GB-2026-11-13");
    is_verdict(&mut tab, "RUNNING", "GB-2026-11-13");
    drop(server);
    tab.until("it is lost", "!document.getElementById('lost').hidden");
    assert_eq!(tab.complaints, Vec::<String>::new());
}

/// What would run as a page, were it not text.
const HOSTILE: &str = "<img src=x onerror=document.title='gone'>\"'&amp;";

fn is_harmless(tab: &mut Tab) {
    let images = tab.evaluated("document.querySelectorAll('main img').length");
    assert_eq!(images, 0);
    assert_ne!(tab.evaluated("document.title"), "gone");
}

/// Stops the board that runs by a key of a tab that watches.
fn stopped_by(other: &mut Tab, serial: &str, key: &str) {
    is_verdict(other, "RUNNING", serial);
    let watches =
        "!document.getElementById('watching').hidden && document.getElementById('desk').inert";
    other.until("it watches", watches);
    other.until(
        "it may be stopped",
        "!document.getElementById('stop').disabled",
    );
    other.press(key);
}

/// Finds boards again, and looks into a capture.
fn looks_up(tab: &mut Tab, at: &str) {
    // On a screen of 4K as well there is room.
    tab.screen(3840, 2160, false);
    tab.go(&format!("http://{at}/"));
    let wide = tab.evaluated("document.documentElement.scrollWidth");
    assert!(wide.as_u64() <= Some(3840), "{wide}");
    tab.screen(1366, 768, false);
    // Why it was tested again stays text.
    let run = "document.querySelector('a[href^=\"/run/\"]').href";
    tab.go(&format!(
        "http://{at}/boards?model=yes&serial=GB-2026-11-10&verdict=pass"
    ));
    let address = tab.evaluated(run);
    tab.go(address.as_str().expect("a record"));
    let shown = format!(
        "document.body.innerText.includes({})",
        serde_json::json!(HOSTILE)
    );
    assert_eq!(tab.evaluated(&shown), true);
    is_harmless(tab);
    tab.go(&format!("http://{at}/boards?model=yes&verdict=fail"));
    let address = tab.evaluated(run);
    tab.go(address.as_str().expect("a record"));
    // A long record draws what is looked at.
    tab.evaluated("document.querySelector('.zoom-picture').scrollIntoView(); true");
    tab.until(
        "a capture is drawn",
        "document.querySelector('.zoom-picture svg') !== null",
    );
    let from = "document.querySelector('.zoom-picture svg').dataset.from";
    let whole = tab.evaluated(from);
    tab.evaluated("document.querySelector('.zoom-picture').focus(); true");
    tab.types("+");
    tab.until("it is closer", &format!("{from} !== {whole}"));
}

/// On ports that are real to the server: cautions, a start, a stop in mid-short, and a
/// server that is lost in mid-short, after which the bench is safe.
#[test]
fn a_bench_of_instruments_by_keyboard_alone() {
    let Some(browser) = browser() else { return };
    let (_served, ports) = serve();
    let list = ports["ports"].as_array().expect("a list");
    let supply = list.iter().find(|port| port["role"] == "supply");
    let supply = supply.expect("a supply")["path"].as_str().expect("a path");
    let folder = folder_with(&["short"]);
    std::fs::write(folder.path().join("bench.toml"), bench_on(&ports)).expect("a bench file");
    let (server, at, _) = page(folder.path(), "127.0.0.1:0");
    let mut tab = browser.tab();
    tab.screen(1366, 768, true);
    tab.go(&format!("http://{at}/"));
    // The bench of the folder is the first to choose from.
    tab.tab_to("the cautions", "e.name === 'confirmed'");
    tab.press(" ");
    tab.tab_to("the button", "e.textContent === 'Open the bench'");
    tab.press("Enter");
    let in_short = "document.querySelector('#now .energy') !== null \
        && document.querySelector('#now .step').textContent.includes('short')";
    let started = |tab: &mut Tab| {
        let start = "document.activeElement.textContent === 'Start'";
        tab.until("somebody's word is asked for", start);
        assert!(!output_is_on(supply), "nothing is energised yet");
        tab.press("Enter");
        tab.until("the short", in_short);
    };
    scanned(&mut tab, "P-1");
    started(&mut tab);
    tab.press("Escape");
    is_verdict(&mut tab, "MODEL INCONCLUSIVE", "P-1");
    assert!(!output_is_on(supply), "it is made safe");
    scanned(&mut tab, "P-1");
    again(&mut tab, "stopped before");
    started(&mut tab);
    drop(server);
    tab.until("it is lost", "!document.getElementById('lost').hidden");
    let until = Instant::now() + Duration::from_secs(10);
    while output_is_on(supply) {
        assert!(Instant::now() < until, "the supply is still on");
        std::thread::sleep(Duration::from_millis(100));
    }
    assert_eq!(tab.complaints, Vec::<String>::new());
}
