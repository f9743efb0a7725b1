//! A model filled in word by word in its place.

use super::*;
use crate::shape::fill::FillError;

fn words(model: &ShapeModel<N, BINS>) -> Vec<u32> {
    (0..ShapeModel::<N, BINS>::WORDS).map(|n| model.word(n).unwrap()).collect()
}

fn fill(judge: &mut Judge, words: &[u32], at_a_time: usize) -> Result<(), FillError> {
    judge.begin_fill()?;
    for (n, part) in words.chunks(at_a_time).enumerate() {
        judge.fill(n * at_a_time, part)?;
    }
    judge.commit(true)
}

#[test]
fn a_model_filled_in_by_any_number_of_words_is_the_one_it_was_taken_from() {
    let mut model = model();
    // Every word another, so that two that change places show.
    let mut count = 0.0;
    let mut next = || {
        count += 1.0;
        count
    };
    model.factors.iter_mut().flatten().flatten().for_each(|cell| *cell = next());
    model.tangents.iter_mut().flatten().flatten().for_each(|cell| *cell = next());
    for direction in &mut model.allowed {
        direction.scores.iter_mut().for_each(|cell| *cell = next());
        direction.field.iter_mut().flatten().for_each(|cell| *cell = next());
    }
    model.whitener.iter_mut().flatten().flatten().flatten().for_each(|cell| *cell = next());
    model.limits.iter_mut().flatten().for_each(|cell| *cell = next());
    let words = words(&model);
    assert_eq!(model.word(words.len()), None);
    for at_a_time in [1, 7, 64, words.len()] {
        let mut judge = Judge::default();
        assert_eq!(fill(&mut judge, &words, at_a_time), Ok(()));
        assert_eq!(judge.model(), Some(&model), "{at_a_time} words at a time");
    }
}

#[test]
fn a_filled_judge_judges_as_one_that_was_handed_its_model() {
    let (mut set, mut filled) = (judge(true), judge(true));
    stroke(&mut filled, good(&mut Chance(1), 3.0));
    assert_eq!(fill(&mut filled, &words(&model()), 50), Ok(()));
    let (mut one, mut other) = (Chance(11), Chance(11));
    for n in 0..60 {
        let load = if n % 9 == 8 { 1.06 } else { 1.0 };
        assert_eq!(
            stroke(&mut set, good(&mut one, load)),
            stroke(&mut filled, good(&mut other, load)),
            "{n}"
        );
        assert_eq!(set.measures(), filled.measures());
        assert_eq!(set.baseline(), filled.baseline());
    }
}

#[test]
fn a_half_filled_model_judges_nothing_and_every_stroke_is_held() {
    let mut judge = judge(true);
    let words = words(&model());
    judge.begin_fill().unwrap();
    judge.fill(0, &words[..words.len() / 2]).unwrap();
    for _ in 0..2 {
        let (findings, _) = stroke(&mut judge, |bin, _| reference(bin));
        assert_eq!(verdict(&findings), Verdict::Hold);
        assert!(findings.reasons().contains(Reason::NotJudged));
    }
    assert_eq!(judge.commit(true), Err(FillError::Incomplete(words.len() / 2)));
    assert!(judge.model().is_none() && judge.baseline().is_none());
}

#[test]
fn a_stroke_that_filling_fell_into_is_judged_by_the_new_model_or_held() {
    let words = words(&model());
    // Filled before the bins begin: judged.
    let mut judge = judge(true);
    judge.begin_stroke();
    judge.step(Position::Angle(CrankAngle::from_degrees(20.0)), &[0.0; N]);
    fill(&mut judge, &words, 100).unwrap();
    // `frames` would begin another stroke; the bins of this one follow.
    for bin in 0..BINS {
        for degrees in [99.999 + 10.0 * bin as f64, 109.998 + 10.0 * bin as f64] {
            let place = Position::Angle(CrankAngle::from_degrees(degrees));
            judge.step(place, &[reference(bin); N]);
        }
    }
    judge.step(Position::Angle(CrankAngle::from_degrees(261.0)), &[0.0; N]);
    judge.end_stroke();
    let (findings, _) = finish(&mut judge);
    assert!(!findings.reasons().contains(Reason::SignatureIncomplete), "{findings:?}");
    assert!(judge.measures().over_limit[Statistic::Residual as usize] > 0.0, "it was not measured");
    // Filled after they have ended: the new model saw nothing of it.
    frames(&mut judge, |bin, _| reference(bin));
    fill(&mut judge, &words, 100).unwrap();
    judge.step(Position::Angle(CrankAngle::from_degrees(300.0)), &[0.0; N]);
    judge.end_stroke();
    let (findings, _) = finish(&mut judge);
    assert!(findings.reasons().contains(Reason::SignatureIncomplete));
    assert_eq!(verdict(&findings), Verdict::Hold);
}

#[test]
fn by_time_a_stroke_that_filling_fell_into_is_held() {
    let mut model = model();
    model.layout = Layout::equal(false, 0.0, 160.0).unwrap();
    let mut judge = Judge::default();
    judge.begin_stroke();
    fill(&mut judge, &words(&model), 100).unwrap();
    for tick in 0..200 {
        judge.step(Position::SinceOnset(tick), &[0.0; N]);
    }
    judge.end_stroke();
    assert!(finish(&mut judge).0.reasons().contains(Reason::SignatureIncomplete));
}

#[test]
fn what_cannot_be_filled_in_is_refused_and_says_where() {
    let words = words(&model());
    let mut judge = judge(true);
    assert_eq!(judge.fill(0, &words[..1]), Err(FillError::NotBegun));
    assert_eq!(judge.commit(true), Err(FillError::NotBegun));
    frames(&mut judge, |bin, _| reference(bin));
    judge.end_stroke();
    assert_eq!(judge.begin_fill(), Err(FillError::Busy), "a stroke is being judged");
    finish(&mut judge);
    judge.begin_fill().unwrap();
    assert_eq!(judge.fill(1, &words[1..2]), Err(FillError::Order(0)));
    judge.fill(0, &words[..10]).unwrap();
    assert_eq!(judge.fill(11, &words[11..12]), Err(FillError::Order(10)));
    assert_eq!(judge.fill(5, &words[5..12]), Ok(()), "words may come again");
    for (word, value) in [(0, 2), (1, 0), (1, BINS as u32 + 1), (7, f32::NAN.to_bits()), (8, 0x7f80_0000)] {
        let mut wrong = words.clone();
        wrong[word] = value;
        assert_eq!(fill(&mut judge, &wrong, 20), Err(FillError::Value(word)), "{value:#x}");
    }
    let too_many: Vec<u32> = words.iter().copied().chain([0]).collect();
    assert_eq!(fill(&mut judge, &too_many, words.len() + 1), Err(FillError::Value(words.len())));
    // The second bin begins with the first.
    let mut wrong = words.clone();
    wrong[4] = wrong[3];
    assert_eq!(fill(&mut judge, &wrong, 20), Err(FillError::Layout));
    assert!(judge.model().is_none());
}
