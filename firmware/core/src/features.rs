//! What one stroke amounts to, gathered frame by frame; no pass over a stored stroke.
//!
//! Peaks and reverse loads come from the filtered load; work, impulse and load centre over the stroke are
//! integrals, smooth by themselves, and come from the load before the filter, so that its delay cannot
//! shift load against slide travel.

use crate::stroke::Position;
use crate::units::Tick;

/// A value with the place where it was taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// The value, in the unit of the field that holds it.
    pub value: f32,
    /// Where in the stroke.
    pub position: Position,
    /// Slide height above the bottom of the stroke, mm, where the angle is known.
    pub height_mm: Option<f32>,
}

impl At {
    const NOWHERE: Self = Self { value: 0.0, position: Position::Unknown, height_mm: None };
}

/// A sum that carries what rounding lost into the next term (Kahan).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CompensatedSum {
    sum: f32,
    excess: f32,
}

impl CompensatedSum {
    /// Adds one term.
    #[inline]
    pub fn add(&mut self, term: f32) {
        let owed = term - self.excess;
        let sum = self.sum + owed;
        self.excess = (sum - self.sum) - owed;
        self.sum = sum;
    }

    /// The sum so far.
    #[must_use]
    #[inline]
    pub fn value(&self) -> f32 {
        self.sum
    }
}

/// Features of one column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColumnFeatures {
    /// Greatest forward load, kN (0 if it never pushed).
    pub peak: At,
    /// Greatest reverse load, kN, a magnitude (0 if it never pulled).
    pub reverse: At,
}

/// Features of one stroke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Features<const N: usize> {
    /// Of the total load.
    pub total: ColumnFeatures,
    /// `[column]`.
    pub columns: [ColumnFeatures; N],
    /// `[column]`: loads in the frame of the total's peak, kN.
    pub at_peak_kn: [f32; N],
    /// `[column]`: sum of loads over the frames in which the total was above the onset, kN·frames.
    pub loaded_sum: [f32; N],
    /// Work of the total load over slide travel, kJ; downstroke minus what came back. None without angles.
    pub work_kj: Option<f32>,
    /// Time integral of the total load, kN·ticks.
    pub impulse_kn_ticks: f32,
    /// Where the total first rose over the onset.
    pub contact: Option<Position>,
    /// Steepest rise of the filtered total, kN per tick.
    pub rise_kn_per_tick: f32,
    /// Greatest left-right difference (right positive), kN.
    pub left_right: At,
    /// Greatest front-rear difference (front positive), kN.
    pub front_rear: At,
    /// First and last tick.
    pub ticks: [Tick; 2],
    /// Turn gone through, in units of 2³² to the turn, where angles are known.
    pub turned: u64,
    /// Frames seen.
    pub frames: u32,
}

/// One frame as the features need it.
#[derive(Debug, Clone, Copy)]
pub struct Moment<const N: usize> {
    /// Tick.
    pub tick: Tick,
    /// Position.
    pub position: Position,
    /// Slide height above the bottom of the stroke, mm.
    pub height_mm: Option<f32>,
    /// `[column]`: filtered loads, kN.
    pub loads: [f32; N],
    /// Their sum.
    pub total: f32,
    /// Sum of the loads before the filter, kN.
    pub guarded_total: f32,
    /// `[column]`: loads before the filter, kN.
    pub guarded: [f32; N],
    /// Right minus left and front minus rear of the filtered loads, kN.
    pub differences: [f32; 2],
}

impl<const N: usize> Default for Features<N> {
    fn default() -> Self {
        Self::NOTHING
    }
}

/// Gathers the features of the stroke under way into the place where they will be read.
#[derive(Debug, Clone, Copy, Default)]
pub struct Gatherer {
    work: CompensatedSum,
    impulse: CompensatedSum,
    last: Option<Last>,
}

/// What the next frame needs to know of the last one.
#[derive(Debug, Clone, Copy)]
struct Last {
    position: Position,
    height_mm: Option<f32>,
    total: f32,
    guarded_total: f32,
}

impl Gatherer {
    /// Takes in one frame of the stroke. `onset_kn` is the total load that counts as contact.
    #[inline]
    pub fn step<const N: usize>(&mut self, features: &mut Features<N>, now: &Moment<N>, onset_kn: f32) {
        features.take_extremes(now);
        self.add(features, now, onset_kn);
    }

