//! What is kept of a stroke: its readings from the peak on, where the frame rings once the die has let go.

use super::refine::{LEVEL, Records};

/// Readings of one stroke from its peak on, kN.
#[derive(Debug, Clone, Default)]
pub(super) struct Tail {
    /// Stroke number in its recording.
    pub(super) stroke: u64,
    /// Where each reading stands: crank angle in degrees, or seconds since the load last fell through half its peak.
    pub(super) place: Vec<f32>,
    /// `[column]`: loads.
    pub(super) loads: Vec<Vec<f32>>,
    /// `[column]`: loads at the start of the recorded part, before the die meets the stock.
    pub(super) head: Vec<Vec<f32>>,
}

/// Part of a stroke between two places (degrees or seconds, as [`Tail::place`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Between {
    pub(super) from: f64,
    pub(super) to: f64,
}

/// Which load is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Channel {
    /// One column.
    Column(usize),
    /// Sum of all columns.
    Total,
}

/// Readings, `every` of them averaged into one, of one column or the sum of all.
fn averaged(loads: &[Vec<f32>], channel: Channel, from: usize, to: usize, every: usize) -> Vec<f64> {
    let value = |n: usize| -> f64 {
        let of = |column: &Vec<f32>| column.get(n).copied().map_or(0.0, f64::from);
        match channel {
            Channel::Column(column) => loads.get(column).map_or(0.0, of),
            Channel::Total => loads.iter().map(of).sum(),
        }
    };
    let every = every.max(1);
    let count = to.saturating_sub(from) / every;
    (0..count).map(|n| (0..every).map(|k| value(from + n * every + k)).sum::<f64>() / every as f64).collect()
}

impl Tail {
    /// Readings of a channel between two places, `every` of them averaged into one.
    pub(super) fn record(&self, channel: Channel, part: Between, every: usize) -> Vec<f64> {
        let start = self.place.partition_point(|place| f64::from(*place) < part.from);
        let end = self.place.partition_point(|place| f64::from(*place) <= part.to);
        averaged(&self.loads, channel, start, end, every)
    }

    /// Noise of a channel's readings, root mean square about a bending level: of its quietest stretch at the stroke's
    /// beginning or end, so that neither a stroke that is recorded too late nor one that still rings misleads.
    pub(super) fn noise(&self, channel: Channel, every: usize) -> f64 {
        let head = self.head.first().map_or(0, Vec::len);
        let tail = self.place.len();
        let quiet = |record: Vec<f64>| {
            let records = Records::new(&[&record]);
            let free = records.length().saturating_sub(LEVEL);
            if free < 8 { f64::INFINITY } else { f64::sqrt(records.without_level() / free as f64) }
        };
        let end = averaged(&self.loads, channel, tail - tail / 8, tail, every);
        quiet(averaged(&self.head, channel, 0, head, every)).min(quiet(end))
    }
}
