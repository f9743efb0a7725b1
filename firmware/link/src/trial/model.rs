//! An invented learned shape that uses every part of the judge.
//!
//! Nothing was learned here: factors, directions and tangents are orthonormal because each lives on bins of its
//! own. What it says of a stroke means nothing; that both sides say the same of it, and what it costs, does.
//! It is made word by word as it is filled in, for a controller has no room for a second one.

use bolster_core::monitor::Monitor;
use bolster_core::press::Columns;
use bolster_core::shape::FillError;
use bolster_core::shape::model::{ALLOWED, FACTORS, STATISTICS, TANGENTS, WINDOWS};
use bolster_core::stroke::StrokeSource;
use bolster_core::units::Tick;

use super::BINS;
use crate::feed::Header;

/// Least and greatest place of the bins: degrees, or ticks from load onset.
const BY_ANGLE: [f32; 2] = [100.0, 240.0];
const BY_TICK: [f32; 2] = [0.0, 400.0];
/// Combs that live side by side.
const TEETH: usize = 32;

const _: () = assert!(FACTORS + ALLOWED + TANGENTS <= TEETH, "every row of the model needs bins of its own");

/// Words handed over at a time.
const AT_ONCE: usize = 32;

/// Writes words one after the other into a monitor's shape. The first refusal is kept and ends the writing.
struct Pen<'a, const N: usize, const KEEP: usize> {
    monitor: &'a mut Monitor<N, BINS, KEEP>,
    done: usize,
    held: heapless::Vec<u32, AT_ONCE>,
    outcome: Result<(), FillError>,
}

impl<const N: usize, const KEEP: usize> Pen<'_, N, KEEP> {
    fn whole(&mut self, word: u32) {
        // Never full here: it is emptied below as soon as it is.
        let _ = self.held.push(word);
        if self.held.is_full() {
            self.hand_over();
        }
    }

    fn hand_over(&mut self) {
        if self.outcome.is_ok() {
            self.outcome = self.monitor.fill_shape(self.done, &self.held);
        }
        self.done += self.held.len();
        self.held.clear();
    }

    fn all(&mut self, values: impl IntoIterator<Item = f32>) {
        values.into_iter().for_each(|value| self.whole(value.to_bits()));
    }

    /// The same value of every column in each bin.
    fn field(&mut self, of_bin: impl Fn(usize) -> f32) {
        (0..BINS).for_each(|bin| self.all([of_bin(bin); N]));
    }

    /// A field of length `size` on every [`TEETH`]th bin from `first`.
    fn comb(&mut self, first: usize, size: f32) {
        let teeth = (BINS - first).div_ceil(TEETH) * N;
        let height = size / libm::sqrtf(teeth as f32);
        self.field(|bin| if bin % TEETH == first { height } else { 0.0 });
    }
}