    /// All but [`Features::take_extremes`]. True if the load is over the onset.
    #[inline]
    pub fn add<const N: usize>(
        &mut self,
        features: &mut Features<N>,
        now: &Moment<N>,
        onset_kn: f32,
    ) -> bool {
        let loaded = now.guarded_total >= onset_kn;
        if loaded {
            if features.contact.is_none() {
                features.contact = Some(now.position);
            }
            for (sum, load) in features.loaded_sum.iter_mut().zip(&now.guarded) {
                *sum += load;
            }
        }
        self.impulse.add(now.guarded_total);
        match self.last {
            None => features.ticks = [now.tick; 2],
            Some(last) => {
                let rise = now.total - last.total;
                if rise > features.rise_kn_per_tick {
                    features.rise_kn_per_tick = rise;
                }
                if let (Some(before), Some(height)) = (last.height_mm, now.height_mm) {
                    self.work.add(0.5 * (last.guarded_total + now.guarded_total) * (before - height));
                }
                if let (Some(before), Some(angle)) = (last.position.angle(), now.position.angle()) {
                    // Jitter back and forth cancels; a recording's left-out part is at most half a turn.
                    let way = angle.advance_from(before);
                    features.turned = if way >= 0 {
                        features.turned.wrapping_add(u64::from(way.unsigned_abs()))
                    } else {
                        features.turned.saturating_sub(u64::from(way.unsigned_abs()))
                    };
                }
                features.ticks[1] = now.tick;
            }
        }
        features.frames = features.frames.saturating_add(1);
        self.last = Some(Last {
            position: now.position,
            height_mm: now.height_mm,
            total: now.total,
            guarded_total: now.guarded_total,
        });
        loaded
    }

    /// Work so far, kJ; 0 without angles.
    #[must_use]
    #[inline]
    pub fn work_kj(&self) -> f32 {
        self.work.value() * 1e-3
    }

    /// The stroke is over: its features are whole, and the gatherer is fresh afterwards.
    pub fn finish<const N: usize>(&mut self, features: &mut Features<N>) {
        let has_angle = self.last.as_ref().is_some_and(|last| last.height_mm.is_some());
        features.work_kj = has_angle.then(|| self.work_kj());
        features.impulse_kn_ticks = self.impulse.value();
        *self = Self::default();
    }
}

impl<const N: usize> Features<N> {
    /// Of no frame.
    pub const NOTHING: Self = {
        let nothing = ColumnFeatures { peak: At::NOWHERE, reverse: At::NOWHERE };
        Self {
            total: nothing,
            columns: [nothing; N],
            at_peak_kn: [0.0; N],
            loaded_sum: [0.0; N],
            work_kj: None,
            impulse_kn_ticks: 0.0,
            contact: None,
            rise_kn_per_tick: 0.0,
            left_right: At::NOWHERE,
            front_rear: At::NOWHERE,
            ticks: [Tick(0); 2],
            turned: 0,
            frames: 0,
        }
    };

    /// Greatest and least loads, and the greatest differences, where this frame's are beyond those yet.
    pub fn take_extremes(&mut self, now: &Moment<N>) {
        let here = |value: f32| At { value, position: now.position, height_mm: now.height_mm };
        let extremes = |column: &mut ColumnFeatures, load: f32| {
            let (rises, falls) = (load > column.peak.value, -load > column.reverse.value);
            if rises {
                column.peak = here(load);
            }
            if falls {
                column.reverse = here(-load);
            }
            rises
        };
        if extremes(&mut self.total, now.total) {
            self.at_peak_kn = now.loads;
        }
        for (column, load) in self.columns.iter_mut().zip(&now.loads) {
            extremes(column, *load);
        }
        for (greatest, difference) in
            [&mut self.left_right, &mut self.front_rear].into_iter().zip(now.differences)
        {
            if difference.abs() > greatest.value.abs() {
                *greatest = here(difference);
            }
        }
    }

    /// Whether the total has risen over the onset in this stroke.
    #[must_use]
    pub fn has_met_load(&self) -> bool {
        self.contact.is_some()
    }

    /// Mean strokes a minute over the stroke, where angle and a sample clock tell it.
    #[must_use]
    pub fn speed_spm(&self, sample_hz: f32) -> Option<f32> {
        let ticks = self.ticks[1].since(self.ticks[0]);
        // A few degrees at least, or the encoder's resolution would be the speed.
        if ticks == 0 || self.turned < 1 << 26 {
            return None;
        }
        let turns = self.turned as f32 * (1.0 / 4_294_967_296.0);
        Some(turns * 60.0 * sample_hz / ticks as f32)
    }
}

