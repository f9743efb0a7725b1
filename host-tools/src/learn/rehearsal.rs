//! Rehearsal: every coil of the recording judged by the core as a coil never seen, by a model of the other coils.
//!
//! Strokes of one coil resemble one another more than the next coil's, so strokes that a model did not see, but of
//! coils that it did, say little of stock to come. The rehearsal runs the judge itself, its baseline and its following
//! included, over coils left out one at a time, and tells how many good strokes were stopped.

use bolster_core::shape::{Progress, ShapeJudge};
use bolster_core::stroke::Position;
use bolster_core::units::CrankAngle;
use bolster_core::verdict::{Findings, Verdict};
use nalgebra::RowDVector;

use super::directions::HeightSlope;
use super::gather::Gathered;
use super::innovations::{Model, model};
use crate::card::die::{RehearsalCard, ShapeCard};
use crate::session::BINS;

/// Coils left out in turn: more tell little more and take their time.
const MOST_COILS: usize = 6;
/// Shortest coil worth a rehearsal.
const LEAST_STROKES: usize = 10;
/// Strokes of another coil that run before, so that an unmarked change is one.
const BEFORE: usize = 20;
/// Ticks a second on which recordings without angles are rehearsed: their bins' edges are milliseconds.
const SAMPLE_HZ: f64 = 1e6;
/// A bin is fed as one load from here after its start to its end: next to nothing is lost of its mean.
const RAMP: f64 = 1e-3;

/// What the rehearsal found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rehearsal {
    /// Coils left out in turn.
    pub coils: usize,
    /// Good strokes judged.
    pub strokes: usize,
    /// Of these, stopped: where coil changes are told to the judge, and where they are not.
    pub stopped: [usize; 2],
}

impl Rehearsal {
    /// As the die card keeps it.
    pub(super) fn card(&self) -> RehearsalCard {
        let [marked, unmarked] = self.stopped.map(|stopped| stopped as u64);
        RehearsalCard {
            coils: self.coils as u64,
            strokes: self.strokes as u64,
            stopped_marked: marked,
            stopped_unmarked: unmarked,
        }
    }
}

/// Strokes of one coil with the judge's model of the others.
struct Turn {
    card: ShapeCard,
    before: Vec<RowDVector<f64>>,
    strokes: Vec<RowDVector<f64>>,
}

/// Rehearses the coils of a model; none where there is only one, or the core cannot hold the models.
pub(super) fn rehearse(
    gathered: &Gathered,
    height: &HeightSlope,
    whole: &Model,
    left_out: &[usize],
    alpha: f64,
) -> Option<Rehearsal> {
    let long = |(n, segment): (usize, &std::ops::Range<usize>)| (segment.len() >= LEAST_STROKES).then_some(n);
    let coils: Vec<usize> = whole.segments.iter().enumerate().filter_map(long).collect();
    if whole.segments.len() < 2 || coils.is_empty() {
        return None;
    }
    let many = coils.len().min(MOST_COILS);
    // Evenly spread over the recording.
    let held: Vec<usize> = (0..many).filter_map(|n| coils.get(n * coils.len() / many).copied()).collect();
    let turns: Vec<Turn> =
        held.iter().filter_map(|coil| turn(gathered, height, whole, left_out, *coil, alpha)).collect();
    let strokes: usize = turns.iter().map(|turn| turn.strokes.len()).sum();
    if turns.is_empty() || strokes == 0 {
        return None;
    }
    let stopped =
        |marked: bool| turns.iter().map(|turn| turn.stopped(gathered, marked)).sum::<Option<usize>>();
    Some(Rehearsal { coils: turns.len(), strokes, stopped: [stopped(true)?, stopped(false)?] })
}

fn turn(
    gathered: &Gathered,
    height: &HeightSlope,
    whole: &Model,
    left_out: &[usize],
    coil: usize,
    alpha: f64,
) -> Option<Turn> {
    let held = whole.segments.get(coil)?.clone();
    let good = |n: &usize| !left_out.contains(n);
    let others: Vec<usize> =
        whole.segments.iter().flat_map(Clone::clone).filter(|n| !held.contains(n)).collect();
    if others.len() < super::LEAST_STROKES {
        return None;
    }
    let coils = others
        .iter()
        .filter_map(|n| whole.segments.iter().position(|segment| segment.contains(n)))
        .map(|segment| segment as u64)
        .collect();
    let part = gathered.only(&others, coils);
    let (model, _) = model(&part, height, alpha);
    let rows = |n: Vec<usize>| n.into_iter().map(|n| gathered.strokes.row(n)).collect::<Vec<_>>();
    let next = if coil == 0 { whole.segments.get(1) } else { whole.segments.get(coil - 1) }?.clone();
    let skip = next.len().saturating_sub(BEFORE);
    Some(Turn {
        card: ShapeCard::of(&part, &model),
        before: rows(next.skip(skip).filter(good).collect()),
        strokes: rows(held.filter(good).collect()),
    })
}

impl Turn {
    /// Strokes of the coil that the core's judge stops.
    fn stopped(&self, gathered: &Gathered, marked: bool) -> Option<usize> {
        match gathered.strokes.columns {
            1 => self.run::<1>(gathered, marked),
            2 => self.run::<2>(gathered, marked),
            4 => self.run::<4>(gathered, marked),
            _ => None,
        }
    }

    fn run<const N: usize>(&self, gathered: &Gathered, marked: bool) -> Option<usize> {
        let mut judge = Box::new(ShapeJudge::<N, BINS>::default());
        judge.set(Some(self.card.model::<N>(SAMPLE_HZ).ok()?), marked);
        for stroke in &self.before {
            put(&mut judge, gathered, stroke);
        }
        judge.new_coil();
        let mut stopped = 0;
        for stroke in &self.strokes {
            stopped += usize::from(put(&mut judge, gathered, stroke) >= Verdict::Hold);
        }
        Some(stopped)
    }
}

/// One signature through the judge.
fn put<const N: usize>(
    judge: &mut ShapeJudge<N, BINS>,
    gathered: &Gathered,
    stroke: &RowDVector<f64>,
) -> Verdict {
    let position = |place: f64| {
        if gathered.by_angle {
            Position::Angle(CrankAngle::from_degrees(place))
        } else {
            Position::SinceOnset((place * SAMPLE_HZ / 1000.0) as u32)
        }
    };
    judge.begin_stroke();
    for (bin, pair) in gathered.edges.windows(2).enumerate() {
        let [from, to] = pair else { continue };
        let loads =
            core::array::from_fn(|column| stroke.get(bin * N + column).map_or(0.0, |load| *load as f32));
        // The first reading stands before the start, or the signature would not be whole.
        let aside = RAMP * (to - from);
        let start = if bin == 0 { (from - aside).max(0.0) } else { from + aside };
        judge.step(position(start), &loads);
        judge.step(position(*to), &loads);
    }
    judge.end_stroke();
    let mut findings = Findings::default();
    for _ in 0..ShapeJudge::<N, BINS>::PARTS {
        if judge.advance(&mut findings) == Progress::Done {
            break;
        }
    }
    findings.verdict()
}
