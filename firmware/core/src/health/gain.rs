//! A gauge whose gain is lost against its neighbours, found over whole strokes.
//!
//! A gauge that loses a half of its bridge reads every load in proportion, and the others read what they always did. Load
//! that moves, because a tie rod is loose or the strip is misfed, comes up elsewhere; stock that changes, changes all
//! columns. So a gain is lost where one column's peak falls to less than [`LEFT`] of its own running mean, its part of
//! the stroke's loads fell alike, and each other column kept its peak within [`KEPT`]. A punch that breaks right under
//! one column can look the same where nothing else loads that column; either way the press stops. All figures are common
//! practice, no source. One column alone has no neighbours.

use crate::features::Features;

/// Share of a column's usual peak below which its gain may be lost.
pub const LEFT: f32 = 0.7;
/// How far the others' peaks may lie from their usual ones.
pub const KEPT: f32 = 0.07;
/// How far the column's part of the loads may lie from its peak's share.
const ALIKE: f32 = 0.07;
/// Strokes that make a running mean, and the weight of one more.
const STROKES: u32 = 8;
/// See [`STROKES`].
const WEIGHT: f32 = 0.08;
/// A stroke this far from the mean, up or down, is of another job; so many in a row start the mean afresh.
const OTHER_JOB: f32 = 1.25;
/// See [`OTHER_JOB`].
const OTHERS: u32 = 3;

/// What the columns usually carry, and which of them lost its gain.
#[derive(Debug, Clone, Copy)]
pub struct GainWatch<const N: usize> {
    /// `[column]`: running means of the peak, kN, and of the column's loads over the others'.
    peaks: [f32; N],
    parts: [f32; N],
    strokes: u32,
    odd: u32,
    lost: Option<u8>,
}

impl<const N: usize> Default for GainWatch<N> {
    fn default() -> Self {
        Self { peaks: [0.0; N], parts: [0.0; N], strokes: 0, odd: 0, lost: None }
    }
}

impl<const N: usize> GainWatch<N> {
    /// Takes in a stroke whose gauges could be believed. Gives the column whose gain is lost, with the share of its usual
    /// peak that it read.
    pub fn step(&mut self, features: &Features<N>, least_kn: f32) -> Option<(u8, f32)> {
        self.lost = None;
        if N < 2 || features.total.peak.value < least_kn {
            return None;
        }
        let whole: f32 = features.loaded_sum.iter().sum();
        let part = |sum: f32| sum / (whole - sum);
        // Each column against its usual self: peak, and part of the loads.
        let mut shares = [[0.0_f32; 2]; N];
        let usual = self.peaks.iter().zip(&self.parts);
        for (((share, column), sum), (peak, usual)) in
            shares.iter_mut().zip(&features.columns).zip(&features.loaded_sum).zip(usual)
        {
            *share = [column.peak.value / peak, part(*sum) / usual];
        }
        if self.strokes >= STROKES {
            let kept = |share: f32| (share - 1.0).abs() <= KEPT;
            let lost = shares.iter().enumerate().find(|(n, [peak, part])| {
                let others = shares.iter().enumerate().all(|(other, [peak, _])| other == *n || kept(*peak));
                *peak < LEFT && (part - peak).abs() <= ALIKE && others
            });
            if let Some((column, [peak, _])) = lost {
                self.lost = Some(column as u8);
                return Some((column as u8, *peak));
            }
            let near = |share: f32| share <= OTHER_JOB && share * OTHER_JOB >= 1.0;
            if !shares.iter().all(|[peak, _]| near(*peak)) {
                self.odd += 1;
                if self.odd >= OTHERS {
                    self.forget();
                }
                return None;
            }
        }
        self.odd = 0;
        self.strokes = self.strokes.saturating_add(1);
        let weight = (1.0 / self.strokes as f32).max(WEIGHT);
        let usual = self.peaks.iter_mut().zip(&mut self.parts);
        for (((peak, usual), column), sum) in usual.zip(&features.columns).zip(&features.loaded_sum) {
            *peak += weight * (column.peak.value - *peak);
            *usual += weight * (part(*sum) - *usual);
        }
        None
    }

    /// The column whose gain was lost in the last stroke.
    #[must_use]
    #[inline]
    pub fn lost(&self) -> Option<u8> {
        self.lost
    }