/// Load centre x̄ = ΣF·x/ΣF and ȳ likewise, mm from the middle of the bolster plate (x right, y front).
///
/// None where the sum is below `least_kn`: small loads have no centre worth telling. The unit of `loads`
/// cancels, so sums over a stroke may be given with `least_kn` in the same unit.
#[must_use]
pub fn load_centre_mm<const N: usize>(
    loads: &[f32; N],
    x_mm: &[f32; N],
    y_mm: &[f32; N],
    least_kn: f32,
) -> Option<[f32; 2]> {
    let total: f32 = loads.iter().sum();
    if N < 2 || total < least_kn || total <= 0.0 {
        return None;
    }
    let moment = |places: &[f32; N]| loads.iter().zip(places).map(|(load, place)| load * place).sum::<f32>();
    Some([moment(x_mm) / total, moment(y_mm) / total])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::CrankAngle;

    #[test]
    fn load_centre_of_the_reference_corner_shares() {
        // P = 1000 kN at (0.1, 0.05) m on 1.2 × 0.8 m, linear split, order (x, y) signs (−,−) (−,+) (+,−) (+,+).
        // Source: computed in double precision, project reference values §2c.
        let loads = [177.0833, 239.5833, 260.4167, 322.9167];
        let centre =
            load_centre_mm(&loads, &[-600.0, -600.0, 600.0, 600.0], &[-400.0, 400.0, -400.0, 400.0], 1.0);
        let [x, y] = centre.unwrap();
        assert!((x - 100.0).abs() < 1e-2 && (y - 50.0).abs() < 1e-2, "{x} {y}");
        // The product form sums and centres the same.
        let loads = [182.2917, 234.375, 255.2083, 328.125];
        let [x, y] =
            load_centre_mm(&loads, &[-600.0, -600.0, 600.0, 600.0], &[-400.0, 400.0, -400.0, 400.0], 1.0)
                .unwrap();
        assert!((x - 100.0).abs() < 1e-2 && (y - 50.0).abs() < 1e-2, "{x} {y}");
        assert_eq!(load_centre_mm(&loads, &[0.0; 4], &[0.0; 4], 2000.0), None);
    }

    #[test]
    fn hundred_tons_left_and_fifty_right_centre_a_third_to_the_left() {
        // Source: trade-magazine off-centre article (read), resultant computed: (−100 + 50)/150.
        let [x, _] = load_centre_mm(&[100.0, 50.0], &[-1.0, 1.0], &[0.0; 2], 1.0).unwrap();
        assert!((x + 1.0 / 3.0).abs() < 1e-6);
    }

    fn moment(tick: u32, degrees: f64, height: f32, load: f32) -> Moment<1> {
        Moment {
            tick: Tick(tick),
            position: Position::Angle(CrankAngle::from_degrees(degrees)),
            height_mm: Some(height),
            loads: [load],
            total: load,
            guarded_total: load,
            guarded: [load],
            differences: [0.0; 2],
        }
    }

    #[test]
    fn work_is_load_over_travel_and_what_comes_back_is_taken_off() {
        let (mut gatherer, mut features) = (Gatherer::default(), Features::default());
        // 100 kN over 10 mm down is 1 kJ; 40 kN over 10 mm back up gives 0.4 kJ back.
        for n in 0..=100 {
            let now = moment(n, 170.0 + f64::from(n) * 0.1, 10.0 - n as f32 * 0.1, 100.0);
            gatherer.step(&mut features, &now, 5.0);
        }
        assert!((gatherer.work_kj() - 1.0).abs() < 1e-5);
        for n in 0..=100 {
            let now = moment(101 + n, 180.0 + f64::from(n) * 0.1, n as f32 * 0.1, 40.0);
            gatherer.step(&mut features, &now, 5.0);
        }
        gatherer.finish(&mut features);
        assert!((features.work_kj.unwrap() - 0.6).abs() < 1e-5, "{:?}", features.work_kj);
        assert_eq!(features.frames, 202);
        // 20° in 201 ticks at 1 kHz: 16.58 strokes a minute.
        let speed = features.speed_spm(1000.0).unwrap();
        assert!((speed - 20.0 / 360.0 * 60_000.0 / 201.0).abs() < 1e-3, "{speed}");
    }

    #[test]
    fn peaks_and_reverse_remember_where() {
        let (mut gatherer, mut features) = (Gatherer::default(), Features::default());
        for n in 0..200_u32 {
            let phase = f64::from(n) * core::f64::consts::TAU / 200.0;
            let now = moment(n, f64::from(n), 1.0, (100.0 * libm::sin(phase)) as f32);
            gatherer.step(&mut features, &now, 5.0);
        }
        gatherer.finish(&mut features);
        assert_eq!(features.total.peak.value, 100.0);
        assert!((features.total.peak.position.angle().unwrap().degrees() - 50.0).abs() < 1e-3);
        assert_eq!(features.total.reverse.value, 100.0);
        assert!((features.total.reverse.position.angle().unwrap().degrees() - 150.0).abs() < 1e-3);
        assert_eq!(features.columns[0], features.total);
    }

    #[test]
    fn compensated_sum_keeps_what_plain_f32_loses() {
        let mut sum = CompensatedSum::default();
        let mut plain = 0.0_f32;
        for term in core::iter::once(1e6).chain(core::iter::repeat_n(0.01, 100_000)) {
            sum.add(term);
            plain += term;
        }
        // One rounding of the result: half an ulp of 1.001e6.
        assert!((f64::from(sum.value()) - 1_001_000.0).abs() < 0.07, "{}", sum.value());
        assert!((f64::from(plain) - 1_001_000.0).abs() > 100.0, "plain f32 was good enough: {plain}");
    }
}
