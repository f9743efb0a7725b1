//! The judge on strokes made up here: what passes, what is held, what moves the baseline, and at what cost.

use super::model::{ALLOWED, Direction, WINDOWS};
use super::*;
use crate::signature::Layout;
use crate::units::CrankAngle;
use std::vec::Vec;

extern crate std;

mod filling;
mod hurried;

pub(crate) const N: usize = 2;
pub(crate) const BINS: usize = 16;
/// σ of every bin, kN.
pub(super) const SIGMA: f32 = 1.0;

pub(super) type Judge = ShapeJudge<N, BINS>;

/// Noise of one σ per bin and a load scale that scatters; a fixed generator, printed with a failure by its seed.
pub(super) struct Chance(pub(super) u64);

impl Chance {
    pub(super) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as f64 + 0.5) / f64::from(1_u32 << 31)
    }

    /// Sum of twelve uniforms: mean 0, variance 1, never beyond 6.
    pub(super) fn normal(&mut self) -> f32 {
        ((0..12).map(|_| self.uniform()).sum::<f64>() - 6.0) as f32
    }
}

pub(crate) fn reference(bin: usize) -> f32 {
    let along = (bin as f32 + 0.5) / BINS as f32;
    400.0 * along * (1.0 - along)
}

pub(super) fn norm(field: &mut Field<N, BINS>) {
    let length = libm::sqrtf(dot(field, field));
    scale(field, 1.0 / length);
}

/// One factor (a tilt along the stroke), and load scale as the one allowed direction.
pub(crate) fn model() -> ShapeModel<N, BINS> {
    let mut shape: Field<N, BINS> = core::array::from_fn(|bin| [reference(bin); N]);
    let reference_size = libm::sqrtf(dot(&shape, &shape)) / SIGMA;
    let signature = shape;
    norm(&mut shape);
    let mut tilt: Field<N, BINS> = core::array::from_fn(|bin| [bin as f32 - 7.5; N]);
    let along = dot(&tilt, &shape);
    add_scaled(&mut tilt, &shape, -along);
    norm(&mut tilt);
    let none = Direction { scores: [0.0; FACTORS], field: [[0.0; N]; BINS] };
    let mut allowed: [Direction<N, BINS>; ALLOWED] = core::array::from_fn(|_| none.clone());
    allowed[0].field = shape;
    let mut factors = [[[0.0; N]; BINS]; FACTORS];
    factors[0] = tilt;
    let mut per_spread = [0.0; FACTORS];
    per_spread[0] = 0.5;
    let mut whitener = [[[[0.0; WINDOWS]; N]; WINDOWS]; N];
    for (column, rows) in whitener.iter_mut().enumerate() {
        for (window, row) in rows.iter_mut().enumerate() {
            row[column][window] = 1.0;
        }
    }
    // Responses under unit noise: each window's scatter is the root of the hats' and reference's squares.
    let mut window = [0.0_f32; WINDOWS];
    for bin in 0..BINS {
        for (n, sum) in window.iter_mut().enumerate() {
            let cell = hat(n, WINDOWS, bin, BINS) * reference(bin);
            *sum += cell * cell;
        }
    }
    let per_window = window.map(|sum| 1.0 / libm::sqrtf(sum));
    let gain: f32 = (0..BINS).map(|bin| reference(bin) * reference(bin)).sum();
    ShapeModel {
        layout: Layout::equal(true, 100.0, 260.0).unwrap(),
        reference: signature,
        per_sigma: [[1.0 / SIGMA; N]; BINS],
        factors,
        per_spread,
        allowed,
        tangents: [[[0.0; N]; BINS]; TANGENTS],
        per_window: [per_window; N],
        per_gain: [1.0 / libm::sqrtf(gain); N],
        per_station: per_window.map(|value| value / libm::sqrtf(2.0)),
        whitener,
        // Sums of squares of 1, 32, 1, 1, 12, 1 and 1 normal values, all far above their one-in-a-million quantile.
        limits: [[30.0, 100.0, 30.0, 30.0, 60.0, 30.0, 30.0]; 2],
        medians: [0.5, 31.0, 6.0, 6.0, 11.0, 0.5, 0.5],
        allowed_limit: 24.0,
        stock_range: 400.0,
        stock_widening: 1.2,
        reference_size,
        repeat_limit: 100,
    }
}

