//! Picture of one quantity's trend.

use super::Caption;
use crate::figure::{self, TrendPoint};
use crate::trend::{Analysis, Trend};

/// Points a line is drawn by.
const POINTS: usize = 40;

/// A quantity's blocks, its line with interval, and its way to the limit.
#[must_use]
pub fn trend(analysis: &Analysis, trend: &Trend, caption: &Caption) -> figure::Trend {
    let last = analysis.last_stroke as f64;
    let from = trend.from_stroke as f64;
    // As far ahead as was looked back, or to the limit.
    let ahead = trend.strokes_left.map_or(0.0, |left| (1.1 * left.likely).min(2.0 * (last - from)));
    let line = trend.line.as_ref().map(|line| {
        let place = |n: usize, from: f64, to: f64| from + (to - from) * n as f64 / POINTS as f64;
        let seen = (0..=POINTS).map(|n| place(n, from, last));
        let beyond = (1..=POINTS).filter(|_| ahead > 0.0).map(|n| place(n, last, last + ahead));
        let point = |stroke| {
            let (value, half) = (line.at(stroke), line.half_width(stroke, last));
            TrendPoint { stroke, value, low: value - half, high: value + half }
        };
        seen.chain(beyond).map(point).collect()
    });
    figure::Trend {
        title: format!("{} over strokes", trend.title),
        subtitle: caption.subtitle.clone(),
        quantity: trend.title.clone(),
        unit: trend.unit.to_owned(),
        stroke: trend.whole.x.iter().map(|x| *x as u64).collect(),
        value: trend.whole.y.clone(),
        lines: line.into_iter().collect(),
        confidence_percent: trend.line.as_ref().map(|_| 100.0 * analysis.confidence),
        limit: trend.limit,
        changes: analysis
            .changes
            .iter()
            .map(|change| (change.stroke, change.kind.word().to_owned()))
            .collect(),
        left: trend.strokes_left.map(|left| figure::StrokesLeft {
            likely: left.likely,
            least: left.least,
            most: left.most,
            confidence_percent: 100.0 * analysis.confidence,
        }),
    }
}
