//! What a measured stroke means, at the edges of every rule, and what it does to baseline, candidate and tangents.

use super::super::Standout;
use super::super::residual::Residual;
use super::super::tests::{BINS, Chance, Judge, N, good, judge, model, norm, reference, stroke, verdict};
use super::*;
use crate::signature::Layout;
use std::vec::Vec;

/// A state that measured nothing at all, against a baseline of some strokes.
fn quiet(strokes: u32) -> State<N, BINS> {
    State { strokes, ..State::default() }
}

/// Limits that are powers of two, so that what is just at one is exactly at it.
fn round() -> ShapeModel<N, BINS> {
    let limits = [[64.0, 32.0, 16.0, 8.0, 4.0, 2.0, 1.0], [128.0, 64.0, 32.0, 16.0, 8.0, 4.0, 2.0]];
    ShapeModel { limits, allowed_limit: 16.0, stock_range: 3.0, stock_widening: 2.0, ..model() }
}

#[test]
fn stock_is_bounded_by_every_statistic_by_its_own_limit_widened_and_given_room_by_the_movement() {
    let model = round();
    let rule = StockRule { range: 3.0, widening: 2.0, curvature: 0.5 };
    let scatter = [1.0, 1.5, 1.25, 2.0, 3.0, 1.75, 1.0];
    for (marked, limits) in [(true, model.limits[0]), (false, model.limits[1])] {
        // A baseline worth one stroke has twice a stroke's variance, one of 4 strokes a quarter more.
        for (strokes, inflation) in [(1, 2.0), (4, 1.25), (1000, 1.0 + 1.0 / 24.0)] {
            for movement in [0.0_f32, 36.0] {
                // A quarter of the movement may show outside: as energy, and by as much of Q's limit elsewhere.
                let (room, swell) = (0.25 * movement, 1.0 + 0.25 * movement / limits[1]);
                let bound = |n: usize| limits[n] * scatter[n] * 2.0;
                let most =
                    [bound(1) + room, bound(2) * swell, bound(3) * swell, bound(4) * swell, bound(5) + room];
                for (n, most) in most.into_iter().enumerate() {
                    for (share, stock) in [(0.999, true), (1.001, false)] {
                        let mut state = State { marked, scatter, ..quiet(strokes) };
                        let Residual { allowed, of_p, own_scores, .. } = &mut state.residual;
                        allowed[1] = libm::sqrtf(movement);
                        let value = most * inflation * share;
                        match n {
                            0 => of_p.energy = value,
                            1 => of_p.greatest = value,
                            2 => of_p.matched = value,
                            3 => of_p.windows = value,
                            _ => own_scores[2] = libm::sqrtf(value),
                        }
                        let is = state.is_stock(&model, strokes, rule);
                        assert_eq!(is, stock, "{n}: {share} of {most}, {strokes} strokes, {movement}");
                    }
                }
            }
        }
    }
}

#[test]
fn what_is_just_at_a_limit_has_left_it() {
    // Against a baseline of one stroke all values are halved.
    let model = round();
    let rule = StockRule { range: 3.0, widening: 2.0, curvature: 0.5 };
    let marked = |strokes: u32| State { marked: true, ..quiet(strokes) };
    let is_stock = |set: &dyn Fn(&mut Residual<N, BINS>)| {
        let mut state = marked(1);
        set(&mut state.residual);
        state.is_stock(&model, 1, rule)
    };
    assert!(is_stock(&|_| {}));
    assert!(!is_stock(&|r| r.of_p.energy = 128.0));
    assert!(!is_stock(&|r| r.of_p.greatest = 64.0));
    assert!(!is_stock(&|r| r.of_p.matched = 32.0));
    assert!(!is_stock(&|r| r.of_p.windows = 16.0));
    assert!(!is_stock(&|r| (r.own_scores[0], r.own_scores[1]) = (2.0, 2.0)));
    assert!(!is_stock(&|r| r.allowed[0] = 8.0), "16 and three times as much again");
    assert!(is_stock(&|r| r.allowed[0] = 7.99));
    assert!(!is_stock(&|r| r.of_p.windows = f32::NAN));

    let mut findings = Findings::default();
    let mut state = marked(1);
    state.residual.of_q.energy = 64.0;
    assert_eq!(state.against_baseline(&model, &mut findings), Stage::Measure(Against::Reference));
    let mut state = marked(1);
    state.agreeing = 1;
    state.residual.of_q.energy = 64.0;
    assert_eq!((state.against_candidate(&model), state.agreeing, state.misses), (Stage::Candidate, 1, 0));
    // As large as the reference itself, and no stock: not even a candidate.
    let mut state = marked(5);
    state.residual.of_p.energy = f32::INFINITY;
    state.residual.size = model.reference_size * model.reference_size;
    assert_eq!((state.against_reference(&model, &mut findings), state.agreeing), (Stage::Idle, 0));
    state.residual.size *= 0.999;
    assert_eq!((state.against_reference(&model, &mut findings), state.agreeing), (Stage::Candidate, 1));
}

