//! Every view and every paper on a phone and a desk's screen, light and dark: nothing that
//! keeps people out, and nothing that has to be pushed sideways to be read.

use super::axe::Axe;
use super::driver::{Browser, Tab};
use super::{SERIAL, browser, is_verdict, scanned};
use crate::blanks::no_sheet_is_blank_by_a_third;
use crate::guardian::fixture;
use crate::page::{folder_with, page};
use assert_cmd::cargo::cargo_bin_cmd;
use std::path::Path;

/// Screens that are looked at: width, height, dark. 320 pixels are those of WCAG 2.2,
/// 1.4.10.
const SCREENS: [(u32, u32, bool); 3] = [(1366, 768, false), (320, 700, true), (360, 740, false)];

/// What is wider than its box and has to be pushed sideways. A capture is, and so is the
/// text of a plan, whose lines are as their writer broke them (both excepted there).
const SIDEWAYS: &str = "[...document.querySelectorAll('body *')].filter((e) => e.clientWidth > 0 \
    && e.scrollWidth > e.clientWidth + 1 && /auto|scroll/.test(getComputedStyle(e).overflowX) \
    && !e.matches('#capture, .zoom-picture, .editor textarea, pre'))\
    .map((e) => `${e.tagName} ${e.id || e.getAttribute('aria-label') || e.className}: ${e.scrollWidth} of ${e.clientWidth}`)";

struct Looked<'a> {
    axe: &'a Axe,
    found: Vec<String>,
}

impl Looked<'_> {
    /// What is wrong with the page that `tab` shows, on every screen.
    fn at(&mut self, tab: &mut Tab, what: &str) {
        tab.bring_to_front();
        for (width, height, dark) in SCREENS {
            tab.screen(width, height, dark);
            let wide = tab.evaluated("document.documentElement.scrollWidth");
            if wide.as_u64() > Some(u64::from(width)) {
                self.found.push(format!("{what}: {wide} wide of {width}"));
            }
            let sideways = tab.evaluated(SIDEWAYS);
            for fault in sideways.as_array().expect("a list") {
                self.found.push(format!("{what} at {width}: {fault}"));
            }
            // Its own rules of layout differ by width alone; its inks by theme alone.
            if width != 360 {
                let faults = self.axe.faults(tab);
                let told = faults
                    .into_iter()
                    .map(|fault| format!("{what} at {width}: {fault}"));
                self.found.extend(told);
            }
        }
        tab.screen(1366, 768, false);
    }
}

#[test]
fn no_view_and_no_paper_keeps_anybody_out() {
    let Some(browser) = browser() else { return };
    let Some(axe) = Axe::here() else { return };
    let mut looked = Looked {
        axe: &axe,
        found: Vec::new(),
    };
    let folder = folder_with(&["idle", "short"]);
    for file in ["bench.toml", "board.toml"] {
        std::fs::copy(fixture(file), folder.path().join(file)).expect("a bench");
    }
    let (server, at, _) = page(folder.path(), "127.0.0.1:0");
    let mut tab = browser.tab();
    tab.go(&format!("http://{at}/"));

    // The engine finds what is there to be found.
    tab.evaluated(
        "document.body.insertAdjacentHTML('beforeend', '<img src=\"data:,\" id=\"wrong\">')",
    );
    let faults = axe.faults(&mut tab);
    assert!(
        faults.iter().any(|fault| fault.contains("image-alt")),
        "{faults:?}"
    );

    runs(&browser, &mut tab, &at, &mut looked);
    looked_up(&mut tab, &at, &mut looked);
    assert_eq!(tab.complaints, Vec::<String>::new());
    // A server that is gone.
    tab.go(&format!("http://{at}/"));
    drop(server);
    tab.until("it says so", "!document.getElementById('lost').hidden");
    looked.at(&mut tab, "a lost server");
    papers(&mut tab, folder.path(), &mut looked);
    assert!(looked.found.is_empty(), "{}", looked.found.join("\n"));
}

