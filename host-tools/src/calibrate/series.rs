//! Which readings belong together: series (up, then down) and load steps.

use super::run::Reading;

/// A reading with what it belongs to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placed {
    /// Index in the run.
    pub index: usize,
    /// Number of its series, from 1.
    pub series: u32,
    /// Taken while the load fell.
    pub falling: bool,
    /// Index of its load step, rising in load; step 0 is no load.
    pub step: usize,
}

/// The order of a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Order {
    /// Fitted readings in the order taken; preloads are left out.
    pub placed: Vec<Placed>,
    /// Mean reference load of each step, kN, rising; the first is no load.
    pub steps_kn: Vec<f64>,
    /// How many series rise over (nearly) all steps.
    pub rising_series: usize,
    /// How many series fall over (nearly) all steps.
    pub falling_series: usize,
    /// Preloads seen.
    pub preloads: usize,
}

/// Reference loads within this share of the greatest are one step.
const SAME_STEP: f64 = 0.02;

/// A series that misses more of the load steps than this leaves is none.
const COMPLETE: f64 = 0.8;

/// Finds series and steps.
#[must_use]
pub fn order(readings: &[Reading]) -> Order {
    let fitted: Vec<usize> = (0..readings.len()).filter(|i| !is_preload(readings, *i)).collect();
    let load = |i: usize| readings.get(i).map_or(0.0, |r| r.reference_kn);
    let most = fitted.iter().map(|i| load(*i).abs()).fold(0.0, f64::max);
    let mut sorted: Vec<f64> = fitted.iter().map(|i| load(*i)).collect();
    sorted.sort_by(f64::total_cmp);
    // Each step begins where the load has left the last one's first reading.
    let mut groups: Vec<Vec<f64>> = vec![Vec::new()];
    for kn in sorted {
        let near_zero = kn.abs() <= 0.5 * SAME_STEP * most;
        match groups.last_mut() {
            Some(group)
                if near_zero
                    || group.first().is_some_and(|first| {
                        kn - first <= SAME_STEP * most && first.abs() > 0.5 * SAME_STEP * most
                    }) =>
            {
                group.push(kn);
            }
            _ => groups.push(vec![kn]),
        }
    }
    let means: Vec<f64> = groups
        .iter()
        .map(|group| if group.is_empty() { 0.0 } else { group.iter().sum::<f64>() / group.len() as f64 })
        .collect();
    let step_of = |kn: f64| {
        let near = means.iter().enumerate().min_by(|a, b| (a.1 - kn).abs().total_cmp(&(b.1 - kn).abs()));
        near.map_or(0, |(step, _)| step)
    };
    let mut out = Order { steps_kn: means.clone(), ..Order::default() };
    let (mut series, mut falling, mut last, mut marked) = (1, false, None::<f64>, None::<u32>);
    for (place, index) in fitted.iter().copied().enumerate() {
        let kn = load(index);
        let given = readings.get(index).and_then(|r| r.series);
        let step = step_of(kn);
        let turned = last.is_some_and(|was: f64| {
            let was = step_of(was);
            (step < was && !falling) || (step > was && falling)
        });
        if given.is_some() && given != marked && marked.is_some() {
            // A way down may have a number of its own; it belongs to the way up before it.
            let was_falling = falling;
            falling = fitted.get(place + 1).is_some_and(|next| step_of(load(*next)) < step);
            series += u32::from(!falling || was_falling);
        } else if turned {
            falling = !falling;
            series += u32::from(!falling);
        }
        marked = given.or(marked);
        last = Some(kn);
        out.placed.push(Placed { index, series, falling, step });
    }
    let loaded_steps = means.iter().filter(|kn| kn.abs() > 0.5 * SAME_STEP * most).count();
    let whole = (COMPLETE * loaded_steps as f64).ceil() as usize;
    let count = |falling: bool| {
        let mut seen: Vec<(u32, usize)> = out
            .placed
            .iter()
            .filter(|p| p.falling == falling && p.step > 0)
            .map(|p| (p.series, p.step))
            .collect();
        seen.sort_unstable();
        seen.dedup();
        // Falling, the top step belongs to the way up.
        let needed = if falling { whole.saturating_sub(1).max(1) } else { whole };
        seen.chunk_by(|a, b| a.0 == b.0).filter(|steps| steps.len() >= needed).count()
    };
    out.rising_series = count(false);
    out.falling_series = count(true);
    out.preloads = preloads(readings);
    out
}