#[test]
fn a_candidate_is_near_up_to_four_times_the_stock_s_range_and_twice_its_widening() {
    let model = ShapeModel { stock_widening: 1.5, ..round() };
    let near = |set: &dyn Fn(&mut Residual<N, BINS>)| {
        let mut state = State { marked: true, ..quiet(5) };
        set(&mut state.residual);
        state.against_reference(&model, &mut Findings::default());
        state.candidate_near
    };
    // 16 · (1 + 4 · 3), and 32 · 2 · 1.5, of twice the variance.
    assert!(near(&|r| r.allowed[0] = libm::sqrtf(207.0)));
    assert!(!near(&|r| r.allowed[0] = libm::sqrtf(209.0)));
    assert!(near(&|r| r.of_p.energy = 191.0));
    assert!(!near(&|r| r.of_p.energy = 193.0));
}

#[test]
fn the_worst_statistic_names_the_reason_the_first_of_equals_and_one_column_has_no_share() {
    fn reason<const N: usize>(over_limit: [f32; STATISTICS]) -> Reason {
        let mut state = State::<N, BINS>::default();
        state.last.over_limit = over_limit;
        state.worst()
    }
    let (change, share, shape) =
        (Reason::ChangeBeyondAllowed, Reason::ShareOffEnvelope, Reason::ShapeOffEnvelope);
    let wanted = [change, shape, shape, share, share, shape, shape];
    for (n, wanted) in wanted.into_iter().enumerate() {
        let mut over = [0.5; STATISTICS];
        over[n] = 0.9;
        assert_eq!(reason::<2>(over), wanted, "{n}");
        assert_eq!(reason::<4>(over), wanted, "{n}");
        assert_eq!(reason::<1>(over), if wanted == share { shape } else { wanted }, "{n}");
        over[(n + 1).min(6)] = 0.9;
        assert_eq!(reason::<2>(over), wanted, "{n} and the next");
    }
}

#[test]
fn a_shape_is_told_where_its_bin_stands_out_and_all_else_where_its_window_does() {
    fn told<const N: usize>(reason: Reason) -> Finding {
        let layout = Layout::equal(true, 100.0, 260.0).unwrap();
        let model = ShapeModel { layout, ..ShapeModel::<N, BINS>::empty() };
        let mut state = State::<N, BINS>::default();
        state.last.over_limit[3] = 7.0;
        state.last.bin = Standout { column: 1, bins: [4, 4] };
        state.last.window = Standout { column: 0, bins: [6, 9] };
        let mut findings = Findings::default();
        state.tell(&model, &mut findings, reason, Verdict::Note);
        findings.list()[0]
    }
    let at = |degrees: f64| crate::stroke::Position::Angle(crate::units::CrankAngle::from_degrees(degrees));
    let shape = told::<2>(Reason::ShapeOffEnvelope);
    assert_eq!((shape.column, shape.from, shape.to), (Some(1), at(140.0), at(150.0)));
    assert_eq!((shape.verdict, shape.value, shape.limit), (Verdict::Note, 7.0, 1.0));
    for reason in [Reason::ShareOffEnvelope, Reason::ChangeBeyondAllowed, Reason::StockChanged] {
        let share = told::<2>(reason);
        assert_eq!((share.column, share.from, share.to), (Some(0), at(160.0), at(200.0)), "{reason:?}");
    }
    assert_eq!(told::<1>(Reason::ShapeOffEnvelope).column, None);
}

