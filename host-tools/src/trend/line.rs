//! A straight line through independent values, robust: whether it rises, how fast, and when it meets a limit.
//!
//! Slope by Theil and Sen, height by Hodges and Lehmann, trend by Mann and Kendall: up to nearly a third of the values may
//! be anything. Intervals take the scatter of what is left of *all* values, so that strays widen them, with Student's
//! quantiles for the few values there are; where neighbours still resemble one another, variances grow by (1 + ρ)/(1 − ρ).

use statrs::distribution::{ContinuousCDF as _, StudentsT};

use super::rank::{Kendall, Slope, centre, theil_sen};
use super::series::{LEAST, Series, alike, detrended};

/// Variance of these estimates over that of least squares, for normal scatter: π/3 (Hettmansperger and McKean, Robust
/// Nonparametric Statistical Methods, from memory).
const COST: f64 = std::f64::consts::PI / 3.0;
/// Most that resemblance of neighbours is believed.
const MOST_ALIKE: f64 = 0.9;
/// How far the slope ahead may differ from the slope so far, standard deviation as a share: edges do not dull in a straight
/// line. An assumption, no source; on the simulated presses, whose edges do, what is measured bends by up to a third.
pub const BEND: f64 = 0.15;
/// How many times the strokes seen a forecast looks ahead.
const HORIZON: f64 = 100.0;

/// A line through a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Slope and its distribution-free interval at the line's confidence, a stroke.
    pub slope: Slope,
    /// Two-sided chance of as clear a trend in values that have none.
    pub chance: f64,
    /// Factor on variances for resemblance of neighbours.
    pub factor: f64,
    /// Standard deviation of a block about the line.
    pub spread: f64,
    /// Two-sided confidence of every interval.
    pub confidence: f64,
    count: usize,
    freedom: f64,
    middle: f64,
    height: f64,
    squares: f64,
}

/// Strokes left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// By the line.
    pub likely: f64,
    /// Lower end of the interval.
    pub least: f64,
    /// Upper end; none where the limit may never be met.
    pub most: Option<f64>,
}

impl Line {
    /// None for fewer than [`LEAST`] blocks or none that differ in place.
    #[must_use]
    pub fn of(series: &Series, confidence: f64) -> Option<Self> {
        let (x, y, count) = (&series.x, &series.y, series.y.len());
        if count < LEAST {
            return None;
        }
        let rho = alike(&detrended(x, y)).clamp(0.0, MOST_ALIKE);
        let factor = (1.0 + rho) / (1.0 - rho);
        let slope = theil_sen(x, y, 1.0 - confidence, factor)?;
        let middle = x.iter().sum::<f64>() / count as f64;
        let squares: f64 = x.iter().map(|x| (x - middle).powi(2)).sum();
        let flat: Vec<f64> = x.iter().zip(y).map(|(x, y)| y - slope.slope * (x - middle)).collect();
        let height = centre(&flat)?;
        let freedom = count as f64 - 2.0 - series.stock.len() as f64;
        let left: f64 = flat.iter().map(|y| (y - height).powi(2)).sum();
        Some(Self {
            slope,
            chance: Kendall::of(y).p_value(factor),
            factor,
            spread: (left / freedom).sqrt(),
            confidence,
            count,
            freedom,
            middle,
            height,
            squares,
        })
    }

    /// Height at a stroke.
    #[must_use]
    pub fn at(&self, stroke: f64) -> f64 {
        self.height + self.slope.slope * (stroke - self.middle)
    }

    /// Half the width of the interval of the height at a stroke, at most `now` being seen: beyond it the slope may differ
    /// (see [`BEND`]).
    #[must_use]
    pub fn half_width(&self, stroke: f64, now: f64) -> f64 {
        let (n, off) = (self.count as f64, stroke - self.middle);
        let line = COST * self.factor * self.spread.powi(2) * (1.0 / n + off * off / self.squares);
        let bend = (BEND * self.slope.slope * (stroke - now).max(0.0)).powi(2);
        self.quantile() * (line + bend).sqrt()
    }

    fn quantile(&self) -> f64 {
        StudentsT::new(0.0, 1.0, self.freedom)
            .map_or(f64::INFINITY, |t| t.inverse_cdf(0.5 + 0.5 * self.confidence))
    }

