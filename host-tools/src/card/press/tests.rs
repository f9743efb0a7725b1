//! Claims about press cards.

use std::path::Path;

use bolster_core::press::Columns;
use proptest::prelude::*;

use super::{PressCard, PressCardError};

const CARD: &str = r#"
[press]
name = "P3"
columns = 4
rated_kn = 2000.0
rated_height_mm = 6
stroke_mm = 200.0
rod_mm = 900.0
speed_spm = [30.0, 60]
bolster_mm = [1800.0, 900.0]
usable_energy_kj = 18.0
[limits]
reverse_percent = 10.0
column_percent = 110.0
imbalance_percent = 30.0
"#;

fn parse(text: &str) -> Result<PressCard, PressCardError> {
    PressCard::parse(text, Path::new("p3.toml"))
}

/// The message after one change to a good card.
fn said(from: &str, to: &str) -> String {
    assert!(CARD.contains(from));
    parse(&CARD.replacen(from, to, 1)).unwrap_err().to_string()
}

#[test]
fn a_card_is_read_as_written_and_comes_back_from_its_own_text() {
    let card = parse(CARD).unwrap();
    assert_eq!((card.name.as_str(), card.spec.columns, card.low_pass_hz), ("P3", Columns::Corners, None));
    assert_eq!((card.spec.rated_height_mm, card.spec.speed_spm), (6.0, [30.0, 60.0]));
    assert_eq!(card.spec.usable_energy_kj, Some(18.0));
    assert_eq!(parse(&card.to_toml()).unwrap(), card);
    assert_eq!(card.spec.off_centre_percent, None);
    let eccentric = parse(&format!("{CARD}off_centre_percent = 45\n")).unwrap();
    assert_eq!(eccentric.spec.off_centre_percent, Some(45.0));
    assert_eq!(parse(&eccentric.to_toml()).unwrap(), eccentric);
    let quiet = parse(&format!(
        "\u{feff}{}\r\n[monitor]\nlow_pass_hz = 500\n",
        CARD.replace("usable_energy_kj = 18.0", "")
    ))
    .unwrap();
    assert_eq!((quiet.spec.usable_energy_kj, quiet.low_pass_hz), (None, Some(500.0)));
    assert_eq!(parse(&quiet.to_toml()).unwrap(), quiet);
}

#[test]
fn a_one_column_press_needs_no_plate_and_no_shares() {
    let text = CARD
        .replace("columns = 4", "columns = 1")
        .replace("bolster_mm = [1800.0, 900.0]\n", "")
        .replace("column_percent = 110.0\nimbalance_percent = 30.0\n", "");
    let card = parse(&text).unwrap();
    assert_eq!(card.spec.columns, Columns::Total);
    assert!(!card.to_toml().contains("bolster_mm") && !card.to_toml().contains("column_percent"));
    assert_eq!(parse(&card.to_toml()).unwrap(), card);
}

#[test]
fn each_fault_gives_one_line_with_file_line_and_key() {
    assert_eq!(
        said("rated_kn = 2000.0", "rated_kn = -2000.0"),
        "p3.toml, line 5: rated_kn must be a positive number, not -2000"
    );
    assert_eq!(
        said("rated_height_mm = 6", "rated_height_mm = 250"),
        "p3.toml, line 6: rated_height_mm must be below stroke_mm"
    );
    assert_eq!(said("rod_mm", "rod_nm"), "p3.toml, line 8: key `rod_nm` is unknown; did you mean `rod_mm`?");
    assert_eq!(said("rod_mm = 900.0\n", ""), "p3.toml: key `rod_mm` is missing in [press]; add it");
    assert_eq!(
        said("rod_mm = 900.0", "rod_mm = \"long\""),
        "p3.toml, line 8: `rod_mm` must be a number, not the text \"long\""
    );
    assert_eq!(said("columns = 4", "columns = 3"), "p3.toml, line 4: `columns` must be 1, 2 or 4, not 3");
    assert_eq!(
        said("columns = 4", "columns = 4.0"),
        "p3.toml, line 4: `columns` must be a whole number, not a number"
    );
    assert_eq!(said("[30.0, 60]", "[60.0, 30]"), "p3.toml, line 9: speed_spm must be [slowest, fastest]");
    assert_eq!(
        said("[30.0, 60]", "[30.0]"),
        "p3.toml, line 9: `speed_spm` must be a list of two numbers, not a list of 1"
    );
    assert_eq!(
        said("name = \"P3\"", "name = 3"),
        "p3.toml, line 3: `name` must be text in quotes, not a number"
    );
    assert_eq!(
        said("[limits]", "[limit]"),
        "p3.toml, line 12: key `limit` is unknown; did you mean `limits`?"
    );
    assert_eq!(
        said("reverse_percent = 10.0\n", ""),
        "p3.toml: key `reverse_percent` is missing in [limits]; add it"
    );
    assert_eq!(
        said("rated_kn = 2000.0", "rated_kn = nan"),
        "p3.toml, line 5: `rated_kn` must be a finite number"
    );
    assert!(said("rod_mm = 900.0", "rod_mm = ").starts_with("p3.toml, line 8: is not TOML: "));
    assert!(parse("").unwrap_err().to_string().contains("table [press] is missing"));
    assert!(
        parse(&format!("{CARD}[monitor]\nlow_pass_hz = 0\n"))
            .unwrap_err()
            .to_string()
            .contains("low_pass_hz")
    );
}

#[test]
fn a_missing_file_a_folder_and_bytes_that_are_no_text_are_errors() {
    let folder = tempfile::tempdir().unwrap();
    assert_eq!(PressCard::load(folder.path()).unwrap_err().code(), "directory");
    assert_eq!(PressCard::load(&folder.path().join("none.toml")).unwrap_err().code(), "unreadable");
    let path = folder.path().join("bytes.toml");
    std::fs::write(&path, b"\xff\xfe[\0p\0").unwrap();
    assert_eq!(PressCard::load(&path).unwrap_err().code(), "not-text");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    #[test]
    fn arbitrary_text_never_panics_and_says_one_line(text in "([a-z_]{1,12} ?= ?[-0-9.\"'\\[\\],a-z]{0,12}\n|\\[(press|limits|monitor)\\]\n|.{0,20}\n){0,12}") {
        if let Err(why) = parse(&text) {
            prop_assert_eq!(why.to_string().lines().count(), 1);
        }
    }

    #[test]
    fn a_good_card_with_any_one_byte_changed_never_panics(place in 0..CARD.len(), byte in 0_u8..128) {
        let mut bytes = CARD.as_bytes().to_vec();
        bytes[place] = byte;
        if let Ok(card) = parse(&String::from_utf8(bytes).unwrap()) {
            prop_assert_eq!(parse(&card.to_toml()).unwrap(), card);
        }
    }
}