#[test]
fn a_fault_stands_out_in_its_bin_and_its_window_in_the_first_stroke_as_in_later_ones() {
    for before in [0, 20] {
        let (mut judge, mut chance) = (judge(true), Chance(31));
        for _ in 0..before {
            stroke(&mut judge, good(&mut chance, 1.0));
        }
        let base = good(&mut chance, 1.0);
        let (findings, _) = stroke(&mut judge, |bin, column| {
            base(bin, column) + if bin == 4 && column == 1 { 60.0 } else { 0.0 }
        });
        assert_eq!(verdict(&findings), Verdict::Hold);
        let Measures { bin, window, .. } = *judge.measures();
        assert_eq!(bin, Standout { column: 1, bins: [4, 4] }, "after {before}");
        assert!(window.column == 1 && (window.bins[0]..=window.bins[1]).contains(&4), "{window:?}");
    }
}

#[test]
fn the_baseline_is_the_running_mean_of_the_coil_s_good_strokes() {
    let (mut judge, mut chance) = (judge(true), Chance(32));
    let mut mean = [[0.0_f64; N]; BINS];
    for n in 1..=60_u32 {
        stroke(&mut judge, good(&mut chance, 1.0));
        // A plain mean of the first, later ones weigh a twelfth and a half: 0.08.
        let weight = (1.0 / f64::from(n)).max(0.08);
        for (mean, x) in mean.iter_mut().flatten().zip(judge.ended().field().iter().flatten()) {
            *mean += weight * (f64::from(*x) - *mean);
        }
        for (mean, baseline) in mean.iter().flatten().zip(judge.baseline().unwrap().iter().flatten()) {
            // 60 roundings of loads of 100 kN to 4e-6 each.
            assert!((mean - f64::from(*baseline)).abs() < 5e-4, "stroke {n}: {mean} against {baseline}");
        }
    }
}

#[test]
fn a_coil_that_scatters_more_widens_the_limits_in_proportion_up_to_threefold() {
    let scattered = |sigma: f32| {
        let (mut judge, mut chance) = (judge(true), Chance(33));
        // A generous limit: no stroke is held however wide it scatters.
        judge.model.limits = [[1e4; STATISTICS]; 2];
        for _ in 0..400 {
            let noise: Field<N, BINS> = core::array::from_fn(|_| core::array::from_fn(|_| chance.normal()));
            stroke(&mut judge, |bin, column| reference(bin) + sigma * noise[bin][column]);
        }
        judge.state.scatter[Statistic::Residual as usize]
    };
    // Q has some 31 degrees of freedom: its running mean of twenty strokes scatters by 6 %.
    assert_eq!(scattered(0.8), 1.0, "never narrower");
    let wide = scattered(1.4);
    assert!((1.6..2.4).contains(&wide), "{wide}, about 1.96 of variance");
    assert_eq!(scattered(3.0), 3.0);
    // What is measured is then told over the wider limit.
    let over = |scatter: f32| {
        let (mut judge, mut chance) = (judge(true), Chance(34));
        for _ in 0..5 {
            stroke(&mut judge, good(&mut chance, 1.0));
        }
        judge.state.scatter = [scatter; STATISTICS];
        stroke(&mut judge, good(&mut chance, 1.0));
        judge.measures().over_limit
    };
    for (plain, wide) in over(1.0).into_iter().zip(over(2.5)) {
        assert!((plain - 2.5 * wide).abs() <= 1e-5 * plain, "{plain} over 2.5 times the limit: {wide}");
    }
}