pub(super) fn judge(marked: bool) -> Judge {
    let mut judge = Judge::default();
    judge.set(Some(model()), marked);
    judge
}

/// A stroke whose signature is `bins`: each bin's level is held from its start to its end.
pub(super) fn stroke(judge: &mut Judge, bins: impl Fn(usize, usize) -> f32) -> (Findings, usize) {
    frames(judge, bins);
    judge.end_stroke();
    finish(judge)
}

/// The frames of such a stroke, up to but without its end.
pub(super) fn frames(judge: &mut Judge, bins: impl Fn(usize, usize) -> f32) {
    judge.begin_stroke();
    let mut frame = |degrees: f64, bin: usize| {
        let loads = core::array::from_fn(|column| bins(bin, column));
        judge.step(Position::Angle(CrankAngle::from_degrees(degrees)), &loads);
    };
    frame(99.0, 0);
    for bin in 0..BINS {
        let from = 100.0 + 10.0 * bin as f64;
        frame(from + 0.001, bin);
        frame(from + 9.999, bin);
    }
    frame(261.0, BINS - 1);
}

/// The frame loop of a stroke is over; all parts of the judging.
pub(super) fn finish(judge: &mut Judge) -> (Findings, usize) {
    let mut findings = Findings::default();
    for parts in 1..=10_000 {
        if judge.advance(&mut findings) == Progress::Done {
            return (findings, parts);
        }
    }
    panic!("judging a stroke never ends");
}

/// A good stroke: noise of one σ, a tilt, a load scale near one.
pub(super) fn good<'a>(chance: &mut Chance, load: f32) -> impl Fn(usize, usize) -> f32 + use<'a> {
    let noise: [[f32; N]; BINS] = core::array::from_fn(|_| core::array::from_fn(|_| chance.normal()));
    let tilt = 2.0 * chance.normal();
    let factor = model().factors[0];
    move |bin, column| load * reference(bin) + SIGMA * (noise[bin][column] + tilt * factor[bin][column])
}

pub(super) fn verdict(findings: &Findings) -> Verdict {
    findings.verdict()
}

#[test]
fn good_strokes_pass_and_cost_no_more_parts_than_promised() {
    let (mut judge, mut chance) = (judge(true), Chance(1));
    let mut most = 0;
    for n in 0..500 {
        let (findings, parts) = stroke(&mut judge, good(&mut chance, 1.0));
        let expected = if n == 0 { Verdict::Note } else { Verdict::Pass };
        assert_eq!(verdict(&findings), expected, "stroke {n}: {:?}", judge.measures());
        most = most.max(parts);
    }
    assert!(most <= Judge::PARTS, "{most} parts of {}", Judge::PARTS);
}

#[test]
fn no_path_through_the_judge_takes_more_parts_than_promised() {
    // Good strokes, faults, new stock and returns to old stock in random order drive every stage.
    for marked in [true, false] {
        let (mut judge, mut chance) = (judge(marked), Chance(2));
        for n in 0..3_000 {
            let load = if chance.uniform() < 0.1 { 1.0 + 0.2 * chance.uniform() as f32 } else { 1.0 };
            let bump = if chance.uniform() < 0.2 { 40.0 } else { 0.0 };
            if chance.uniform() < 0.02 {
                judge.new_coil();
            }
            let base = good(&mut chance, load);
            let (_, parts) = stroke(&mut judge, |bin, column| {
                base(bin, column) + if bin == 5 && column == 0 { bump } else { 0.0 }
            });
            assert!(parts <= Judge::PARTS, "stroke {n}: {parts} parts of {}", Judge::PARTS);
        }
    }
}

