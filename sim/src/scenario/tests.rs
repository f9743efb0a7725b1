//! What reading a scenario promises.

use super::*;

#[test]
fn every_built_in_scenario_reads_and_says_that_it_is_invented() {
    assert!(built_in().len() >= 4);
    for (name, text) in built_in() {
        let scenario = Scenario::from_toml(text).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(scenario.name, *name);
        assert!(scenario.about.starts_with("Invented"), "{name}: {}", scenario.about);
    }
}

/// The refusal of the small press with one line of its text replaced.
fn refusal(old: &str, new: &str) -> String {
    let text = find("small-press").unwrap();
    assert!(text.contains(old), "{old}");
    Scenario::from_toml(&text.replacen(old, new, 1)).unwrap_err().to_string()
}

#[test]
fn a_refusal_names_the_field() {
    for (old, new, expected) in [
        ("material = ", "material = \"cheese\" #", "strip.material"),
        ("strokes = ", "strokes = 0 #", "strokes"),
        ("columns = 1", "columns = 3", "press.columns"),
        ("rod_mm = ", "rod_mm = 1.0 #", "rod"),
        ("perimeter_mm = ", "perimeter_mm = nan, punches = 1 #", "pierce.perimeter_mm"),
    ] {
        let text = refusal(old, new);
        assert!(text.contains(expected) || text.contains("line"), "{new}: {text}");
    }
}

#[test]
fn an_unknown_field_is_refused_with_its_line() {
    let text = refusal("strokes = ", "storkes = 5\nstrokes = ");
    assert!(text.contains("storkes") && text.contains("line"), "{text}");
}
