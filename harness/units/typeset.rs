//! Units and relations in the signs that print has for them, for pages and for
//! terminals that can show them. It parses nothing: files and records keep to
//! ASCII.

use std::borrow::Cow;

/// Relations as they are written in ASCII, and their signs.
const RELATIONS: [(&str, &str); 3] = [
    ("<= ", "\u{2264} "),
    (">= ", "\u{2265} "),
    ("+/- ", "\u{b1} "),
];
/// Units that a micro may stand before.
const MICRO: [&str; 12] = [
    "s", "A", "V", "H", "F", "C", "W", "J", "K", "ohm", "A2s", "A/count",
];

/// `text` with the signs of print for the units that follow a number or an axis's
/// stroke, and for relations; whatever else it has stays as it is. What is set
/// already is not changed.
///
/// ```
/// use bufferstop::units::typeset;
/// assert_eq!(typeset("12.5 us +/- 0.4 us, <= 80 mohm"), "12.5 \u{b5}s \u{b1} 0.4 \u{b5}s, \u{2264} 80 m\u{3a9}");
/// assert_eq!(typeset("61.2 degC, 4.1 mA2s, 2 V/us"), "61.2 \u{b0}C, 4.1 mA\u{b2}s, 2 V/\u{b5}s");
/// assert_eq!(typeset("us, ohm and degC alone"), "us, ohm and degC alone");
/// ```
pub fn typeset(text: &str) -> Cow<'_, str> {
    let mut set = String::new();
    // Everything before `done` is in `set`.
    let (mut done, mut at) = (0, 0);
    while let Some(found) = text[at..].find([' ', '\u{a0}', '<', '>', '+']) {
        let place = at + found;
        let rest = &text[place..];
        let relation = RELATIONS.iter().find(|(ascii, _)| rest.starts_with(ascii));
        let blank = rest.chars().next().map_or(0, char::len_utf8);
        let (from, length, sign) = if let Some((ascii, sign)) = relation {
            (place, ascii.len(), Some((*sign).to_owned()))
        } else if after_number(&text[..place]) {
            let unit = rest[blank..]
                .find(|c: char| !c.is_ascii_alphanumeric() && c != '/')
                .map_or(&rest[blank..], |end| &rest[blank..blank + end]);
            (place + blank, unit.len(), in_print(unit))
        } else {
            (place, blank, None)
        };
        at = from + length;
        if let Some(sign) = sign {
            set.push_str(&text[done..from]);
            set.push_str(&sign);
            done = at;
            // The blank of a relation may stand before a unit's number.
        }
    }
    if done == 0 {
        return Cow::Borrowed(text);
    }
    set.push_str(&text[done..]);
    Cow::Owned(set)
}

/// Whether a unit may follow: after a digit, or after the stroke of an axis.
fn after_number(before: &str) -> bool {
    before.ends_with(|c: char| c.is_ascii_digit()) || before.ends_with(" /")
}

/// A unit in print, where it is another than in ASCII.
fn in_print(unit: &str) -> Option<String> {
    let prefixed = |rest: &str| matches!(rest, "" | "p" | "n" | "u" | "m" | "k" | "M" | "G");
    let micro = |prefix: &str| prefix.replace('u', "\u{b5}");
    if unit == "degC" {
        return Some("\u{b0}C".to_owned());
    }
    for (ascii, print) in [("ohm", "\u{3a9}"), ("Ohm", "\u{3a9}"), ("A2s", "A\u{b2}s")] {
        if let Some(prefix) = unit.strip_suffix(ascii).filter(|rest| prefixed(rest)) {
            return Some(format!("{}{print}", micro(prefix)));
        }
    }
    if let Some(rest) = unit.strip_suffix("/us") {
        return Some(format!("{rest}/\u{b5}s"));
    }
    let rest = unit.strip_prefix('u')?;
    MICRO.contains(&rest).then(|| format!("\u{b5}{rest}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn units_and_relations_are_set_where_they_belong() {
        for (ascii, print) in [
            ("0.5 ohm to 20 kohm", "0.5 \u{3a9} to 20 k\u{3a9}"),
            ("time / us", "time / \u{b5}s"),
            ("3 uohm", "3 \u{b5}\u{3a9}"),
            (">= 5 uA/count", "\u{2265} 5 \u{b5}A/count"),
            ("198.00 +/- 0.41 us", "198.00 \u{b1} 0.41 \u{b5}s"),
            ("7 unknown, 5 uses, 12 ohms", "7 unknown, 5 uses, 12 ohms"),
            ("3\u{a0}us", "3\u{a0}\u{b5}s"),
            ("a<b >c + d", "a<b >c + d"),
            ("", ""),
        ] {
            assert_eq!(typeset(ascii), print);
        }
    }

    proptest! {
        /// What was set once is not changed again, and without a unit or a
        /// relation nothing is.
        #[test]
        fn setting_is_done_once(text in "[ -~\u{b5}\u{a0}]{0,40}") {
            let once = typeset(&text).into_owned();
            prop_assert_eq!(typeset(&once).into_owned(), once.clone());
        }
    }
}