#[test]
fn a_fault_is_held_named_by_its_place_and_never_moves_the_baseline() {
    let (mut judge, mut chance) = (judge(true), Chance(3));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let before = *judge.baseline().unwrap();
    let base = good(&mut chance, 1.0);
    let (findings, _) = stroke(&mut judge, |bin, column| {
        base(bin, column) + if bin == 4 && column == 1 { 30.0 } else { 0.0 }
    });
    assert_eq!(verdict(&findings), Verdict::Hold);
    assert_eq!(judge.baseline().unwrap(), &before);
    let bin = judge.measures().bin;
    assert_eq!((bin.bins, bin.column), ([4, 4], 1));
}

#[test]
fn unmarked_stock_along_the_allowed_way_is_noted_and_followed_after_two_strokes() {
    let (mut judge, mut chance) = (judge(false), Chance(4));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    // A coil six per cent stronger: 6 % of the reference's 413 σ is 25, squared 610; the limit is 30, thrice at most.
    let mut verdicts = Vec::new();
    for _ in 0..10 {
        verdicts.push(verdict(&stroke(&mut judge, good(&mut chance, 1.06)).0));
    }
    assert_eq!(verdicts[..2], [Verdict::Note; 2], "{verdicts:?}");
    assert!(verdicts[2..].iter().all(|v| *v == Verdict::Pass), "{verdicts:?}");
}

#[test]
fn where_coils_are_marked_stock_that_changes_within_one_is_held() {
    let (mut judge, mut chance) = (judge(true), Chance(5));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    assert_eq!(verdict(&stroke(&mut judge, good(&mut chance, 1.06)).0), Verdict::Hold);
}

#[test]
fn a_marked_coil_begins_with_its_first_stroke_and_is_noted_once() {
    let (mut judge, mut chance) = (judge(true), Chance(6));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    judge.new_coil();
    let verdicts: Vec<_> = (0..5).map(|_| verdict(&stroke(&mut judge, good(&mut chance, 1.06)).0)).collect();
    assert_eq!(verdicts[0], Verdict::Note);
    assert!(verdicts[1..].iter().all(|v| *v == Verdict::Pass), "{verdicts:?}");
}

#[test]
fn a_fault_that_is_let_go_on_is_held_five_times_and_then_told_as_drift_with_every_stroke() {
    let (mut judge, mut chance) = (judge(true), Chance(7));
    for _ in 0..30 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let mut held = 0;
    let mut after = Vec::new();
    for _ in 0..40 {
        let base = good(&mut chance, 1.0);
        let faulty = |bin: usize, column: usize| {
            base(bin, column) + if (3..8).contains(&bin) && column == 0 { 25.0 } else { 0.0 }
        };
        let (findings, _) = stroke(&mut judge, faulty);
        if verdict(&findings) == Verdict::Hold {
            held += 1;
        } else {
            after.push(findings);
        }
    }
    assert_eq!(held, AGREE[2], "held strokes before the baseline follows");
    assert!(after.iter().all(|f| f.reasons().contains(Reason::DriftOffReference)), "drift goes untold");
}

#[test]
fn slow_drift_is_followed_within_bounds_and_then_told() {
    let (mut judge, mut chance) = (judge(true), Chance(8));
    let mut told = None;
    for n in 0..4_000 {
        let wear = 0.01 * n as f32;
        let base = good(&mut chance, 1.0);
        let worn = |bin: usize, column: usize| {
            base(bin, column) + if (3..8).contains(&bin) && column == 0 { wear } else { 0.0 }
        };
        let (findings, _) = stroke(&mut judge, worn);
        if n > 0 && verdict(&findings) != Verdict::Pass && told.is_none() {
            told = Some((n, wear));
        }
    }
    let (n, wear) = told.expect("wear was followed without a word");
    // Stock's widest rule: eight times the residual's limit and a share of the step; 25 kN on one column's five
    // bins is (25² · 5 = 3125) four times that.
    assert!(wear < 25.0, "told after {n} strokes at {wear} kN");
}

