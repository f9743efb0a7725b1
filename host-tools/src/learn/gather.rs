//! Signatures of a recording's strokes, in bins that fit the die; two passes, streaming.

use std::path::Path;

use bolster_core::settings::ONSET_SHARE;
use bolster_core::signature::Layout;
use nalgebra::DMatrix;

use super::bins::{Readings, edges};
use super::{LearnError, Part, Strokes};
use crate::card::die::{Band, LimitsCard};
use crate::card::press::PressCard;
use crate::judge::{JudgeError, Shown, judge};
use crate::recording::{Reader, RecordingError, Row, Unit};
use crate::session::{BINS, SessionError};

/// What a recording gave.
#[derive(Debug, Clone)]
pub struct Gathered {
    pub(super) strokes: Strokes,
    /// Stroke numbers in the recording.
    pub(super) numbers: Vec<u64>,
    /// Coil of each stroke, where the recording marks them.
    pub(super) coils: Option<Vec<u64>>,
    /// Edges of the bins, degrees or ms from onset.
    pub(crate) edges: Vec<f64>,
    /// Whether bins are bins of angle.
    pub(crate) by_angle: bool,
    /// Frames of one repeated reading beyond which a gauge is stuck.
    pub(crate) repeat_limit: u32,
    pub(super) sha256: String,
    /// Strokes in the recording.
    pub(super) seen: u64,
    /// Total peak and work of each stroke kept.
    pub(super) peaks: Vec<(f64, Option<f64>)>,
}

/// Strokes from which the bins are laid out, and readings they may hold together.
const LAYOUT_STROKES: usize = 40;
const LAYOUT_READINGS: usize = 400_000;
/// Strokes a model is learnt from: longer recordings give evenly spaced stretches.
const MOST_STROKES: usize = 2_000;
/// Length of such a stretch.
const STRETCH: usize = 100;
/// Strokes held in memory before stretches are chosen.
const MOST_HELD: usize = 60_000;
/// A gauge is stuck after this many times the longest repetition good strokes showed, and never before six frames.
const REPEAT_FACTOR: u32 = 2;
const REPEAT_LEAST: u32 = 6;

/// Reads a recording twice: for the bins, then for the signatures in them. None where nothing is loaded.
pub(super) fn gather(
    recording: &Path,
    card: &PressCard,
    part: Part,
    shown: Shown<'_>,
) -> Result<Option<Gathered>, LearnError> {
    let mut first = readings(recording, card).map_err(JudgeError::from)?;
    let Some(edges) = edges(&core::mem::take(&mut first.strokes)) else { return Ok(None) };
    let columns = card.spec.columns.count();
    let mut held: Vec<Vec<f32>> = Vec::new();
    let (mut numbers, mut coils, mut peaks) = (Vec::new(), Vec::new(), Vec::new());
    let (mut seen, mut repeat) = (0, 0);
    judge(
        recording,
        card,
        |session, _| {
            let places: Vec<f32> =
                edges.iter().map(|edge| (edge * first.per_unit(session.sample_hz())) as f32).collect();
            let layout = Layout::<BINS>::new(first.by_angle, &places);
            session.gather(layout.map_err(|why| SessionError::Settings(why.to_string()))?);
            Ok(())
        },
        shown,
        |outcome, session| {
            seen += 1;
            if part.first.is_some_and(|first| held.len() as u64 >= first) {
                return Ok(());
            }
            repeat = repeat.max(session.longest_repeat());
            if let Some(signature) = session.signature()
                && held.len() < MOST_HELD
            {
                held.push(signature);
                numbers.push(outcome.stroke);
                coils.push(outcome.coil);
                peaks.push((outcome.peak_kn, outcome.work_kj));
            }
            Ok::<(), LearnError>(())
        },
    )?;
    let kept = stretches(held.len());
    let pick = |values: &[u64]| kept.iter().filter_map(|n| values.get(*n).copied()).collect::<Vec<_>>();
    let size = columns * (edges.len() - 1);
    let x = DMatrix::from_fn(kept.len(), size, |row, value| {
        kept.get(row)
            .and_then(|n| held.get(*n))
            .and_then(|signature| signature.get(value))
            .map_or(0.0, |v| f64::from(*v))
    });
    Ok(Some(Gathered {
        strokes: Strokes { x, columns },
        numbers: pick(&numbers),
        coils: (first.has_coil && !part.ignore_coils).then(|| pick(&coils)),
        edges,
        by_angle: first.by_angle,
        repeat_limit: (REPEAT_FACTOR * repeat).max(REPEAT_LEAST),
        sha256: first.sha256,
        seen,
        peaks: kept.iter().filter_map(|n| peaks.get(*n).copied()).collect(),
    }))
}

