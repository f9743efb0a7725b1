//! Die cards: what is written is read back, and every malformed one gives one clear error.

use std::path::{Path, PathBuf};

use super::{DieCard, State};
use crate::card::press::PressCard;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures")
}

fn press(name: &str) -> PressCard {
    PressCard::load(&samples().join("presses").join(name)).unwrap()
}

/// File, and what its error must name.
const MALFORMED: [(&str, &str); 32] = [
    ("die-not-toml.toml", "line 7"),
    ("die-missing-key.toml", "missing field `repeat_limit`"),
    ("die-unknown-key.toml", "unknown field `colour`"),
    ("die-unknown-state.toml", "unknown variant `perhaps`"),
    ("die-wrong-type.toml", "expected a sequence"),
    ("die-other-press.toml", "differ in rated_kn"),
    ("die-other-columns.toml", "differ in columns"),
    ("die-other-format.toml", "format 99"),
    ("die-nan-reference.toml", "holds NaN where a number belongs"),
    ("die-infinite-factor.toml", "holds inf where a number belongs"),
    ("die-zero-sigma.toml", "sigma holds 0"),
    ("die-negative-limit.toml", "limits_marked holds -"),
    ("die-short-reference.toml", "reference holds"),
    ("die-long-factor-row.toml", "a row of factors holds"),
    ("die-missing-limit.toml", "limits_unmarked holds 6 entries where 7 belong"),
    ("die-edges-fall.toml", "must follow one another"),
    ("die-too-many-bins.toml", "has 79 bins"),
    ("die-whitener-row.toml", "row 1 of whitener"),
    ("die-limits-turned.toml", "peak_kn"),
    ("die-rule-of-no-stroke.toml", "m of n strokes"),
    ("die-rule-beyond-memory.toml", "m of n strokes"),
    ("die-verdict-pass.toml", "unknown variant `pass`"),
    ("die-band-of-three.toml", "line 28: invalid type: sequence, expected [lowest, highest]"),
    ("die-no-load-nought.toml", "no_load_kn"),
    ("die-double-load-text.toml", "a load in kN"),
    ("die-watch-unknown-load.toml", "knows no load \"middle\""),
    ("die-watch-limits-turned.toml", "watch window 1: between_kn"),
    ("die-watch-beyond-turn.toml", "watch window 1: from_deg and to_deg lie"),
    ("die-watch-nine.toml", "more than 8 watch windows"),
    ("die-sensor-input-nine.toml", "input is 1 to 8"),
    ("die-sensor-no-place.toml", "sensor window 1: needs from_deg and to_deg"),
    ("die-sensor-time-turned.toml", "from_ms lies after to_ms"),
];

#[test]
fn each_malformed_die_card_gives_one_error_that_names_the_file_and_the_defect() {
    let press = press("small-press.toml");
    for (name, says) in MALFORMED {
        let why = DieCard::load(&samples().join("malformed").join(name), &press).expect_err(name);
        let text = why.to_string();
        assert!(text.contains(name) && text.contains(says) && text.lines().count() == 1, "{name}: {text}");
        assert!(text.contains("learn"), "{name} does not say what to do: {text}");
    }
}

#[test]
fn no_malformed_die_card_is_unlisted() {
    for entry in std::fs::read_dir(samples().join("malformed")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        let listed = MALFORMED.iter().any(|(listed, _)| *listed == name);
        assert!(listed || !name.starts_with("die-"), "{name} is in no table");
    }
}

#[test]
fn a_card_that_is_written_and_read_back_is_the_same_card_and_the_same_text() {
    for name in ["small-press.toml", "brake-two-dies.toml", "five-station.toml", "forty-station.toml"] {
        let path = samples().join("dies").join(name);
        let card = DieCard::load(&path, &press(name)).unwrap();
        assert_eq!(card.die.state, State::Draft);
        let text = card.to_toml().unwrap();
        let again: DieCard = toml::from_str(&text).unwrap();
        assert_eq!(again, card, "{name}");
        assert_eq!(text, std::fs::read_to_string(path).unwrap(), "{name}");
    }
}

#[test]
fn a_card_cut_off_anywhere_is_refused_or_whole_and_never_a_panic() {
    let press = press("small-press.toml");
    let text = std::fs::read_to_string(samples().join("dies/small-press.toml")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("cut.toml");
    // Every 97th byte: a prime, so that cuts fall everywhere in the lines.
    for cut in (0..text.len() - 1).step_by(97) {
        std::fs::write(&path, &text[..text.floor_char_boundary(cut)]).unwrap();
        if let Ok(card) = DieCard::load(&path, &press) {
            // Only a cut between tables leaves a card: one without its learnt shape.
            assert!(card.shape.is_none(), "a card cut after {cut} bytes was taken as whole");
        }
    }
}