#[test]
fn wear_over_thousands_of_strokes_never_drags_the_baseline_in_silence_beyond_stock_s_widest_rule() {
    // Wear of w on these bins leaves so much of w² beside factor and allowed direction, and moves so much along it; the
    // widest rule allows eight times the residual's limit, which the coil's own scatter may have widened, and a share of
    // the whole movement, coils' loads included, all twice over as against one stroke.
    let model = model();
    let worn: Field<N, BINS> =
        core::array::from_fn(|bin| [if (3..8).contains(&bin) { 1.0 } else { 0.0 }, 0.0]);
    let (along, tilt) = (dot(&worn, &model.allowed[0].field), dot(&worn, &model.factors[0]));
    let beside = 5.0 - along * along - tilt * tilt;
    let allowed = |w: f32| {
        let movement = 0.08 * model.reference_size + along * w;
        beside * w * w < 2.0 * (8.0 * SCATTER_MOST * model.limits[0][1] + 0.6 * 0.6 * movement * movement)
    };
    let most = (0..1000).map(|n| n as f32).find(|w| !allowed(*w)).expect("the rule has a bound");
    for (marked, coil, pace) in
        [(false, u32::MAX, 0.01), (true, 200, 0.01), (true, 200, 0.008), (true, 50, 0.03)]
    {
        let (mut judge, mut chance) = (judge(marked), Chance(11));
        let (mut silent, mut dragged, mut told) = (true, 0.0_f32, 0);
        for n in 0..8_000_u32 {
            if n % coil == 0 && n > 0 {
                judge.new_coil();
            }
            // Coils differ in load, wear adds to one column's five bins.
            let load = 1.0 + 0.02 * ((n / coil.min(1 << 20)) % 5) as f32;
            let wear = pace * n as f32;
            let base = good(&mut chance, load);
            let worn = |bin: usize, column: usize| {
                base(bin, column) + if (3..8).contains(&bin) && column == 0 { wear } else { 0.0 }
            };
            let (findings, _) = stroke(&mut judge, worn);
            let drift = findings.reasons().contains(Reason::DriftOffReference);
            silent &= !drift && verdict(&findings) < Verdict::Hold;
            told += u32::from(!silent && (drift || verdict(&findings) >= Verdict::Hold));
            let baseline = judge.baseline().expect("a model judges");
            // What the worn column's bins gained over the other column's: load moves both alike.
            let gained = (3..8).map(|bin| baseline[bin][0] - baseline[bin][1]).sum::<f32>() / 5.0;
            if silent {
                dragged = dragged.max(gained);
            }
        }
        std::println!("marked {marked}, pace {pace}: {dragged:.1} kN of at most {most} in silence");
        assert!(dragged < most, "marked {marked}, pace {pace}: {dragged} kN in silence, {most} stated");
        assert!(dragged > 1.0, "marked {marked}, pace {pace}: nothing was followed, nothing is shown");
        assert!(told > 0, "marked {marked}, pace {pace}: wear of {} kN went untold", pace * 8_000.0);
    }
}

#[test]
fn a_stroke_that_is_not_whole_is_told_and_a_reading_that_is_no_number_never_passes() {
    let (mut judge, mut chance) = (judge(true), Chance(9));
    for _ in 0..5 {
        stroke(&mut judge, good(&mut chance, 1.0));
    }
    let before = *judge.baseline().unwrap();
    let (findings, _) = stroke(&mut judge, |bin, _| if bin == 3 { f32::NAN } else { reference(bin) });
    assert_eq!(verdict(&findings), Verdict::Hold);
    assert_eq!(judge.baseline().unwrap(), &before, "a NaN got into the baseline");
    judge.begin_stroke();
    judge.step(Position::Angle(CrankAngle::from_degrees(99.0)), &[0.0; N]);
    judge.step(Position::Angle(CrankAngle::from_degrees(150.0)), &[0.0; N]);
    judge.end_stroke();
    let mut findings = Findings::default();
    while judge.advance(&mut findings) == Progress::Working {}
    assert!(findings.reasons().contains(Reason::SignatureIncomplete));
}