    /// Another die: the columns carry something else.
    pub fn forget(&mut self) {
        *self = Self { lost: self.lost, ..Self::default() };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stroke(columns: [f32; 4]) -> Features<4> {
        let mut features = Features::<4>::default();
        for (column, kn) in features.columns.iter_mut().zip(columns) {
            column.peak.value = kn;
        }
        features.total.peak.value = columns.iter().sum();
        features.loaded_sum = columns.map(|kn| 300.0 * kn);
        features
    }

    fn used_to(columns: [f32; 4]) -> GainWatch<4> {
        let mut watch = GainWatch::default();
        for n in 0..20_u8 {
            let scatter = 1.0 + 0.01 * f32::from(n % 3);
            assert_eq!(watch.step(&stroke(columns.map(|kn| kn * scatter)), 50.0), None);
        }
        watch
    }

    #[test]
    fn a_column_that_alone_reads_less_has_lost_its_gain() {
        for column in 0..4 {
            let mut loads = [120.0, 100.0, 80.0, 140.0];
            let watch = used_to(loads);
            loads[column] *= 0.5;
            let (found, share) = watch.clone().step(&stroke(loads), 50.0).unwrap();
            assert_eq!(usize::from(found), column);
            assert!((share - 0.5).abs() < 0.01, "{share}");
            loads[column] *= 1.6;
            assert_eq!(watch.clone().step(&stroke(loads), 50.0), None, "four fifths are not lost");
        }
    }

    #[test]
    fn moved_load_other_stock_no_strip_and_another_job_are_no_lost_gain() {
        let loads = [120.0, 100.0, 80.0, 140.0];
        let watch = used_to(loads);
        for other in [
            // A loose tie rod: the others carry what it does not.
            [60.0, 120.0, 100.0, 160.0],
            [96.0, 80.0, 64.0, 112.0],
            [5.0, 4.0, 3.0, 6.0],
            [40.0, 200.0, 20.0, 300.0],
        ] {
            assert_eq!(watch.clone().step(&stroke(other), 50.0), None, "{other:?}");
        }
        // A corner's punch that broke takes its peak, and not the rest of the stroke.
        let mut broken = stroke([60.0, 100.0, 80.0, 140.0]);
        broken.loaded_sum[0] = 300.0 * 110.0;
        assert_eq!(watch.clone().step(&broken, 50.0), None);
        // Another job is learnt anew, and a gain lost in it is found.
        let mut watch = watch;
        for _ in 0..12 {
            assert_eq!(watch.step(&stroke([50.0, 60.0, 200.0, 210.0]), 50.0), None);
        }
        assert!(watch.step(&stroke([50.0, 30.0, 200.0, 210.0]), 50.0).is_some());
    }

    #[test]
    fn two_columns_are_neighbours_enough_and_a_stroke_below_the_least_load_says_nothing() {
        let two = |columns: [f32; 2]| {
            let mut features = Features::<2>::default();
            for (column, kn) in features.columns.iter_mut().zip(columns) {
                column.peak.value = kn;
            }
            features.total.peak.value = columns.iter().sum();
            features.loaded_sum = columns.map(|kn| 300.0 * kn);
            features
        };
        let mut watch = GainWatch::<2>::default();
        for _ in 0..8 {
            assert_eq!(watch.step(&two([100.0, 60.0]), 160.0), None, "at the least load it counts");
        }
        assert_eq!(watch.clone().step(&two([50.0, 60.0]), 110.1), None);
        assert_eq!(watch.clone().step(&two([50.0, 60.0]), 110.0), Some((0, 0.5)));
        // At just the share that may be left it is not lost.
        assert_eq!(watch.clone().step(&two([70.0, 60.0]), 50.0), None);
        assert!(watch.step(&two([69.9, 60.0]), 50.0).is_some());
    }

    #[test]
    fn a_column_s_part_is_of_what_the_others_carried_not_of_all_there_was() {
        let watch = used_to([100.0; 4]);
        // Half of its peak and of its loads, the others' peaks kept; their loads as ever, or over a shorter way.
        let with_others = |share: f32| {
            let mut features = stroke([50.0, 100.0, 100.0, 100.0]);
            features.loaded_sum[1..].iter_mut().for_each(|sum| *sum *= share);
            watch.clone().step(&features, 50.0).is_some()
        };
        assert_eq!([1.0, 0.95, 0.87, 1.2].map(with_others), [true, true, false, false]);
    }

    #[test]
    fn what_is_usual_is_a_mean_of_strokes_and_not_the_last_one() {
        let mut watch = GainWatch::<4>::default();
        for n in 0..8_u8 {
            let kn = if n % 2 == 0 { 94.0 } else { 106.0 };
            assert_eq!(watch.step(&stroke([kn; 4]), 50.0), None);
        }
        // 94 kN is within 7 % of the mean of 100, and not of the last stroke's 106.
        assert!(watch.step(&stroke([50.0, 94.0, 94.0, 94.0]), 50.0).is_some());
    }

    #[test]
    fn a_lighter_job_is_learnt_anew_and_two_odd_strokes_are_no_other_job() {
        let watch = used_to([100.0; 4]);
        let mut odd = watch;
        for _ in 0..2 {
            assert_eq!(odd.step(&stroke([40.0; 4]), 50.0), None);
        }
        assert!(odd.step(&stroke([50.0, 100.0, 100.0, 100.0]), 50.0).is_some());
        let mut lighter = watch;
        for _ in 0..12 {
            assert_eq!(lighter.step(&stroke([50.0; 4]), 50.0), None);
        }
        assert!(lighter.step(&stroke([50.0, 50.0, 25.0, 50.0]), 50.0).is_some());
    }

    #[test]
    fn another_die_makes_no_gauge_good_again() {
        let mut watch = used_to([100.0; 4]);
        assert!(watch.step(&stroke([50.0, 100.0, 100.0, 100.0]), 50.0).is_some());
        watch.forget();
        assert_eq!(watch.lost(), Some(0), "until a stroke shows otherwise");
        assert_eq!(watch.step(&stroke([50.0, 100.0, 100.0, 100.0]), 50.0), None, "all is usual to a new die");
        assert_eq!(watch.lost(), None);
    }

    #[test]
    fn a_lost_gain_is_told_stroke_after_stroke_and_never_becomes_usual() {
        let mut watch = used_to([120.0, 100.0, 80.0, 140.0]);
        for _ in 0..100 {
            assert!(watch.step(&stroke([60.0, 100.0, 80.0, 140.0]), 50.0).is_some());
            assert_eq!(watch.lost(), Some(0));
        }
        assert_eq!(watch.step(&stroke([120.0, 100.0, 80.0, 140.0]), 50.0), None);
        assert_eq!(watch.lost(), None);
    }
}
