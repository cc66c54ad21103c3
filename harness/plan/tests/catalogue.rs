//! The catalogue of settings against what the parser takes: neither knows one
//! that the other does not.

use super::*;
use crate::scenario::Polarity;
use crate::scenario::reversal::Direction;
use std::collections::BTreeSet;

/// Every setting of the catalogue can be written, with the default it states;
/// where that is a plain text the plan is the same as without it.
#[test]
fn the_catalogue_and_the_parser_know_the_same_settings() {
    use crate::scenario::{Form, Setting};
    use std::fmt::Write as _;
    let head = &DEMO[..DEMO.find("[[scenario]]").expect("it has some")];
    for kind in ScenarioKind::ALL {
        let scenario = format!("{head}[[scenario]]\nkind = \"{kind}\"\n");
        let mut silent = scenario.clone();
        let stated = |setting: &&Setting| setting.default.is_empty();
        for setting in kind.entry().settings.iter().filter(stated) {
            let _ = writeln!(silent, "{} = 3", setting.name);
        }
        let (plain, _) = read(&silent).expect("defaults fit together");
        let mut known = BTreeSet::new();
        for setting in kind.entry().settings {
            known.insert(setting.name);
            let value = match setting.form {
                Form::One(_) if setting.default.is_empty() => "3".to_owned(),
                Form::One(dimension) => match setting.default.parse::<u32>() {
                    Ok(number) => number.to_string(),
                    Err(_)
                        if setting.default.starts_with(|c: char| c.is_ascii_digit())
                            && !setting.default.contains('%') =>
                    {
                        format!("\"{}\"", setting.default)
                    }
                    Err(_) => format!("{:?}", dimension.example()),
                },
                Form::List(_) => continue,
                Form::Words(_) => format!(
                    "[{}]",
                    setting
                        .default
                        .split(", ")
                        .map(|word| format!("{word:?}"))
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            };
            let before = if setting.default.is_empty() {
                &scenario
            } else {
                &silent
            };
            let text = format!("{before}{} = {value}\n", setting.name);
            let result = read(&text);
            let unknown = result
                .as_ref()
                .err()
                .is_some_and(|faults| faults.iter().any(|f| f.message.contains("not a key")));
            assert!(!unknown, "{kind} {}: {result:#?}", setting.name);
            let stated = value.contains(setting.default) || matches!(setting.form, Form::Words(_));
            if stated {
                let (spoken, _) = result.expect(setting.name);
                assert_eq!(spoken.scenarios, plain.scenarios, "{kind} {}", setting.name);
            }
        }
        let wrong = read(&format!("{silent}nonsense = 1\n")).expect_err("unknown");
        let unknown = wrong.iter().find(|f| f.message.contains("nonsense"));
        let expected = unknown.and_then(|f| f.expected.clone()).unwrap_or_default();
        for name in known {
            assert!(expected.contains(name), "{kind} {name}: {expected}");
        }
    }
}

#[test]
fn words_of_the_catalogue_are_those_of_the_settings() {
    use crate::scenario::Form;
    for (kind, key, words) in [
        ("load", "polarities", words(Polarity::WORDS)),
        ("sense", "polarities", words(Polarity::WORDS)),
        ("soak", "polarities", words(Polarity::WORDS)),
        ("short", "places", words(crate::scenario::Place::WORDS)),
        ("reversal", "directions", words(Direction::WORDS)),
    ] {
        let kind = ScenarioKind::from_word(kind).expect("known");
        let setting = kind.entry().settings.iter().find(|s| s.name == key);
        let form = setting.map(|s| s.form);
        assert!(
            matches!(form, Some(Form::Words(listed)) if listed == words),
            "{key}: {form:?} {words:?}"
        );
    }
}

fn words<T>(list: &[(&'static str, T)]) -> Vec<&'static str> {
    list.iter().map(|(word, _)| *word).collect()
}