/// The seven statistics over their limits, in f64 and as one formula each.
fn oracle(judge: &Judge, baseline: &Field<N, BINS>, strokes: u32) -> [f64; STATISTICS] {
    let model = judge.model().unwrap();
    let flat = |field: &Field<N, BINS>| field.iter().flatten().map(|v| f64::from(*v)).collect::<Vec<_>>();
    let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let (x, b) = (flat(judge.ended().field()), flat(baseline));
    let mut q: Vec<f64> =
        x.iter().zip(&b).zip(flat(&model.per_sigma)).map(|((x, b), w)| (x - b) * w).collect();
    let factor = flat(&model.factors[0]);
    let amplitude = product(&q, &factor);
    q.iter_mut().zip(&factor).for_each(|(q, f)| *q -= amplitude * f);
    for tangent in &judge.state.tangents {
        let tangent = flat(tangent);
        let along = product(&q, &tangent);
        q.iter_mut().zip(&tangent).for_each(|(q, t)| *q -= along * t);
    }
    let score = amplitude * f64::from(model.per_spread[0]);
    let allowed = product(&q, &flat(&model.allowed[0].field));
    let mut cells = [[0.0; WINDOWS]; N];
    for bin in 0..BINS {
        for (column, windows) in cells.iter_mut().enumerate() {
            for (window, cell) in windows.iter_mut().enumerate() {
                let weight = f64::from(hat(window, WINDOWS, bin, BINS)) * f64::from(reference(bin));
                *cell += q[bin * N + column] * weight;
            }
        }
    }
    let square = |value: f64, per: f32| (value * f64::from(per)).powi(2);
    let mut greatest: f64 = 0.0;
    let mut windows = 0.0;
    for (column, cell) in cells.iter().enumerate() {
        for (value, per) in cell.iter().zip(model.per_window[column]) {
            greatest = greatest.max(square(*value, per));
            windows += square(*value, per);
        }
        greatest = greatest.max(square(cell.iter().sum(), model.per_gain[column]));
    }
    for (window, per) in model.per_station.iter().enumerate() {
        greatest = greatest.max(square(cells.iter().map(|cell| cell[window]).sum(), *per));
    }
    let inflation = 1.0 + 1.0 / f64::from(strokes.min(24));
    let z = q.iter().map(|q| q * q).fold(0.0, f64::max);
    let values = [allowed * allowed, product(&q, &q), z, greatest, windows, score * score, score * score];
    core::array::from_fn(|n| values[n] / inflation / f64::from(model.limits[0][n]))
}

#[test]
fn the_judge_in_f32_agrees_with_a_plain_f64_computation() {
    let (mut judge, mut chance) = (judge(true), Chance(10));
    for n in 0..100_u32 {
        let baseline = *judge.baseline().unwrap();
        let tangents = judge.state.tangents;
        let base = good(&mut chance, 1.0);
        stroke(&mut judge, &base);
        let scatter = judge.state.scatter;
        let moved = core::mem::replace(&mut judge.state.tangents, tangents);
        let expected = oracle(&judge, &baseline, n.max(1));
        judge.state.tangents = moved;
        for (k, (over, expected)) in judge.measures().over_limit.iter().zip(expected).enumerate() {
            // Residuals are differences of loads near 100 σ: rounding of 6e-8 · 100 on each, and sums of 32 of
            // them, stay below 1e-3 of a statistic near its median; scatter may have widened the limit by up to 3.
            let over = f64::from(*over);
            let widest = f64::from(scatter[k].max(1.0)) * 1.2;
            assert!(
                over <= expected * 1.001 + 1e-4 && over * widest >= expected * 0.999 - 1e-4,
                "stroke {n}, statistic {k}: {over} against {expected}"
            );
        }
    }
}
