//! Bad job files, one message each, and the defaults of incomplete ones.

#![allow(clippy::unwrap_used)] // a test stops where its setup fails

use std::path::Path;

use bolster::material::Materials;
use bolster::plan::job::Job;
use bolster::plan::press;

fn materials() -> Materials {
    Materials::built_in().unwrap()
}

fn job(text: &str) -> Job {
    Job::parse(text, Path::new("job.toml"), &materials()).unwrap()
}

const GOOD: &str = "[units]\nlength = \"mm\"\nstrength = \"MPa\"\nload = \"kN\"\n[job]\nname = \"bad\"\n[strip]\n\
material = \"stainless\"\nthickness = 2\n[[die]]\nname = \"left\"\nx = 0\n[[station]]\nname = \"slots\"\nx = 0\n\
pierce = { perimeter = 100, punches = 3 }\n[[station]]\nname = \"bends\"\nx = 10\nbend = { how = \"v\", length = 50 }\n\
[[station]]\nname = \"cups\"\nx = 20\ndraw = { punch = 30, blank = 50, depth = 10 }\n[[station]]\nname = \"marks\"\nx = 30\n\
coin = { area = 10, pressure_factor = 3 }\n[[station]]\nname = \"pads\"\nx = 40\npad = { preload = 1, rate = 1, contact = 5 }\n";

#[test]
fn each_bad_job_gets_one_message_naming_station_and_field() {
    job(GOOD);
    let said = |from: &str, to: &str| {
        assert!(GOOD.contains(from), "{from}");
        let text = GOOD.replacen(from, to, 1);
        let why = Job::parse(&text, Path::new("bad.toml"), &materials()).unwrap_err().to_string();
        assert!(why.starts_with("bad.toml: ") && why.lines().count() == 1, "{why}");
        why
    };
    for (from, to, parts) in [
        ("perimeter = 100", "perimeter = -1", ["station 1 \"slots\"", "pierce.perimeter", "must be from"]),
        (
            "perimeter = 100",
            "perimeter = \"16 ga\"",
            ["station 1 \"slots\"", "pierce.perimeter", "gauge number"],
        ),
        ("perimeter = 100, ", "", ["station 1 \"slots\"", "pierce.perimeter", "is missing"]),
        ("punches = 3", "punches = 2.5", ["station 1 \"slots\"", "pierce.punches", "whole number"]),
        ("punches = 3", "stagger = 0.5", ["station 1 \"slots\"", "pierce.stagger", "at least two punches"]),
        (
            "punches = 3",
            "punches = 3, stagger = 9",
            ["station 1 \"slots\"", "pierce.stagger", "would not cut"],
        ),
        ("punches = 3", "punchs = 3", ["station 1 \"slots\"", "pierce.punchs", "did you mean `punches`?"]),
        ("how = \"v\"", "how = \"u\"", ["station 2 \"bends\"", "bend.how", "wipe"]),
        (", length = 50", "", ["station 2 \"bends\"", "bend.length", "is missing"]),
        ("blank = 50", "blank = 20", ["station 3 \"cups\"", "draw.blank", "wider than the punch"]),
        (", pressure_factor = 3", "", ["station 4 \"marks\"", "coin.pressure_factor", "is missing"]),
        ("rate = 1, ", "", ["station 5 \"pads\"", "pad.rate", "is missing"]),
        ("x = 20\ndraw", "draw", ["station 3 \"cups\"", "field x", "is missing"]),
        (
            "x = 20\ndraw",
            "x = 20\ndie = \"lefty\"\ndraw",
            ["station 3 \"cups\"", "field die", "there are: left"],
        ),
        ("x = 20\ndraw", "x = 20\nrepeat = 3\ndraw", ["station 3 \"cups\"", "field pitch", "is missing"]),
        ("x = 20\ndraw", "x = 20\nhit = 3\ndraw", ["no station works in hit 2", "hit 3", ""]),
        ("pad = { preload", "pat = { preload", ["station 5 \"pads\"", "field pat", "did you mean `pad`?"]),
        ("\"stainless\"", "\"stainles\"", ["[strip]", "field material", "did you mean \"stainless\"?"]),
        ("material = \"stainless\"\n", "", ["[strip]", "field material", "is missing"]),
        ("thickness = 2\n", "", ["[strip]", "field thickness", "is missing"]),
        (
            "thickness = 2\n",
            "thickness = 2\nshear = 900\n",
            ["[strip]", "field shear", "not below the tensile"],
        ),
        ("length = \"mm\"\n", "", ["[strip]", "field thickness", "has no unit"]),
        ("length = \"mm\"", "length = \"cubit\"", ["[units]", "no unit of length", "mm, cm, m, in, ft"]),
        ("name = \"bad\"", "name = 3", ["[job]", "field name", "text in quotes"]),
        ("[strip]", "[stripe]", ["stripe", "did you mean `strip`?", ""]),
        ("[job]", "[job", ["line 5", "is not TOML", ""]),
    ] {
        let why = said(from, to);
        for part in parts {
            assert!(why.contains(part), "{from} -> {to}: {why}");
        }
    }
}

#[test]
fn what_a_file_leaves_out_is_listed_and_what_it_gives_is_not() {
    let read = job(GOOD);
    let listed =
        |field: &str, place: &str| read.defaults.iter().any(|d| d.field == field && d.place.contains(place));
    for (field, place) in [
        ("strokes_per_minute", "[job]"),
        ("parts_per_stroke", "[job]"),
        ("thickness_spread_percent", "[strip]"),
        ("pierce.entry", "slots"),
        ("pierce.stripping_percent", "slots"),
        ("bend.opening", "bends"),
        ("draw.holder", "cups"),
        ("draw.die_radius", "cups"),
        ("coin.contact", "marks"),
        ("y", "pads"),
    ] {
        assert!(listed(field, place), "{field} of {place}: {:?}", read.defaults);
    }
    assert!(!listed("pierce.punches", "slots"));
    let presses = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-signatures/jobs/presses");
    let defaults = |name: &str| press::load(&presses.join(name)).unwrap().remove(0).defaults;
    assert!(defaults("s2.toml").iter().any(|d| d.field == "frame.slide_mass_kg"));
    assert!(defaults("p3.toml").is_empty(), "its frame is given");
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig { cases: 500, ..Default::default() })]

    #[test]
    fn a_good_job_with_any_one_byte_changed_never_panics_and_says_one_line(place in 0..GOOD.len(), byte in 0_u8..128) {
        let mut bytes = GOOD.as_bytes().to_vec();
        bytes[place] = byte;
        let text = String::from_utf8(bytes).unwrap();
        if let Err(why) = Job::parse(&text, Path::new("bad.toml"), &materials()) {
            proptest::prop_assert_eq!(why.to_string().lines().count(), 1);
        }
    }
}
