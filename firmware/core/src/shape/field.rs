//! Arithmetic on whole signatures: `[bin][column]`, zero in bins that are not used.

/// One value for each bin and column.
pub type Field<const N: usize, const BINS: usize> = [[f32; N]; BINS];

/// Sum of products. One running sum a column, so that the order of additions is fixed.
#[must_use]
pub(super) fn dot<const N: usize, const BINS: usize>(a: &Field<N, BINS>, b: &Field<N, BINS>) -> f32 {
    let mut sums = [0.0; N];
    for (a, b) in a.iter().zip(b) {
        for ((sum, a), b) in sums.iter_mut().zip(a).zip(b) {
            *sum += a * b;
        }
    }
    sums.iter().sum()
}

/// Adds `factor` times `row`.
pub(super) fn add_scaled<const N: usize, const BINS: usize>(
    to: &mut Field<N, BINS>,
    row: &Field<N, BINS>,
    factor: f32,
) {
    for (to, row) in to.iter_mut().zip(row) {
        for (to, row) in to.iter_mut().zip(row) {
            *to += factor * row;
        }
    }
}

/// Multiplies by `factor`.
pub(super) fn scale<const N: usize, const BINS: usize>(field: &mut Field<N, BINS>, factor: f32) {
    for bin in field {
        for value in bin {
            *value *= factor;
        }
    }
}

/// Weight of hat `window` of `count` overlapping triangular hats at bin `bin` of `used`: the hats sum to 1.
#[must_use]
pub fn hat(window: usize, count: usize, bin: usize, used: usize) -> f32 {
    if used < 2 {
        return if window == 0 { 1.0 } else { 0.0 };
    }
    let along = bin as f32 * (count - 1) as f32 / (used - 1) as f32;
    let weight = 1.0 - (along - window as f32).abs();
    if weight > 0.0 { weight } else { 0.0 }
}
