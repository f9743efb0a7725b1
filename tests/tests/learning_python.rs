//! Claim: what `learn` says of a recording's signatures is what scikit-learn and SciPy find in the same signatures: the
//! reference (medians), the factors of scatter (principal components), what a number of strokes supports (Wilks) and
//! the limit of the allowed ways (chi-squared).
//!
//! Skipped with a notice where there is no Python or no network; `BOLSTER_REQUIRE_PYTHON=1` makes that a failure.
#![allow(clippy::unwrap_used, clippy::expect_used)]

use bolster::card::die::DieCard;
use bolster::card::press::PressCard;
use bolster::judge::{JudgeError, judge, put_in};
use bolster_claims::figures::number;
use bolster_claims::program::{bolster, word};
use bolster_claims::python;
use bolster_claims::strokes::simulated;
use bolster_core::shape::model::STATISTICS;
use serde_json::json;

/// The false-stop rate asked for.
const FALSE_STOP: f64 = 1e-3;

#[test]
fn reference_factors_and_evidence_of_a_learnt_die_are_scikit_learns_and_scipys() {
    let folder = tempfile::tempdir().unwrap();
    // Two coils, the first of 90 strokes.
    let made = simulated(folder.path(), "brake-two-dies", 130, &["--time"]);
    let path = folder.path().join("die.toml");
    let words = ["learn", word(&made.recording), "--press", word(&made.press), "--die", "plate"];
    let _ = bolster(words.into_iter().chain(["--out", word(&path), "--false-stop", "1e-3"])).well();
    let card = PressCard::load(&made.press).unwrap();
    let die = DieCard::load(&path, &card).unwrap();
    let (shape, provenance) = (die.shape.as_ref().unwrap(), die.provenance.as_ref().unwrap());
    let (mut numbers, mut coils, mut signatures) = (Vec::new(), Vec::new(), Vec::new());
    let _ = judge(
        &made.recording,
        &card,
        |session, header| put_in(Some(&die), session, header),
        &mut |_, _, _| {},
        |outcome, session| {
            if let Some(signature) = session.signature() {
                numbers.push(outcome.stroke);
                coils.push(outcome.coil);
                signatures.push(signature);
            }
            Ok::<(), JudgeError>(())
        },
    )
    .unwrap();
    assert_eq!(signatures.len(), 130);
    let left_out: Vec<usize> = provenance
        .strokes_left_out
        .iter()
        .map(|stroke| numbers.iter().position(|number| number == stroke).unwrap())
        .collect();
    let judged: f64 = provenance.evidence.split(' ').next().unwrap().parse().unwrap();
    let asked = json!({
        "signatures": signatures, "coils": coils, "left_out": left_out, "sigma": shape.sigma,
        "factors": shape.factors, "judged": judged, "statistics": STATISTICS, "false_stop": FALSE_STOP,
        "allowed": shape.allowed.len(),
    });
    let Some(theirs) = python::run("learnt.py", &asked) else { return };
    // The card keeps bins' edges to seven digits, half of 1e-4 degrees here: a bin some degrees wide whose loads at the
    // edges are up to 700 kN moves by 700 · 5e-5 kN at most.
    for (n, ours) in shape.reference.iter().enumerate() {
        let expected = number(&theirs, &format!("/reference/{n}"));
        assert!((ours - expected).abs() < 0.035, "value {n}: {ours}, not {expected} kN");
    }
    for (n, ours) in shape.spread.iter().enumerate() {
        let expected = number(&theirs, &format!("/spread/{n}"));
        assert!((ours / expected - 1.0).abs() < 1e-3, "factor {n}: {ours}, not {expected}");
        let angle = number(&theirs, &format!("/angles/{n}"));
        assert!(angle < 1e-2, "the factors' space is off by {angle} radians");
    }
    assert!(number(&theirs, "/first") > 1.0 - 1e-4, "{}", theirs["first"]);
    let supported = number(&theirs, "/supported");
    assert!(
        (provenance.false_stop_supported / supported - 1.0).abs() < 1e-6,
        "{provenance:?}, not {supported}"
    );
    assert!((number(&theirs, "/wilks") - 0.05).abs() < 1e-9, "{theirs}");
    let limit = number(&theirs, "/allowed_limit");
    assert!((shape.allowed_limit / limit - 1.0).abs() < 1e-5, "{}, not {limit}", shape.allowed_limit);
}
