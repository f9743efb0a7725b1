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

#[test]
fn a_base_gives_what_the_text_leaves_out() {
    let text = "base = \"small-press\"\nstrokes = 7\n[strip]\nthickness_mm = 1.3\n[[fault]]\nkind = \"dull\"\nseverity = 0.5";
    let derived = Scenario::from_toml(text).unwrap();
    let mut base = Scenario::from_toml(find("small-press").unwrap()).unwrap();
    assert_eq!((derived.strokes, derived.strip.thickness_mm, derived.faults.len()), (7, 1.3, 1));
    base.strokes = 7;
    base.strip.thickness_mm = 1.3;
    base.faults = derived.faults.clone();
    assert_eq!(derived, base);
    let refused = Scenario::from_toml("base = \"nowhere\"").unwrap_err().to_string();
    assert!(refused.contains("base"), "{refused}");
}

#[test]
fn the_fault_scenarios_have_every_fault_of_their_press() {
    use crate::truth::Kind;
    let all: Vec<Scenario> = built_in().iter().map(|(_, text)| Scenario::from_toml(text).unwrap()).collect();
    for kind in Kind::ALL.iter().filter(|k| !matches!(k, Kind::Good | Kind::MissedIndex)) {
        assert!(all.iter().any(|s| s.faults.iter().any(|f| f.kind == *kind)), "{kind:?}");
    }
}
