//! Claim: the sample recordings are what their manifest says, and one command makes them again byte for byte.
#![allow(clippy::unwrap_used)]

use bolster_claims::samples;

#[test]
fn every_sample_is_made_again_byte_for_byte_and_judged_as_its_manifest_says() {
    let scratch = tempfile::tempdir().unwrap();
    for (name, text) in samples::make(scratch.path()) {
        let there = std::fs::read_to_string(samples::folder().join(&name));
        // The manifest holds every stroke's verdict and every recording's hash, so it is compared as well.
        assert!(
            there.as_ref().is_ok_and(|there| *there == text),
            "sample-signatures/{name} differs; if that is wanted: cargo run --release -p bolster-claims --example samples -- --write, and look at the difference"
        );
    }
}

#[test]
fn faulty_samples_are_stopped_first_at_their_faulty_stroke_and_good_ones_not_at_all() {
    let text = std::fs::read_to_string(samples::folder().join("MANIFEST.toml")).unwrap();
    let mut faulty = false;
    for line in text.lines() {
        if let Some(fault) = line.strip_prefix("fault = ") {
            faulty = !fault.contains("none");
        }
        if let Some(verdicts) = line.strip_prefix("verdicts = ") {
            let stopped: Vec<usize> = verdicts
                .trim_matches(['[', ']'])
                .split(", ")
                .enumerate()
                .filter(|(_, verdict)| verdict.contains("hold") || verdict.contains("trip"))
                .map(|(stroke, _)| stroke + 1)
                .collect();
            // What a fault does to the strokes after it (a slowed flywheel, say) may stop them as well.
            assert_eq!(stopped.first(), faulty.then_some(&5), "{line}");
        }
    }
}