/// Fills the invented shape for a feed's press into a monitor and lets it judge by it.
///
/// # Errors
/// [`FillError`] if a stroke is being judged, or the monitor refuses a word.
pub(super) fn fill<const N: usize, const KEEP: usize>(
    monitor: &mut Monitor<N, BINS, KEEP>,
    header: &Header,
) -> Result<(), FillError> {
    monitor.begin_shape()?;
    let by_angle = header.source != StrokeSource::Load && header.press.columns != Columns::Total;
    let [from, to] = if by_angle { BY_ANGLE } else { BY_TICK };
    let share = (header.press.rated_kn / N as f64) as f32;
    let sigma = 0.02 * share;
    let mut pen = Pen { monitor, done: 0, held: heapless::Vec::new(), outcome: Ok(()) };
    // Bins, and the frames of one repeated reading beyond which a gauge is stuck.
    [u32::from(by_angle), BINS as u32, 4_000].into_iter().for_each(|word| pen.whole(word));
    pen.all((0..BINS).map(|bin| from + (to - from) * (bin as f32 / BINS as f32)));
    pen.all([to]);
    // Reference: a parabola over the bins, up to half the column's share.
    pen.field(|bin| {
        let along = (bin as f32 + 0.5) / BINS as f32;
        2.0 * share * along * (1.0 - along)
    });
    pen.field(|_| 1.0 / sigma);
    (0..FACTORS).for_each(|n| pen.comb(n, 1.0));
    pen.all((0..FACTORS).map(|n| 1.0 / (1.0 + n as f32)));
    // Each allowed direction: scores and field together of length one.
    for n in 0..ALLOWED {
        pen.all((0..FACTORS).map(|m| if m == n { 0.6 } else { 0.0 }));
        pen.comb(FACTORS + n, 0.8);
    }
    (0..TANGENTS).for_each(|n| pen.comb(FACTORS + ALLOWED + n, 1.0));
    // 1/scatter of windows, gains and stations.
    pen.all([0.2; WINDOWS].into_iter().cycle().take(N * WINDOWS));
    pen.all([0.1; N]);
    pen.all([0.1; WINDOWS]);
    // Whitener: the identity.
    for row in 0..N * WINDOWS {
        pen.all((0..N * WINDOWS).map(|place| if place == row { 1.0 } else { 0.0 }));
    }
    // Limits where coil changes are marked and where they are not, medians, and the single numbers.
    pen.all([12.0; STATISTICS]);
    pen.all([24.0; STATISTICS]);
    pen.all([1.0; STATISTICS]);
    pen.all([12.0, 2.0, 1.5, 0.3 * share / sigma * libm::sqrtf((BINS * N) as f32)]);
    pen.hand_over();
    pen.outcome?;
    monitor.commit_shape(Tick(0), true)
}

#[cfg(test)]
mod tests {
    use super::super::{TrialMonitor, invented_press, press};
    use super::*;
    use crate::feed::TrialDie;
    use bolster_core::shape::field::Field;
    use std::boxed::Box;
    use std::vec::Vec;

    fn dot<const N: usize>(a: &Field<N, BINS>, b: &Field<N, BINS>) -> f32 {
        a.iter().flatten().zip(b.iter().flatten()).map(|(a, b)| a * b).sum()
    }

    fn rows_are_orthonormal<const N: usize>(columns: Columns, source: StrokeSource) {
        let header = Header {
            press: invented_press(columns),
            source,
            timed: true,
            repeats: false,
            die: TrialDie::Shape,
            records: 0,
            sample_hz: 10_000.0,
            kn_per_count: 1e-3,
        };
        let mut monitor = Box::new(TrialMonitor::<N>::new(press(&header).unwrap()));
        assert_eq!(fill(&mut monitor, &header), Ok(()));
        let model = monitor.shape().model().expect("it is whole");
        let rows: Vec<_> = model.factors.iter().chain(&model.tangents).collect();
        for (n, a) in rows.iter().enumerate() {
            for (m, b) in rows.iter().enumerate() {
                let wanted = if n == m { 1.0 } else { 0.0 };
                assert!((dot(a, b) - wanted).abs() < 1e-5, "rows {n} and {m}");
            }
        }
        for direction in &model.allowed {
            let scores: f32 = direction.scores.iter().map(|score| score * score).sum();
            assert!((scores + dot(&direction.field, &direction.field) - 1.0).abs() < 1e-5);
        }
        assert_eq!(model.whitener[N - 1][2][N - 1][2], 1.0);
        assert_eq!((model.repeat_limit, model.allowed_limit), (4_000, 12.0));
    }

    #[test]
    fn factors_directions_and_tangents_are_orthonormal() {
        rows_are_orthonormal::<1>(Columns::Total, StrokeSource::Load);
        rows_are_orthonormal::<2>(Columns::LeftRight, StrokeSource::Index);
        rows_are_orthonormal::<4>(Columns::Corners, StrokeSource::Encoder);
    }
}
