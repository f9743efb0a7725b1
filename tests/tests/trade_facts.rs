//! Claim: facts of the trade come out of the product's own planning and measuring. Common practice, no source.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use bolster::plan::parts_per_hour;
use bolster_claims::figures::number;
use bolster_claims::press::Card;
use bolster_claims::program::{bolster, jsonl, word};
use bolster_claims::strokes::{Reading, smooth, text};
use serde_json::Value;

/// The plan of an invented one-hole job at this speed, with this advance.
fn planned(strokes_per_minute: f64, advance: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let job = folder.path().join("job.toml");
    let text = format!(
        "[units]\nlength = \"in\"\nstrength = \"psi\"\nload = \"tonf\"\n[job]\nname = \"invented\"\n\
         strokes_per_minute = {strokes_per_minute:?}\n[strip]\nmaterial = \"hardboard\"\nthickness = \"1/8 in\"\n\
         advance = \"{advance}\"\n[[station]]\nname = \"hole\"\nx = 0\n\
         pierce = {{ holes = [{{ count = 190, diameter = \"3/32 in\" }}] }}\n"
    );
    std::fs::write(&job, text).unwrap();
    let press = Card::of(2).write(folder.path());
    let said = bolster(["plan", "--press", word(&press), "--job", word(&job), "--json"]);
    // A plan that exceeds a limit is a finding, no failure to plan.
    assert!([0, 3].contains(&said.code), "{said:?}");
    let plan: Value = serde_json::from_str(&said.out).unwrap();
    plan["presses"][0].clone()
}

const INCHES_A_METRE: f64 = 1.0 / 0.0254;

#[test]
fn seventy_strokes_a_minute_of_one_part_are_4200_parts_an_hour() {
    assert_eq!(parts_per_hour(70.0, 1.0, 1), 4200.0);
    assert_eq!(number(&planned(70.0, "1/2 in"), "/parts_per_hour"), 4200.0);
}

#[test]
fn a_recorded_stroke_of_70_a_minute_is_measured_as_such() {
    let folder = tempfile::tempdir().unwrap();
    let stroke: Vec<Reading> = smooth(2000.0, 300.0, [1.0, 0.0, 0.0, 0.0])
        .into_iter()
        .map(|reading| Reading { time_s: reading.time_s.map(|time| time * 60.0 / 70.0), ..reading })
        .collect();
    let recording = folder.path().join("seventy.csv");
    std::fs::write(&recording, text(1, "kn", 1.0, &[stroke])).unwrap();
    let (press, out) = (Card::of(1).write(folder.path()), folder.path().join("o.jsonl"));
    let words = ["replay", word(&recording), "--press", word(&press), "--jsonl", word(&out)];
    let _ = bolster(words).well();
    let speed = number(&jsonl(&out)[0], "/speed_spm");
    // f32 over some 900 ticks: far below a part an hour, were it not for the rate's own rounding (1e-6).
    assert!((parts_per_hour(speed, 1.0, 1) - 4200.0).abs() < 0.5, "{speed}");
}

#[test]
fn a_peg_board_of_36_800_holes_is_194_strokes_97_inches_and_under_four_minutes() {
    let (holes, a_stroke) = (36_800_u32, 190);
    let strokes = f64::from(holes.div_ceil(a_stroke));
    assert_eq!(strokes, 194.0);
    let plan = planned(60.0, "1/2 in");
    // The plan says how fast the strip runs and how many strokes an hour there are.
    let minutes = 60.0 * strokes / number(&plan, "/parts_per_hour");
    let inches = number(&plan, "/strip_m_per_min") * minutes * INCHES_A_METRE;
    assert!((inches - 97.0).abs() < 1e-9, "{inches}");
    assert!(minutes < 4.0 && (minutes - 194.0 / 60.0).abs() < 1e-12, "{minutes}");
}

#[test]
fn seventy_two_parts_a_minute_out_of_seven_feet_are_1_17_inches_a_part() {
    let an_inch_part = 7.0 * 12.0 / 72.0_f64;
    assert_eq!((an_inch_part * 100.0).round() / 100.0, 1.17);
    let feet =
        number(&planned(72.0, &format!("{an_inch_part} in")), "/strip_m_per_min") * INCHES_A_METRE / 12.0;
    // The advance was written with all its digits.
    assert!((feet - 7.0).abs() < 1e-9, "{feet}");
}