/// Readings of a step in a row that tell a spike from a change.
const SPIKE_NEEDS: usize = 5;
/// How far a spike stands from the median of its step, in median distances.
const SPIKE_FAR: f64 = 50.0;

/// Takes out spikes and gives their lines: among five or more readings in a row at one reference load, those that
/// stand more than fifty median distances (and one part in a hundred of full scale) from the median. A converter
/// read at a bad moment does that; a gauge does not.
pub fn take_spikes(readings: &mut Vec<Reading>) -> Vec<u64> {
    let mut spikes = vec![false; readings.len()];
    let mut from = 0;
    while from < readings.len() {
        let load = readings.get(from).map(|r| r.reference_kn);
        let rest = readings.get(from..).unwrap_or_default();
        let to = from + rest.iter().take_while(|r| Some(r.reference_kn) == load).count();
        let block = readings.get(from..to).unwrap_or_default();
        let gauges = block.first().map_or(0, |r| r.counts.len());
        for gauge in (0..gauges).filter(|_| block.len() >= SPIKE_NEEDS) {
            let counts = || block.iter().map(|r| r.counts.get(gauge).copied().unwrap_or(0.0));
            let middle = median(counts().collect());
            let scatter = median(counts().map(|c| (c - middle).abs()).collect());
            for (place, count) in counts().enumerate() {
                let far = (count - middle).abs();
                if far > SPIKE_FAR * scatter.max(1.0)
                    && far > 0.01 * f64::from(1 << 23)
                    && let Some(spike) = spikes.get_mut(from + place)
                {
                    *spike = true;
                }
            }
        }
        from = to.max(from + 1);
    }
    let lines = readings.iter().zip(&spikes).filter(|(_, spike)| **spike).map(|(r, _)| r.line).collect();
    let mut keep = spikes.iter().map(|spike| !spike);
    readings.retain(|_| keep.next().unwrap_or(true));
    lines
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

fn is_preload(readings: &[Reading], index: usize) -> bool {
    readings.get(index).is_some_and(|r| r.series == Some(0))
}

/// How often the load rose to near its greatest in the readings marked as preloads.
fn preloads(readings: &[Reading]) -> usize {
    let most = readings.iter().map(|r| r.reference_kn).fold(0.0, f64::max);
    let mut up = false;
    let mut count = 0;
    for reading in readings.iter().filter(|r| r.series == Some(0)) {
        let high = reading.reference_kn > 0.8 * most;
        count += usize::from(high && !up);
        up = high;
    }
    count
}

#[cfg(test)]
mod tests {
    use super::{Reading, order};

    pub(crate) fn reading(reference_kn: f64, series: Option<u32>) -> Reading {
        Reading {
            line: 0,
            reference_kn,
            counts: vec![0.0],
            place_mm: None,
            series,
            spread_counts: None,
            temperature_c: None,
            columns_kn: None,
        }
    }

    #[test]
    fn series_and_steps_are_found_from_the_loads_alone() {
        let loads = [0.0, 10.1, 20.0, 30.0, 20.1, 10.0, 0.0, 9.9, 20.0, 30.1, 19.9, 10.0, 0.0];
        let readings: Vec<Reading> = loads.iter().map(|kn| reading(*kn, None)).collect();
        let found = order(&readings);
        assert_eq!(found.steps_kn.len(), 4);
        assert_eq!((found.rising_series, found.falling_series), (2, 2));
        let falling: Vec<bool> = found.placed.iter().map(|p| p.falling).collect();
        let wanted = [false, false, false, false, true, true, true, false, false, false, true, true, true];
        assert_eq!(falling, wanted);
    }

    #[test]
    fn marked_series_and_preloads_are_kept_apart() {
        let mut readings: Vec<Reading> =
            [0.0, 30.0, 0.0, 30.0, 0.0, 30.0, 0.0].iter().map(|kn| reading(*kn, Some(0))).collect();
        for series in 1..=3 {
            readings.extend([0.0, 10.0, 20.0, 30.0].iter().map(|kn| reading(*kn, Some(series))));
        }
        let found = order(&readings);
        assert_eq!((found.preloads, found.rising_series, found.falling_series), (3, 3, 0));
        assert_eq!(found.placed.len(), 12);
        let numbers: Vec<u32> = found.placed.iter().map(|p| p.series).collect();
        assert_eq!(numbers, [1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3]);
    }
}