    /// Strokes from `now` until the height meets `limit`. None where the line leads away from it.
    #[must_use]
    pub fn left(&self, limit: f64, now: f64) -> Option<Left> {
        let side = if limit >= self.at(now) { 1.0 } else { -1.0 };
        let rising = side * self.slope.slope > 0.0;
        let gap = |ahead: f64| side * (self.at(now + ahead) - limit);
        let passed = |ahead: f64| gap(ahead) + self.half_width(now + ahead, now);
        let surely = |ahead: f64| gap(ahead) - self.half_width(now + ahead, now);
        if !rising {
            return None;
        }
        let likely = -gap(0.0) / self.slope.slope.abs();
        let horizon = (HORIZON * (now - self.middle).max(1.0)).max(HORIZON * likely);
        Some(Left {
            likely,
            least: first(&passed, likely, horizon).unwrap_or(likely).min(likely),
            most: first(&surely, likely, horizon),
        })
    }
}

/// Where a function that is below zero first reaches it, from 0 on in steps that grow, to a millionth of `scale`.
fn first(f: &impl Fn(f64) -> f64, scale: f64, horizon: f64) -> Option<f64> {
    if f(0.0) >= 0.0 {
        return Some(0.0);
    }
    let (mut low, mut high) = (0.0, (scale / 64.0).max(1e-3));
    while f(high) < 0.0 {
        if high > horizon {
            return None;
        }
        low = high;
        high *= 1.1;
    }
    while high - low > 1e-6 * scale.max(1.0) {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some(high)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::testing::Chance;
    use super::*;

    fn series(count: usize, mut value: impl FnMut(f64) -> f64) -> Series {
        let x: Vec<f64> = (0..count).map(|n| 400.0 * n as f64 + 200.0).collect();
        let strokes = (0..count as u64).map(|n| [400 * n + 1, 400 * n + 400]).collect();
        Series { y: x.iter().map(|x| value(*x)).collect(), x, strokes, stock: Vec::new() }
    }

    #[test]
    fn a_clean_line_is_found_exactly() {
        let line = Line::of(&series(20, |x| 5.0 + 0.001 * x), 0.95).unwrap();
        assert!((line.slope.slope - 0.001).abs() < 1e-12 && (line.at(8000.0) - 13.0).abs() < 1e-9);
        let left = line.left(15.0, 8000.0).unwrap();
        assert!((left.likely - 2000.0).abs() < 1e-6);
        // Only the bend is left: 15 % of the way, twice over by Student's quantile for 18 degrees of freedom, 2.1009.
        assert!((left.least - 2000.0 / (1.0 + 0.15 * 2.1009)).abs() < 1.0, "{left:?}");
        assert!((left.most.unwrap() - 2000.0 / (1.0 - 0.15 * 2.1009)).abs() < 1.0, "{left:?}");
        assert_eq!(line.left(1.0, 8000.0), None, "a limit behind is not ahead");
        assert!(Line::of(&series(7, |x| x), 0.95).is_none());
    }

    #[test]
    fn intervals_hold_for_lines_of_independent_scatter() {
        // 1000 lines of 12 and 30 blocks: slope and height 8 blocks ahead inside their intervals.
        for count in [12, 30] {
            let mut chance = Chance::new(count as u64);
            let mut inside = [0; 2];
            let runs = 1000;
            for _ in 0..runs {
                let line = Line::of(&series(count, |x| 0.001 * x + chance.normal()), 0.95).unwrap();
                inside[0] += u32::from((line.slope.low..=line.slope.high).contains(&0.001));
                let ahead = 400.0 * (count as f64 + 8.0);
                inside[1] +=
                    u32::from((line.at(ahead) - 0.001 * ahead).abs() < line.half_width(ahead, ahead));
            }
            // 95 % of 1000 less three standard deviations (0.7 % each): not below 92.9 %.
            assert!(
                inside.iter().all(|inside| f64::from(*inside) > 0.929 * f64::from(runs)),
                "{count}: {inside:?}"
            );
        }
    }

    #[test]
    fn no_trend_is_found_in_what_has_none_more_often_than_designed() {
        let mut chance = Chance::new(9);
        let (runs, mut found) = (2000, 0);
        for _ in 0..runs {
            let line = Line::of(&series(15, |_| chance.normal()), 0.95).unwrap();
            found += u32::from(line.chance < 0.01);
        }
        // At most 1 % and three standard deviations of 2000.
        assert!(found <= 33, "{found} of {runs}");
    }

    #[test]
    fn resembling_neighbours_widen_and_strays_do_not_turn_the_line() {
        let mut chance = Chance::new(10);
        let mut walk = 0.0;
        let rough = series(40, |_| {
            walk = 0.8 * walk + 0.6 * chance.normal();
            walk
        });
        assert!(Line::of(&rough, 0.95).unwrap().factor > 2.0);
        let mut strays = series(20, |x| 0.001 * x + 0.1 * chance.normal());
        for n in [3, 9, 14] {
            strays.y[n] += 40.0;
        }
        let line = Line::of(&strays, 0.95).unwrap();
        assert!((line.slope.slope - 0.001).abs() < 1e-4 && line.spread > 5.0, "{line:?}");
    }
}
