//! What a plan says of comparisons between lots: read as written, and each
//! fault in it at its line.

use super::*;

/// The demo's plan without what it says of comparisons, which is its end.
fn without_comparison() -> &'static str {
    let (plan, _) = DEMO.split_once("\n[comparison]").expect("it says so");
    plan
}

/// Added to the demo's plan, `written` has one fault, in the line that holds
/// `at`.
fn comparison_fault(written: &str, at: &str, message: &str) {
    let demo = without_comparison();
    let text = format!("{demo}\n[comparison]\n{written}\n");
    let faults = read(&text).expect_err(written);
    assert_eq!(faults.len(), 1, "{written}: {faults:#?}");
    assert!(faults[0].message.contains(message), "{:#?}", faults[0]);
    // In what was added: the demo's own lines may hold the same word.
    let own = text.find("[comparison]").expect("it was added");
    let place = own + text[own..].find(at).expect("it is written");
    let line = text[..place].matches('\n').count() + 1;
    assert_eq!(faults[0].line, line, "{:#?}", faults[0]);
    assert!(faults[0].column > 0);
}

#[test]
fn what_a_plan_says_of_comparisons_is_checked() {
    let demo = without_comparison();
    let text = format!(
        "{demo}\n[comparison]\nkey = [\"short.trip_time\", \"load.output_voltage\"]\nshare = \"20 %\"\n\
         [comparison.margin]\nshort.trip_time = \"2 ms\"\n\
         load.output_voltage = {{ below = \"100 mV\", above = \"0.3 V\" }}\n"
    );
    let comparison = read(&text).expect("sound").0.comparison;
    assert_eq!((comparison.share, comparison.power), (0.2, 0.9));
    assert!(comparison.is_key("short", "trip_time"));
    assert!(!comparison.is_key("overload", "trip_time"));
    let sides = comparison
        .margin("load", "output_voltage")
        .map(|m| (m.below, m.above));
    assert_eq!(sides, Some((0.1, 0.3)));
    assert!(comparison.margin("overload", "trip_time").is_none());
    assert!(Comparison::default().is_key("overload", "trip_time"));
    for (written, at, message) in [
        ("key = [\"shot.trip_time\"]", "shot", "no scenario"),
        ("key = [\"short.trip_tme\"]", "trip_tme", "do not measure"),
        ("key = [\"short\"]", "key = [\"short\"]", "names no metric"),
        ("key = []", "key = []", "empty"),
        (
            "key = [\n\"short.trip_time\",\n\"short.trip_time\", # again\n]",
            "# again",
            "already",
        ),
        ("share = \"0 %\"", "share", "out of range"),
        ("margin.short.trip_time = \"2 V\"", "\"2 V\"", "a voltage"),
        (
            "margin.short.trip_time = \"0 ms\"",
            "\"0 ms\"",
            "out of range",
        ),
        (
            "margin.short.trip_time = { below = \"1 ms\" }",
            "below = \"1 ms\"",
            "`above` is missing",
        ),
        ("margins = 1", "margins = 1", "not a key here"),
    ] {
        comparison_fault(written, at, message);
    }
}
