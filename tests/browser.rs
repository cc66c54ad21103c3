//! The page at the bench in a real browser: a day by keyboard alone, a reload in mid-run,
//! two tabs, and every view from a phone to a large screen. How it looks is looked at by
//! people.

mod axe;
mod driver;
mod views;

use super::page::{folder_with, page};
use super::tools;
use driver::{Browser, Tab};

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

#[test]
fn a_day_by_keyboard_alone() {
    let Some(browser) = browser() else { return };
    let folder = folder_with(&["idle", "short"]);
    let (_server, at, _) = page(folder.path(), "127.0.0.1:0");
    let mut tab = browser.tab();
    tab.screen(1366, 768, false);
    tab.go(&format!("http://{at}/"));

    // Plan, bench and lot, once.
    tab.tab_to("the lot", "e.name === 'lot'");
    tab.types("lot-of-spring");
    tab.tab_to("the button", "e.textContent === 'Open the bench'");
    tab.press("Enter");
    tab.until("the serial number is asked for", SERIAL);

    // Scanned; nothing moves while values arrive.
    tab.types("GB-2026-11-01");
    tab.press("Enter");
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
    tab.until("the next is asked for", SERIAL);

    // Read twice by the scanner.
    tab.types("GB-2026-11-01");
    tab.press("Enter");
    tab.until(
        "a reason is asked for",
        "document.activeElement.name === 'retest'",
    );
    tab.tab_to("leaving it out", "e.textContent === 'Leave it out'");
    tab.press("Enter");
    tab.until("the next is asked for", SERIAL);

    // Markup for a serial number stays text.
    tab.types("<img src=x onerror=document.title='gone'>");
    tab.press("Enter");
    let said = "document.querySelector('#said.told') !== null";
    tab.until("it is refused", said);
    assert_eq!(
        tab.evaluated("document.querySelectorAll('main img').length"),
        0
    );
    assert_ne!(tab.evaluated("document.title"), "gone");

    // A bad board, the page loaded again in mid-run.
    tab.until("the next is asked for", SERIAL);
    tab.types("GB-2026-11-05");
    tab.press("Enter");
    is_verdict(&mut tab, "RUNNING", "GB-2026-11-05");
    tab.until(
        "a metric",
        "document.querySelector('#metric-rows tr') !== null",
    );
    tab.reload();
    is_verdict(&mut tab, "RUNNING", "GB-2026-11-05");
    tab.until(
        "what was measured",
        "document.querySelector('#metric-rows tr') !== null",
    );
    is_verdict(&mut tab, "MODEL FAIL", "GB-2026-11-05");

    // A second tab watches; any tab stops, by Escape or a foot switch.
    let mut other = browser.tab();
    other.go(&format!("http://{at}/"));
    other.until("it watches", "!document.getElementById('watching').hidden");
    assert_eq!(
        other.evaluated("document.getElementById('desk').inert"),
        true
    );
    for (key, serial) in [("Escape", "GB-2026-11-02"), ("F9", "GB-2026-11-03")] {
        tab.until("the next is asked for", SERIAL);
        tab.types(serial);
        tab.press("Enter");
        is_verdict(&mut other, "RUNNING", serial);
        other.until(
            "it may be stopped",
            "!document.getElementById('stop').disabled",
        );
        other.press(key);
        is_verdict(&mut tab, "MODEL INCONCLUSIVE", serial);
    }
    assert_eq!(tab.complaints, Vec::<String>::new());
    assert_eq!(other.complaints, Vec::<String>::new());

    // On a screen of 4K as well there is room.
    tab.screen(3840, 2160, false);
    tab.go(&format!("http://{at}/"));
    let wide = tab.evaluated("document.documentElement.scrollWidth");
    assert!(wide.as_u64() <= Some(3840), "{wide}");
    tab.screen(1366, 768, false);
    let run = "document.querySelector('a[href^=\"/run/\"]').href";
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
    assert_eq!(tab.complaints, Vec::<String>::new());
}