/// Verdicts of a judge after so many good strokes: of strokes that carry bumps of these heights, kN, on one column.
fn bumped(marked: bool, good_ones: u32, bumps: &[f32]) -> (Judge, Vec<Verdict>) {
    let (mut judge, mut chance) = (judge(marked), Chance(35));
    for _ in 0..good_ones {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let mut verdicts = Vec::new();
    for bump in bumps {
        let base = good(&mut chance, 1.0);
        let (place, height) = if *bump < 0.0 { (9, -bump) } else { (4, *bump) };
        let faulty = |bin: usize, column: usize| {
            base(bin, column) + if bin == place && column == 0 { height } else { 0.0 }
        };
        verdicts.push(verdict(&stroke(&mut judge, faulty).0));
    }
    (judge, verdicts)
}

#[test]
fn two_strangers_in_a_row_leave_a_candidate_standing_and_a_third_takes_its_place() {
    // A: 40 kN in one place; B: 40 kN in another. Five that agree move the baseline, and the next of them is told as drift.
    let (a, b) = (40.0, -40.0);
    let moved_by = |bumps: &[f32]| {
        let (judge, verdicts) = bumped(true, 30, bumps);
        assert_eq!(verdicts, std::vec![Verdict::Hold; bumps.len()]);
        judge.state.strokes == 5
    };
    assert!(moved_by(&[a, a, a, a, a]));
    assert!(moved_by(&[a, a, b, b, a, a, a]));
    assert!(moved_by(&[a, a, b, b, a, b, b, a, a]), "one that agrees ends the row");
    assert!(!moved_by(&[a, a, b, b, b, a, a, a]), "three end the candidate");
    assert!(moved_by(&[a, a, b, b, b, b, b, b, b]), "the third is the first of its own");
    assert!(moved_by(&[a, b, b, b, b, b]), "one stroke is no row that could be left");
    assert!(!moved_by(&[a, a, b, b, a, a]), "four");
}

#[test]
fn a_baseline_that_was_moved_is_the_mean_of_the_strokes_that_moved_it() {
    let (mut judge, mut chance) = (judge(true), Chance(36));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let mut sum = [[0.0_f64; N]; BINS];
    for _ in 0..5 {
        let base = good(&mut chance, 1.0);
        stroke(&mut judge, |bin, column| {
            base(bin, column) + if bin == 4 && column == 0 { 40.0 } else { 0.0 }
        });
        for (sum, x) in sum.iter_mut().flatten().zip(judge.ended().field().iter().flatten()) {
            *sum += f64::from(*x) / 5.0;
        }
    }
    for (mean, baseline) in sum.iter().flatten().zip(judge.baseline().unwrap().iter().flatten()) {
        assert!((mean - f64::from(*baseline)).abs() < 1e-4, "{mean} against {baseline}");
    }
}

/// How many strokes of a load are held after so many good ones of a marked coil, and whether drift is told then.
fn held(good_ones: u32, load: f32) -> (usize, bool) {
    let (mut judge, mut chance) = (judge(true), Chance(37));
    for _ in 0..good_ones {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let all: Vec<Findings> = (0..12).map(|_| stroke(&mut judge, good(&mut chance, load)).0).collect();
    let held = all.iter().filter(|findings| verdict(findings) == Verdict::Hold).count();
    assert!(all.iter().take(held).all(|findings| verdict(findings) == Verdict::Hold), "in a row");
    (held, all[11].reasons().contains(Reason::DriftOffReference))
}

#[test]
fn stock_that_changes_within_a_marked_coil_is_followed_after_four_held_strokes_but_within_its_first_two() {
    assert_eq!(held(30, 1.06), (4, true));
    assert_eq!(held(2, 1.06), (4, true), "the third stroke is not of a coil's first two");
    assert_eq!(held(1, 1.06), (0, false), "the second is: noted, and followed without a word of drift");
}

#[test]
fn what_is_no_stock_and_as_large_as_a_stroke_itself_is_held_for_ever() {
    for marked in [true, false] {
        let (mut judge, mut chance) = (judge(marked), Chance(38));
        for _ in 0..30 {
            stroke(&mut judge, good(&mut chance, 1.0));
        }
        for n in 0..40 {
            assert_eq!(verdict(&stroke(&mut judge, good(&mut chance, 2.5)).0), Verdict::Hold, "stroke {n}");
        }
    }
}

/// The strokes it takes until a baseline is moved by bumps of `first` kN, once, and `then`.
fn until_moved(first: f32, then: f32) -> usize {
    let mut judge = judge(false);
    for _ in 0..30 {
        stroke(&mut judge, |bin, _| reference(bin));
    }
    (1..20)
        .find(|n| {
            let height = if *n == 1 { first } else { then };
            stroke(&mut judge, |bin, column| {
                reference(bin) + if bin == 4 && column == 0 { height } else { 0.0 }
            });
            judge.state.agreeing == 0
        })
        .unwrap()
}

#[test]
fn one_stroke_that_is_no_stock_or_not_near_makes_its_candidate_wait_as_long_as_such_do() {
    // The greatest bump that is still stock, and still near, to a tenth of a kilonewton.
    let greatest = |is: usize| {
        let heights = (50..900).map(|tenths| tenths as f32 * 0.1);
        heights.filter(|height| until_moved(*height, *height) == is).fold(0.0, f32::max)
    };
    let (allowed, near) = (greatest(AGREE[0] as usize), greatest(AGREE[1] as usize));
    assert!(5.0 < allowed && allowed < near && near < 80.0, "{allowed}, {near}");
    assert_eq!(until_moved(allowed, allowed + 0.5), 4);
    assert_eq!(until_moved(allowed + 0.5, allowed), 4);
    assert_eq!(until_moved(near, near + 0.5), 5);
    assert_eq!(until_moved(near + 0.5, near), 5);
}

#[test]
fn drift_is_told_as_the_movement_over_what_stock_may_move() {
    let (mut judge, mut chance) = (judge(false), Chance(39));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let told: Vec<_> = (0..3).map(|_| stroke(&mut judge, good(&mut chance, 1.06)).0).collect();
    assert!(told.iter().all(|findings| !findings.reasons().contains(Reason::DriftOffReference)));
    // Six per cent of the reference's size along the load's direction, squared, over 24 and 400 times as much again;
    // a mean of three strokes is known to half a σ of some 25.
    let movement = (0.06 * judge.model().unwrap().reference_size).powi(2);
    let (drift, wanted) = (judge.state.drift, movement / (24.0 * 401.0));
    assert!((drift / wanted - 1.0).abs() < 0.1, "{drift} against {wanted}");
    assert!(!judge.state.frozen && !judge.state.far);
}

#[test]
fn the_stroke_that_brings_the_baseline_beyond_stock_is_told_and_no_drift_is_told_twice() {
    let model = round();
    let drift = |set: &dyn Fn(&mut State<N, BINS>)| {
        let (mut state, mut findings) = (quiet(20), Findings::default());
        set(&mut state);
        assert_eq!(state.drifted(&model, &mut findings), Stage::Idle);
        (findings.list().first().map(|finding| finding.value), state.far, state.frozen)
    };
    // A movement of 64 of the 16 and three times as much again that stock may move.
    assert_eq!(drift(&|_| {}), (None, false, false));
    assert_eq!(drift(&|state| state.residual.allowed[0] = 8.0), (None, false, false));
    let beyond = |state: &mut State<N, BINS>| {
        (state.residual.allowed[0], state.residual.of_p.energy) = (8.0, f32::INFINITY);
    };
    assert_eq!(drift(&beyond), (Some(1.0), true, true));
    let told = |state: &mut State<N, BINS>| {
        state.far = true;
        beyond(state);
    };
    assert_eq!(drift(&told), (None, true, true), "a stroke that passes far off is told when it is concluded");
}

/// Uneven bins, fewer than there is room for.
const EDGES: [f32; 13] =
    [100.0, 104.0, 112.0, 130.0, 133.0, 150.0, 160.0, 175.0, 178.0, 190.0, 215.0, 240.0, 260.0];

/// A model in those bins with two factors that are not alone in a row, and the signature whose tangents are asked for.
fn uneven(signature: impl Fn(f64) -> f64) -> (ShapeModel<N, BINS>, Field<N, BINS>) {
    let mut model = ShapeModel { layout: Layout::new(true, &EDGES).unwrap(), ..model() };
    let used = EDGES.len() - 1;
    model.per_sigma = core::array::from_fn(|bin| [0.5 + 0.1 * bin as f32, 1.5]);
    let wave = |n: f32| -> Field<N, BINS> {
        core::array::from_fn(|bin| {
            let value = if bin < used { libm::sinf(n * bin as f32 + 0.3) } else { 0.0 };
            [value, 0.5 * value * bin as f32]
        })
    };
    let (mut first, mut last) = (wave(0.9), wave(1.7));
    norm(&mut first);
    let along = dot(&first, &last);
    add_scaled(&mut last, &first, -along);
    norm(&mut last);
    model.factors = [[[0.0; N]; BINS]; FACTORS];
    (model.factors[0], model.factors[FACTORS - 1]) = (first, last);
    let middle = |bin: usize| 0.5 * (f64::from(EDGES[bin]) + f64::from(EDGES[bin + 1]));
    let field = core::array::from_fn(|bin| {
        let value = if bin < used { signature(middle(bin)) } else { 0.0 };
        [value as f32, (0.7 * value) as f32]
    });
    (model, field)
}

/// The tangents that the judge makes of a baseline, part by part.
fn tangents(model: &ShapeModel<N, BINS>, baseline: &Field<N, BINS>) -> [Field<N, BINS>; TANGENTS] {
    let mut state = State::<N, BINS> { baseline: *baseline, ..State::default() };
    // What was there before must not show.
    state.tangents = [[[9.0; N]; BINS]; TANGENTS];
    let mut stage = Stage::Tangent { row: 0, step: 0 };
    for _ in 0..Judge::PARTS {
        let Stage::Tangent { row, step } = stage else { break };
        stage = state.tangent(model, row, step);
    }
    assert_eq!(stage, Stage::Measure(Against::Drift), "what follows once they are made");
    state.tangents
}

/// The same in f64, in one go: by Newton's divided differences, and Gram–Schmidt. With each row's squared length before
/// and after what is taken out.
fn plain(model: &ShapeModel<N, BINS>, baseline: &Field<N, BINS>) -> Vec<(Vec<f64>, f64, f64)> {
    let used = model.layout.used();
    let middle = |bin: usize| {
        let (from, to) = model.layout.edges(bin);
        0.5 * (f64::from(from) + f64::from(to))
    };
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let slope = |column: usize, bin: usize| {
        let value = |bin: usize| f64::from(baseline[bin][column]);
        let divided = |a: usize, b: usize| (value(b) - value(a)) / (middle(b) - middle(a));
        match bin {
            0 => divided(0, 1),
            last if last == used - 1 => divided(last - 1, last),
            // The slope of the parabola through three neighbours at the middle one.
            n => {
                let second = (divided(n, n + 1) - divided(n - 1, n)) / (middle(n + 1) - middle(n - 1));
                divided(n - 1, n) + second * (middle(n) - middle(n - 1))
            }
        }
    };
    let flat = |field: &Field<N, BINS>| field.iter().flatten().map(|v| f64::from(*v)).collect::<Vec<_>>();
    let mut taken: Vec<Vec<f64>> = model.factors.iter().map(flat).collect();
    let mut rows = Vec::new();
    for window in 0..TANGENTS {
        let mut row = std::vec![0.0; N * BINS];
        for bin in 0..used {
            // Hats over the bins' numbers, equally far apart.
            let along = bin as f64 * (TANGENTS - 1) as f64 / (used - 1) as f64;
            let weight = (1.0 - (along - window as f64).abs()).max(0.0);
            for column in 0..N {
                row[bin * N + column] = slope(column, bin) * weight * f64::from(model.per_sigma[bin][column]);
            }
        }
        let whole = product(&row, &row);
        for taken in &taken {
            let along = product(&row, taken);
            row.iter_mut().zip(taken).for_each(|(row, taken)| *row -= along * taken);
        }
        let left = product(&row, &row);
        let per_length = if left > 1.0 && left > 0.0004 * whole { 1.0 / left.sqrt() } else { 0.0 };
        row.iter_mut().for_each(|row| *row *= per_length);
        taken.push(row.clone());
        rows.push((row, whole, left));
    }
    rows
}

fn assert_tangents(model: &ShapeModel<N, BINS>, baseline: &Field<N, BINS>) -> Vec<f64> {
    let made = tangents(model, baseline);
    let wanted = plain(model, baseline);
    for (row, (made, (wanted, ..))) in made.iter().zip(&wanted).enumerate() {
        for (n, (made, wanted)) in made.iter().flatten().zip(wanted).enumerate() {
            // Unit rows of slopes whose roundings are 1e-6 of their size; what is left after the factors may be a
            // fiftieth of that.
            assert!((f64::from(*made) - wanted).abs() < 1e-4, "row {row}, cell {n}: {made} against {wanted}");
        }
    }
    wanted.iter().map(|(row, ..)| row.iter().map(|v| v * v).sum::<f64>()).collect()
}

#[test]
fn tangents_are_the_slopes_under_their_hats_without_factors_and_one_another() {
    let hump = |at: f64| 400.0 * (-((at - 175.0) / 30.0).powi(2)).exp() + 2.0 * at;
    let (model, baseline) = uneven(hump);
    assert!(assert_tangents(&model, &baseline).iter().all(|length| (length - 1.0).abs() < 1e-9));
    // All bins used, a step in them.
    let (equal, mut step) = (super::super::tests::model(), [[0.0; N]; BINS]);
    step[8..].fill([300.0, 100.0]);
    step[12] = [250.0, 90.0];
    assert_tangents(&equal, &step);
}

#[test]
fn a_slope_lost_in_noise_or_nearly_all_scatter_is_no_tangent() {
    // A signature of a hundredth: no slope is as large as the noise.
    let (model, baseline) = uneven(|at| 4.0 * (-((at - 175.0) / 30.0).powi(2)).exp());
    let squares: Vec<f64> = plain(&model, &baseline).iter().map(|(_, whole, _)| *whole).collect();
    assert!(squares.iter().all(|square| *square > 0.0 && *square < 1.0), "{squares:?}");
    assert_eq!(assert_tangents(&model, &baseline), [0.0; TANGENTS]);

    // A factor that leaves so much of the first slope's length: less than a fiftieth is none.
    let (mut model, baseline) = uneven(|at| 40_000.0 * (-((at - 115.0) / 20.0).powi(2)).exp());
    model.factors = [[[0.0; N]; BINS]; FACTORS];
    let first = tangents(&model, &baseline)[0];
    let mut other: Field<N, BINS> = core::array::from_fn(|bin| if bin < 4 { [0.3, -0.7] } else { [0.0; N] });
    let along = dot(&other, &first);
    add_scaled(&mut other, &first, -along);
    norm(&mut other);
    for (sine, kept) in [(0.017, 0.0), (0.023, 1.0)] {
        let mut factor = first;
        scale(&mut factor, libm::sqrtf(1.0 - sine * sine));
        add_scaled(&mut factor, &other, sine);
        model.factors[0] = factor;
        let (_, _, left) = plain(&model, &baseline)[0];
        assert!(left > 2.0, "{left}: no matter of noise");
        let lengths = assert_tangents(&model, &baseline);
        assert!((lengths[0] - kept).abs() < 1e-9, "{sine}: {lengths:?}");
    }
}

#[test]
fn two_bins_have_the_slope_between_them() {
    let layout = Layout::new(true, &[100.0, 101.0, 104.0]).unwrap();
    let model = ShapeModel { layout, factors: [[[0.0; N]; BINS]; FACTORS], ..model() };
    let mut baseline = [[0.0; N]; BINS];
    (baseline[0], baseline[1]) = ([100.0, 50.0], [300.0, 40.0]);
    let lengths = assert_tangents(&model, &baseline);
    assert!((lengths[0] - 1.0).abs() < 1e-9, "{lengths:?}");
}

#[test]
fn a_signature_of_one_bin_has_no_slope() {
    let model = ShapeModel { layout: Layout::new(true, &[100.0, 260.0]).unwrap(), ..model() };
    let baseline = core::array::from_fn(|bin| if bin == 0 { [500.0; N] } else { [0.0; N] });
    assert_eq!(tangents(&model, &baseline), [[[0.0; N]; BINS]; TANGENTS]);
}
