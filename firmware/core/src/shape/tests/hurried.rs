//! Strokes that end before the one before them has been judged: none passes unjudged, and no baseline is left half.

use super::*;

/// A stroke of which only so many parts are judged before the next one ends; its findings then.
fn hurried(judge: &mut Judge, parts: usize, findings: &mut Findings, bins: impl Fn(usize, usize) -> f32) {
    frames(judge, bins);
    judge.cut_short(findings);
    *findings = Findings::default();
    judge.end_stroke();
    for _ in 0..parts {
        if judge.advance(findings) == Progress::Done {
            return;
        }
    }
}

#[test]
fn a_stroke_whose_successor_comes_too_soon_is_judged_or_held_wherever_the_work_is_cut() {
    // A fault: 30 kN on one bin, found by the end of the second comparison at the latest.
    for parts in 0..Judge::PARTS {
        let (mut judge, mut chance) = (judge(true), Chance(21));
        for _ in 0..5 {
            stroke(&mut judge, good(&mut chance, 1.0));
        }
        let before = *judge.baseline().unwrap();
        let base = good(&mut chance, 1.0);
        let mut findings = Findings::default();
        hurried(&mut judge, parts, &mut findings, |bin, column| {
            base(bin, column) + if bin == 4 && column == 1 { 30.0 } else { 0.0 }
        });
        judge.cut_short(&mut findings);
        assert_eq!(verdict(&findings), Verdict::Hold, "cut after {parts} parts");
        assert_eq!(judge.baseline().unwrap(), &before, "cut after {parts} parts");
    }
}

#[test]
fn a_good_stroke_that_is_cut_after_its_verdict_keeps_it_and_the_baseline_is_moved_to_the_end() {
    let upkeep =
        TANGENTS * (BINS.div_ceil(PIECE) + 3 + 2 * (FACTORS + TANGENTS)) + Residual::<N, BINS>::PARTS;
    let mut passed = 0;
    for parts in (0..Judge::PARTS).step_by(3) {
        let (mut whole, mut cut) = (judge(true), judge(true));
        let mut chance = Chance(22);
        for _ in 0..5 {
            let base = good(&mut chance, 1.0);
            stroke(&mut whole, &base);
            stroke(&mut cut, &base);
        }
        let (second, third) = (good(&mut chance, 1.0), good(&mut chance, 1.0));
        let mut findings = Findings::default();
        stroke(&mut whole, &second);
        hurried(&mut cut, parts, &mut findings, &second);
        // The next stroke ends, and is then judged to the end.
        frames(&mut cut, &third);
        cut.cut_short(&mut findings);
        cut.end_stroke();
        let (after, most) = finish(&mut cut);
        assert!(most <= 2 * Judge::PARTS, "cut after {parts} parts: {most} more");
        assert!(!after.reasons().contains(Reason::NotJudged), "the later one has all the time it needs");
        if verdict(&findings) == Verdict::Pass {
            passed += 1;
            // The verdict was known, so that the baseline follows as if there had been time.
            stroke(&mut whole, &third);
            assert_eq!(cut.baseline(), whole.baseline(), "cut after {parts} parts");
            assert_eq!(cut.state.tangents, whole.state.tangents, "cut after {parts} parts");
        } else {
            assert!(findings.reasons().contains(Reason::NotJudged), "cut after {parts} parts");
        }
    }
    // Of PARTS a good stroke's verdict takes one comparison and its upkeep the tangents and the drift check.
    assert!(passed * 3 >= upkeep, "{passed} strokes passed");
}

#[test]
fn strokes_that_all_come_too_soon_are_all_held() {
    let (mut judge, mut chance) = (judge(false), Chance(23));
    let mut findings = Findings::default();
    for n in 0..200 {
        let base = good(&mut chance, 1.0);
        frames(&mut judge, &base);
        judge.cut_short(&mut findings);
        assert!(n == 0 || findings.reasons().contains(Reason::NotJudged), "stroke {n}");
        findings = Findings::default();
        judge.end_stroke();
        for _ in 0..5 {
            judge.advance(&mut findings);
        }
    }
}
