//! A verdict in letters that can be read from two metres. It draws words, and
//! knows only the letters that verdicts need.

const FONT: &[(char, [&str; 5])] = &[
    ('A', [" ### ", "#   #", "#####", "#   #", "#   #"]),
    ('C', [" ####", "#    ", "#    ", "#    ", " ####"]),
    ('D', ["#### ", "#   #", "#   #", "#   #", "#### "]),
    ('E', ["#####", "#    ", "#### ", "#    ", "#####"]),
    ('F', ["#####", "#    ", "#### ", "#    ", "#    "]),
    ('I', ["###", " # ", " # ", " # ", "###"]),
    ('L', ["#    ", "#    ", "#    ", "#    ", "#####"]),
    ('M', ["#   #", "## ##", "# # #", "#   #", "#   #"]),
    ('N', ["#   #", "##  #", "# # #", "#  ##", "#   #"]),
    ('O', [" ### ", "#   #", "#   #", "#   #", " ### "]),
    ('P', ["#### ", "#   #", "#### ", "#    ", "#    "]),
    ('S', [" ####", "#    ", " ### ", "    #", "#### "]),
    ('U', ["#   #", "#   #", "#   #", "#   #", " ### "]),
    ('V', ["#   #", "#   #", "#   #", " # # ", "  #  "]),
];

/// `words` in letters five rows high, one word after another while they fit
/// into `width` columns, each on rows of its own where they do not. A word that
/// does not fit at all, or holds a letter without a shape, is written plainly.
pub fn banner(words: &[&str], width: usize) -> String {
    let drawn: Vec<Vec<String>> = words.iter().map(|word| draw(word, width)).collect();
    let total: usize = drawn.iter().map(|rows| rows[0].chars().count() + 3).sum();
    let mut lines: Vec<String> = Vec::new();
    if total <= width && drawn.iter().all(|rows| rows.len() == 5) {
        for row in 0..5 {
            let parts: Vec<&str> = drawn.iter().map(|rows| rows[row].as_str()).collect();
            lines.push(parts.join("   "));
        }
    } else {
        for rows in drawn {
            lines.extend(rows);
            lines.push(String::new());
        }
        lines.pop();
    }
    lines
        .iter()
        .map(|line| format!("  {}\n", line.trim_end()))
        .collect()
}

fn draw(word: &str, width: usize) -> Vec<String> {
    let letters: Option<Vec<&[&str; 5]>> = word
        .chars()
        .map(|c| {
            FONT.iter()
                .find(|(letter, _)| *letter == c)
                .map(|(_, rows)| rows)
        })
        .collect();
    let plain = || vec![word.to_owned()];
    let Some(letters) = letters else {
        return plain();
    };
    let rows: Vec<String> = (0..5)
        .map(|row| {
            let parts: Vec<&str> = letters.iter().map(|letter| letter[row]).collect();
            parts.join(" ").replace('#', "\u{2588}")
        })
        .collect();
    if rows[0].chars().count() + 2 > width {
        plain()
    } else {
        rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_verdict_has_its_letters() {
        for word in ["MODEL", "PASS", "FAIL", "INCONCLUSIVE"] {
            assert_eq!(draw(word, 100).len(), 5, "{word}");
        }
    }

    #[test]
    fn a_narrow_screen_gets_plain_words() {
        assert_eq!(banner(&["INCONCLUSIVE"], 30), "  INCONCLUSIVE\n");
        assert_eq!(banner(&["MODEL", "PASS"], 80).lines().count(), 5);
        assert_eq!(banner(&["MODEL", "INCONCLUSIVE"], 80).lines().count(), 11);
    }
}
