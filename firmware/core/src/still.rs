//! Loads between which a frame changes nothing: no greatest or least load of the stroke, no machine limit. Most frames lie between them, and are seen to by one pair of comparisons a column instead of one a
//! rule; where one does not, every rule is asked and the bounds are found anew.
//!
//! The bounds may be too narrow, which costs time, and never too wide: each is chosen so that the rule's own comparison,
//! with its own roundings, holds at the bound, and those comparisons are monotone.

use crate::features::{ColumnFeatures, Features};
use crate::machine::MachineLimits;

/// See the module.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Still<const N: usize> {
    /// `[column]`: least and greatest load.
    columns: [[f32; 2]; N],
    /// Of the total.
    total: [f32; 2],
    /// Greatest left-right and front-rear difference, of either sign.
    apart: [f32; 2],
}

/// No load lies within.
const NEVER: [f32; 2] = [f32::INFINITY, f32::NEG_INFINITY];

impl<const N: usize> Default for Still<N> {
    fn default() -> Self {
        Self { columns: [NEVER; N], total: NEVER, apart: [f32::NEG_INFINITY; 2] }
    }
}

impl<const N: usize> Still<N> {
    /// Whether the frame changes nothing. Written so that a NaN does not lie within.
    #[inline]
    pub(crate) fn holds(&self, loads: &[f32; N], total: f32, differences: [f32; 2]) -> bool {
        for (load, [low, high]) in loads.iter().zip(&self.columns) {
            if !(*load <= *high && *load >= *low) {
                return false;
            }
        }
        let [low, high] = self.total;
        // A lone column has no sides.
        let level =
            N < 2 || differences.iter().zip(&self.apart).all(|(difference, most)| difference.abs() <= *most);
        total <= high && total >= low && level
    }

    /// Something else may have changed: the next frame is looked at by every rule.
    pub(crate) fn forget(&mut self) {
        self.total = NEVER;
    }

    /// Finds the bounds where nothing that the stroke under way has come to is beyond a limit, as in nearly all strokes:
    /// there the stroke's own extremes are all the bounds. False, and nothing found, elsewhere.
    #[inline]
    pub(crate) fn find_free(&mut self, limits: &MachineLimits, features: &Features<N>) -> bool {
        let ColumnFeatures { peak, reverse } = &features.total;
        let apart = [features.left_right.value.abs(), features.front_rear.value.abs()];
        let [side, face] = apart;
        let free = peak.value + limits.off_centre * (side + face) <= limits.rated
            && reverse.value <= limits.reverse
            && side <= limits.imbalance
            && face <= limits.imbalance
            && features.columns.iter().all(|of| of.peak.value <= limits.column);
        if free {
            for (bounds, of) in self.columns.iter_mut().zip(&features.columns) {
                *bounds = [-of.reverse.value, of.peak.value];
            }
            self.total = [-reverse.value, peak.value];
            self.apart = apart;
        }
        free
    }

    /// Finds the bounds; `features` are those of the stroke under way, if one is.
    pub(crate) fn find(&mut self, limits: &MachineLimits, features: Option<&Features<N>>) {
        let Some(features) = features else {
            self.columns = [[f32::NEG_INFINITY, limits.column]; N];
            self.total = [-limits.reverse, limits.rated];
            self.apart = [limits.imbalance; 2];
            self.fit(limits);
            return;
        };
        for (bounds, of) in self.columns.iter_mut().zip(&features.columns) {
            *bounds = [-of.reverse.value, lesser(of.peak.value, limits.column)];
        }
        let ColumnFeatures { peak, reverse } = &features.total;
        self.total = [-lesser(reverse.value, limits.reverse), lesser(peak.value, limits.rated)];
        let greatest = [features.left_right.value.abs(), features.front_rear.value.abs()];
        self.apart = greatest.map(|greatest| lesser(greatest, limits.imbalance));
        self.fit(limits);
    }

    /// Makes the bounds of total and differences so narrow that they keep the allowance off the middle as well.
    fn fit(&mut self, limits: &MachineLimits) {
        let within = |[_, total]: [f32; 2], [side, face]: [f32; 2]| {
            total + limits.off_centre * (side + face) <= limits.rated
        };
        if !within(self.total, self.apart) {
            // The allowance off the middle: half of the rating for the total, the rest for the differences.
            let [low, high] = self.total;
            self.total = [low, lesser(high, 0.5 * limits.rated)];
            let most = 0.24 * limits.rated / limits.off_centre;
            self.apart = self.apart.map(|apart| lesser(apart, most));
            if !within(self.total, self.apart) {
                self.forget();
            }
        }
    }
}

/// The lesser of two; the second if they cannot be compared.
fn lesser(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

#[cfg(test)]
mod tests;