/// Which of `count` strokes are learnt from: all, or evenly spaced stretches of neighbours.
fn stretches(count: usize) -> Vec<usize> {
    if count <= MOST_STROKES {
        return (0..count).collect();
    }
    let many = MOST_STROKES / STRETCH;
    let start = |n: usize| n * (count - STRETCH) / (many - 1);
    (0..many).flat_map(|n| start(n)..start(n) + STRETCH).collect()
}

impl Gathered {
    /// Only these strokes, with these coils.
    pub(super) fn only(&self, strokes: &[usize], coils: Vec<u64>) -> Self {
        let x = DMatrix::from_fn(strokes.len(), self.strokes.size(), |row, value| {
            strokes.get(row).and_then(|n| self.strokes.x.get((*n, value))).copied().unwrap_or(0.0)
        });
        let pick = |n: &usize| self.numbers.get(*n).copied();
        Self {
            strokes: Strokes { x, columns: self.strokes.columns },
            numbers: strokes.iter().filter_map(pick).collect(),
            coils: Some(coils),
            edges: self.edges.clone(),
            peaks: strokes.iter().filter_map(|n| self.peaks.get(*n).copied()).collect(),
            sha256: self.sha256.clone(),
            ..*self
        }
    }

    /// Wide first limits of the die: what no good stroke comes near, such as no strip at all or two at once.
    pub(super) fn limits(&self, left_out: &[usize]) -> LimitsCard {
        let good =
            || self.peaks.iter().enumerate().filter(|(n, _)| !left_out.contains(n)).map(|(_, peaks)| peaks);
        let wide = |values: Vec<f64>| {
            let least = values.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            (least > 0.0 && greatest.is_finite())
                .then(|| Band::from([rounded(0.5 * least), rounded(1.5 * greatest)]))
        };
        LimitsCard {
            peak_kn: wide(good().map(|peaks| peaks.0).collect()),
            work_kj: wide(good().filter_map(|peaks| peaks.1).collect()),
            ..LimitsCard::default()
        }
    }
}

fn rounded(value: f64) -> f64 {
    format!("{value:.3e}").parse().unwrap_or(value)
}

/// The first strokes, and what the whole file says of itself.
struct First {
    strokes: Vec<Readings>,
    by_angle: bool,
    has_coil: bool,
    sha256: String,
}

impl First {
    /// Bins' axis units in the core's: degrees as they are, ms as ticks.
    fn per_unit(&self, sample_hz: f64) -> f64 {
        if self.by_angle { 1.0 } else { sample_hz / 1000.0 }
    }
}

/// Reads the whole file for its hash, and keeps the readings of its first strokes.
fn readings(recording: &Path, card: &PressCard) -> Result<First, RecordingError> {
    let mut reader = Reader::open_hashed(recording)?;
    reader.expect_columns(card.spec.columns)?;
    let (by_angle, has_coil) = (reader.header().has_angle, reader.header().has_coil);
    let onset_kn = ONSET_SHARE * card.spec.rated_kn;
    let calibration = card.calibration.as_ref().filter(|_| reader.header().unit == Unit::Counts);
    let mut first = First { strokes: Vec::new(), by_angle, has_coil, sha256: String::new() };
    let (mut row, mut stroke, mut onset_s, mut kept) = (Row::default(), None, None, 0);
    while reader.next(&mut row)? {
        if stroke != Some(row.stroke) {
            stroke = Some(row.stroke);
            onset_s = None;
            first.strokes.push(Readings::new());
        }
        if first.strokes.len() > LAYOUT_STROKES || kept > LAYOUT_READINGS {
            // What follows is read for its hash and its errors only.
            first.strokes.truncate(LAYOUT_STROKES);
            continue;
        }
        if let Some(calibration) = calibration {
            row.loads = calibration.loads(&row.loads);
        }
        let place = if by_angle {
            Some(row.angle_deg)
        } else {
            if onset_s.is_none() && row.loads.iter().sum::<f64>() >= onset_kn {
                onset_s = Some(row.time_s);
            }
            onset_s.map(|onset| 1000.0 * (row.time_s - onset))
        };
        let Some(readings) = first.strokes.last_mut() else { continue };
        let Some(place) = place else { continue };
        // A crank that jitters back adds nothing, as in the core's signature.
        if readings.last().is_none_or(|last| place > last.0) {
            readings.push((place, row.loads));
            kept += 1;
        }
    }
    first.sha256 = reader
        .sha256()
        .map(|hash| hash.iter().map(|byte| format!("{byte:02x}")).collect())
        .unwrap_or_default();
    Ok(first)
}
