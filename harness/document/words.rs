//! The nearest of a few known words, for hints. Spelling only, no meaning.

/// The known word nearest to `written`, when it is near enough to be meant.
pub fn nearest<'a>(written: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // A word with more than a third of its letters wrong is another word.
    let bound = (written.chars().count() / 3).max(1);
    known
        .into_iter()
        .map(|word| (distance(written, word), word))
        .filter(|&(distance, _)| distance <= bound)
        .min()
        .map(|(_, word)| word)
}

/// Edit distance with swapped neighbours counted once (Damerau 1964, in the
/// restricted form often called optimal string alignment), case ignored.
fn distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.to_lowercase().chars().take(64).collect();
    let b: Vec<char> = b.to_lowercase().chars().take(64).collect();
    let mut before = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let change = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = change.min(last[j] + 1).min(row[j - 1] + 1);
            let swapped = i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1];
            if swapped {
                row[j] = row[j].min(before[j - 2] + 1);
            }
        }
        before = last;
        last = row;
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Kitten and sitting are the textbook pair (Levenshtein distance 3); the
    /// others follow from the definition by hand.
    #[test]
    fn distances_known_by_hand() {
        for (a, b, steps) in [
            ("kitten", "sitting", 3),
            ("", "abc", 3),
            ("trip", "tirp", 1),
            ("same", "same", 0),
            ("Supply", "supply", 0),
        ] {
            assert_eq!(distance(a, b), steps, "{a} {b}");
            assert_eq!(distance(b, a), steps, "{b} {a}");
        }
    }

    #[test]
    fn only_near_words_are_offered() {
        let known = ["pulse", "settle", "hold"];
        assert_eq!(nearest("puls", known), Some("pulse"));
        assert_eq!(nearest("setle", known), Some("settle"));
        assert_eq!(nearest("temperature", known), None);
    }
}
