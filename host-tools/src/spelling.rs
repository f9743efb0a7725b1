//! Guesses which known name a misspelt one was meant to be.

/// The known name nearest to `typed`, if one is near enough to be a slip of the hand.
///
/// Near means at most a third of the longer name must change: more is another word, and a wrong
/// suggestion costs the reader more than none.
#[must_use]
pub fn nearest<'a>(typed: &str, known: &[&'a str]) -> Option<&'a str> {
    let typed = typed.trim().to_ascii_lowercase();
    // A pasted megabyte is no slip of the hand, and the distance costs the product of the lengths.
    if typed.len() > 64 {
        return None;
    }
    known
        .iter()
        .map(|name| (strsim::damerau_levenshtein(&typed, &name.to_ascii_lowercase()), *name))
        .filter(|(changes, name)| changes * 3 <= name.len().max(typed.len()))
        .min_by_key(|(changes, _)| *changes)
        .map(|(_, name)| name)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn a_slip_finds_its_name_and_another_word_finds_none() {
        let known = ["rated_kn", "rod_mm", "stroke_mm"];
        assert_eq!(nearest("rated_knn", &known), Some("rated_kn"));
        assert_eq!(nearest("Rod-mm", &known), Some("rod_mm"));
        assert_eq!(nearest("laod a", &["Time", "Load A"]), Some("Load A"));
        assert_eq!(nearest("colour", &known), None);
        assert_eq!(nearest(&"x".repeat(100_000), &known), None);
    }
}