/// The view of a run: before, while and after boards run.
fn runs(browser: &Browser, tab: &mut Tab, at: &str, looked: &mut Looked<'_>) {
    tab.go(&format!("http://{at}/"));
    looked.at(tab, "no bench is open");
    let opened = |tab: &mut Tab, lot: &str| {
        tab.tab_to("the lot", "e.name === 'lot'");
        tab.types(lot);
        tab.tab_to("the button", "e.textContent === 'Open the bench'");
        tab.press("Enter");
        tab.until("the serial number is asked for", SERIAL);
    };
    opened(tab, "lot.toml");
    looked.at(tab, "a bench is open");
    scanned(tab, "GB-2026-11-01");
    is_verdict(tab, "RUNNING", "GB-2026-11-01");
    let metric = "document.querySelectorAll('#metric-rows tr').length > 3";
    tab.until("metrics", metric);
    looked.at(tab, "a board runs");
    let mut other = browser.tab();
    other.go(&format!("http://{at}/"));
    looked.at(&mut other, "another page watches");
    is_verdict(tab, "MODEL PASS", "GB-2026-11-01");
    looked.at(tab, "a board passed");
    scanned(tab, "GB-2026-11-01");
    tab.until(
        "a reason is asked for",
        "document.activeElement.name === 'retest'",
    );
    looked.at(tab, "a board is refused");
    tab.tab_to("leaving it out", "e.textContent === 'Leave it out'");
    tab.press("Enter");
    scanned(tab, "GB-2026-11-05");
    is_verdict(tab, "MODEL FAIL", "GB-2026-11-05");
    looked.at(tab, "a board failed");
    scanned(tab, "GB-2026-11-02");
    is_verdict(tab, "RUNNING", "GB-2026-11-02");
    tab.press("Escape");
    is_verdict(tab, "MODEL INCONCLUSIVE", "GB-2026-11-02");
    looked.at(tab, "a board was stopped");
    // Another lot, to be compared.
    tab.tab_to(
        "the end of the sitting",
        "e.textContent === 'Close this bench'",
    );
    tab.press("Enter");
    tab.until(
        "it is closed",
        "!document.getElementById('choosing').hidden",
    );
    tab.evaluated("document.querySelector('[name=lot]').value = ''; true");
    opened(tab, "another-lot");
    scanned(tab, "AL-1");
    is_verdict(tab, "MODEL PASS", "AL-1");
}

/// The other views.
fn looked_up(tab: &mut Tab, at: &str, looked: &mut Looked<'_>) {
    for view in [
        "/boards?model=yes",
        "/boards?model=yes&verdict=good",
        "/board/GB-2026-11-05?model=yes",
        "/lots?model=yes",
        "/lot/GB-2026-11?model=yes",
        "/compare",
        "/compare?model=yes&baseline=GB-2026-11&candidate=another-lot",
        "/bench",
        "/plan",
        "/plan?file=plan.toml",
        "/nothing",
    ] {
        tab.go(&format!("http://{at}{view}"));
        looked.at(tab, view);
    }
    // A plan with a fault in it.
    tab.go(&format!("http://{at}/plan?file=plan.toml"));
    tab.evaluated(
        "(() => { const text = document.querySelector('textarea'); text.value = text.value.replace('kind = \"idle\"', \
         'kind = \"unheard\"'); text.dispatchEvent(new Event('input')); })()",
    );
    tab.until(
        "its fault",
        "document.querySelector('#checked [data-line]') !== null",
    );
    looked.at(tab, "a plan with a fault");
    // Unsaved text is asked for before it is left.
    tab.evaluated("document.querySelector('textarea').value = document.querySelector('textarea').defaultValue; true");
    for verdict in ["fail", "inconclusive"] {
        tab.go(&format!("http://{at}/boards?model=yes&verdict={verdict}"));
        let address = tab.evaluated("document.querySelector('a[href^=\"/run/\"]').href");
        tab.go(address.as_str().expect("a record"));
        if verdict == "fail" {
            tab.evaluated("document.querySelector('.zoom-picture').scrollIntoView(); true");
            let drawn = "document.querySelector('.zoom-picture svg') !== null";
            tab.until("a capture is drawn", drawn);
        }
        looked.at(tab, &format!("a record, {verdict}"));
    }
}

/// The papers as pages: certificate, test report, lot, comparison, proof.
fn papers(tab: &mut Tab, folder: &Path, looked: &mut Looked<'_>) {
    let made = |words: &[&str]| {
        let done = cargo_bin_cmd!("bufferstop")
            .env_remove("BUFFERSTOP_BENCH")
            .current_dir(folder)
            .args(words)
            .output();
        let done = done.expect("the command runs");
        let status = done.status.code();
        let said = String::from_utf8_lossy(&done.stderr);
        assert!(matches!(status, Some(0..=2)), "{words:?}: {said}");
    };
    for (words, file) in [
        ("records certificate GB-2026-11-01", "certificate.html"),
        ("records certificate GB-2026-11-05", "test-report.html"),
        ("records lot GB-2026-11", "lot.html"),
        (
            "compare --baseline GB-2026-11 --candidate another-lot",
            "comparison.html",
        ),
    ] {
        let words = words.split(' ').chain(["--model", "--out-file", file]);
        made(&words.collect::<Vec<_>>());
    }
    let few = "prove plan.toml --boards-per-defect 1 --boards 2 --only-defect slow.trip --only-defect cold.joint --out .";
    let few: Vec<String> = few
        .split(' ')
        .map(|word| word.replace("w.t", "w t").replace("d.j", "d j"))
        .collect();
    made(&few.iter().map(String::as_str).collect::<Vec<_>>());
    for file in [
        "certificate.html",
        "test-report.html",
        "lot.html",
        "comparison.html",
        "proof.html",
    ] {
        let path = folder.join(file);
        assert!(path.is_file(), "{file}");
        tab.go(&format!("file://{}", path.display()));
        looked.at(tab, file);
        let printed = folder.join(file).with_extension("pdf");
        std::fs::write(&printed, tab.printed()).expect("room");
        no_sheet_is_blank_by_a_third(&printed);
    }
}
