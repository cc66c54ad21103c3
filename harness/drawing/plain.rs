//! Text from people and instruments made harmless: what could steer a
//! terminal, turn the direction of reading or break XML is shown as its code.
//! It does not escape markup.

/// `text` on one line, with every character that could do harm written as
/// `\u{...}`: control characters, line ends, direction marks and overrides,
/// invisible and tag characters, and those that are no characters.
///
/// ```
/// use bufferstop::drawing::plain::plain;
/// assert_eq!(plain("GR-0042\u{1b}[2J"), "GR-0042\\u{1b}[2J");
/// assert_eq!(plain("caf\u{e9} 5 \u{3a9}"), "caf\u{e9} 5 \u{3a9}");
/// ```
pub fn plain(text: &str) -> String {
    escaped(text, harmful)
}

/// Like [`plain`], but line feeds and tabs stay.
pub fn plain_lines(text: &str) -> String {
    escaped(text, |c| harmful(c) && !matches!(c, '\n' | '\t'))
}

fn escaped(text: &str, harms: impl Fn(char) -> bool) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if harms(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    out
}

/// Characters that are not what they look like. XML 1.0 (section 2.2) forbids
/// some of them; Unicode Technical Report 36 warns of the others.
fn harmful(c: char) -> bool {
    let code = u32::from(c);
    c.is_control()
        || code & 0xFFFE == 0xFFFE
        || matches!(
            code,
            0x00AD
                | 0x061C
                | 0x180E
                | 0x200B..=0x200F
                | 0x2028..=0x202E
                | 0x2060..=0x206F
                | 0xFEFF
                | 0xFFF9..=0xFFFB
                | 0xFDD0..=0xFDEF
                | 0xE0000..=0xE007F
        )
}
