//! The machine's limits, judged in every frame: what the press may carry, whatever die is in it.
//!
//! The capacity curve is checked as crank torque: load · |dh/dθ| ≤ rated · |dh/dθ|(rated height), while
//! the slide closes. That is the allowed-load form without its division, and has no pole at the bottom.
//!
//! Off the middle a press may carry less. With u = 2|ex|/a + 2|ey|/b, the load centre's way out as a share of the way
//! to the gauges (a and b apart), the allowed load is rated / (1 + k·u): the full rating in the middle and q = 1/(1 + k)
//! of it as far out as the gauges. That is how direct and bending stress add up in an eccentrically loaded frame
//! (strength of materials, from memory); a builder's own diagram of allowed eccentric loads wins, and q is to be
//! chosen so that the curve stays under it. As load · 2e/a is the left-right difference, it is checked as
//! load + k · (|left-right| + |front-rear|) ≤ rated, without a division.

use crate::crank::CrankSlider;
use crate::press::PressSpec;
use crate::verdict::Reason;

/// The limits in the form the sample loop compares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MachineLimits {
    /// kN.
    pub rated: f32,
    /// kN·mm per radian.
    pub torque: f32,
    /// kN of one column.
    pub column: f32,
    /// kN, magnitude.
    pub reverse: f32,
    /// kN of difference.
    pub imbalance: f32,
    /// k of the off-centre allowance, kN of load that one kN of difference counts for; 0 where none is given.
    pub off_centre: f32,
    /// kJ; infinite where the builder gives none.
    pub energy: f32,
    /// kN of total load that the crank carries at every angle.
    pub anywhere: f32,
}

/// One frame as the limits need it.
#[derive(Debug, Clone, Copy)]
pub struct Load<'a> {
    /// `[column]`: filtered loads, kN.
    pub loads: &'a [f32],
    /// Their sum.
    pub total: f32,
    /// |dh/dθ|, mm per radian, while the slide closes; none while it opens or where the angle is unknown.
    pub closing_rate_mm: Option<f32>,
    /// Right minus left and front minus rear, kN.
    pub differences: [f32; 2],
    /// Work so far, kJ.
    pub work_kj: f32,
}

impl MachineLimits {
    /// From a checked press and its crank.
    #[must_use]
    pub fn new(press: &PressSpec, crank: &CrankSlider) -> Self {
        let share = press.rated_kn / press.columns.count() as f64;
        let rated_rate = crank.rate_mm(crank.closing_radians_at(press.rated_height_mm));
        // Every degree, as the slide's table has it.
        let fastest =
            (0..360).map(|degree| crank.rate_mm(f64::from(degree).to_radians())).fold(0.0, f64::max);
        Self {
            rated: press.rated_kn as f32,
            torque: (press.rated_kn * rated_rate) as f32,
            // One column is the whole press: its share is the rating, checked as such.
            column: if press.columns.count() == 1 {
                f32::INFINITY
            } else {
                (share * press.column_percent / 100.0) as f32
            },
            reverse: (press.rated_kn * press.reverse_percent / 100.0) as f32,
            imbalance: (press.rated_kn * press.imbalance_percent / 100.0) as f32,
            // One column tells no place, and its differences are nought.
            off_centre: press.off_centre_percent.map_or(0.0, |percent| (100.0 / percent - 1.0) as f32),
            energy: press.usable_energy_kj.map_or(f32::INFINITY, |kj| kj as f32),
            // Less than roundings could make up for, so that it is within by the comparison in f32 as well.
            anywhere: (press.rated_kn * rated_rate / fastest * (1.0 - 1e-5)) as f32,
        }
    }

    /// Whether a frame keeps all limits but those of height and work; no less than [`Self::check`] finds. A NaN keeps none.
    #[must_use]
    pub fn keep<const N: usize>(&self, loads: &[f32; N], total: f32, [side, face]: [f32; 2]) -> bool {
        let (side, face) = (side.abs(), face.abs());
        total + self.off_centre * (side + face) <= self.rated
            && -total <= self.reverse
            && side <= self.imbalance
            && face <= self.imbalance
            && loads.iter().all(|load| *load <= self.column)
    }

    /// Compares one frame; calls `broken` with the reason, the column if one can be named, value and limit.
    ///
    /// Comparisons are written so that a NaN breaks the limit.
    #[inline]
    pub fn check(&self, now: &Load<'_>, mut broken: impl FnMut(Reason, Option<u8>, f32, f32)) {
        let within = |value: f32, limit: f32| value <= limit;
        if !within(now.total, self.rated) {
            broken(Reason::PeakOverRating, None, now.total, self.rated);
        }
        let [side, face] = now.differences;
        let off = self.off_centre * (side.abs() + face.abs());
        if !within(now.total + off, self.rated) {
            // As its formula has it: rated / (1 + k·u), u = differences / load. Without a load nothing is allowed off it.
            let allowed = if now.total > 0.0 { self.rated * now.total / (now.total + off) } else { 0.0 };
            // Without an allowance this is the rating itself, told above.
            if off > 0.0 || off.is_nan() {
                broken(Reason::OffCentre, None, now.total, allowed);
            }
        }
        if !within(-now.total, self.reverse) {
            broken(Reason::ReverseOverLimit, None, -now.total, self.reverse);
        }
        for (column, load) in now.loads.iter().enumerate() {
            if !within(*load, self.column) {
                broken(Reason::ColumnOverShare, Some(column as u8), *load, self.column);
            }
        }
        if let Some(rate) = now.closing_rate_mm
            && !within(now.total * rate, self.torque)
        {
            broken(Reason::LoadOverCapacityCurve, None, now.total, self.torque / rate);
        }
        for (difference, reason) in
            now.differences.into_iter().zip([Reason::ImbalanceLeftRight, Reason::ImbalanceFrontRear])
        {
            if !within(difference.abs(), self.imbalance) {
                broken(reason, None, difference, self.imbalance);
            }
        }
        if !within(now.work_kj, self.energy) {
            broken(Reason::WorkOverEnergy, None, now.work_kj, self.energy);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::press::Columns;
    use crate::verdict::ReasonSet;

    fn limits() -> (MachineLimits, CrankSlider) {
        let press = PressSpec {
            columns: Columns::Corners,
            rated_kn: 1000.0,
            rated_height_mm: 6.0,
            stroke_mm: 200.0,
            rod_mm: 500.0,
            speed_spm: [20.0, 60.0],
            bolster_mm: [1200.0, 800.0],
            usable_energy_kj: Some(10.0),
            reverse_percent: 10.0,
            column_percent: 110.0,
            imbalance_percent: 30.0,
            off_centre_percent: Some(40.0),
        };
        let crank = press.check().unwrap();
        (MachineLimits::new(&press, &crank), crank)
    }

    fn broken(now: &Load<'_>) -> ReasonSet {
        let mut set = ReasonSet::default();
        limits().0.check(now, |reason, _, _, _| {
            set.insert(reason);
        });
        set
    }

    const QUIET: Load<'static> = Load {
        loads: &[0.0; 4],
        total: 0.0,
        closing_rate_mm: Some(50.0),
        differences: [0.0; 2],
        work_kj: 0.0,
    };

    #[test]
    fn each_limit_breaks_just_above_it_and_not_at_it() {
        let at = |make: &dyn Fn(f32) -> Load<'static>, limit: f32, reason: Reason| {
            assert!(!broken(&make(limit)).contains(reason), "{reason:?} at its limit");
            assert!(broken(&make(limit.next_up())).contains(reason), "{reason:?} just over");
        };
        let open = Load { closing_rate_mm: None, ..QUIET };
        at(&|x| Load { total: x, ..open }, 1000.0, Reason::PeakOverRating);
        at(&|x| Load { total: -x, ..open }, 100.0, Reason::ReverseOverLimit);
        at(&|x| Load { differences: [x, 0.0], ..open }, 300.0, Reason::ImbalanceLeftRight);
        at(&|x| Load { differences: [-x, 0.0], ..open }, 300.0, Reason::ImbalanceLeftRight);
        at(&|x| Load { differences: [0.0, x], ..open }, 300.0, Reason::ImbalanceFrontRear);
        at(&|x| Load { work_kj: x, ..open }, 10.0, Reason::WorkOverEnergy);
        let column: &'static [[f32; 4]; 2] = &[[0.0, 0.0, 275.0, 0.0], [0.0, 0.0, 275.00003, 0.0]];
        assert!(broken(&Load { loads: &column[0], ..open }).is_empty());
        assert!(broken(&Load { loads: &column[1], ..open }).contains(Reason::ColumnOverShare));
    }

    #[test]
    fn the_off_centre_allowance_falls_from_the_rating_to_its_share_at_the_gauges() {
        // k = 100/40 − 1 = 1.5; allowed = 1000/(1 + 1.5 u), computed by hand.
        let open = Load { closing_rate_mm: None, ..QUIET };
        for (u, allowed) in [(0.05_f32, 930.232_6_f32), (0.2, 769.230_8), (0.5, 571.428_6)] {
            for [x, y] in [[u, 0.0], [0.0, -u], [-0.5 * u, 0.5 * u]] {
                let at = |load: f32| broken(&Load { total: load, differences: [load * x, load * y], ..open });
                assert!(!at(allowed * 0.9999).contains(Reason::OffCentre), "{u} {x} {y}");
                assert!(at(allowed * 1.0001).contains(Reason::OffCentre), "{u} {x} {y}");
            }
        }
        let (limits, _) = limits();
        limits.check(&Load { total: 800.0, differences: [160.0, 0.0], ..open }, |reason, _, value, limit| {
            assert_eq!(reason, Reason::OffCentre);
            assert!(value == 800.0 && (limit - 769.23).abs() < 0.01, "{value} {limit}");
        });
        let free = MachineLimits { off_centre: 0.0, ..limits };
        free.check(&Load { total: 1000.0, differences: [299.0; 2], ..open }, |reason, _, _, _| {
            panic!("{reason:?}")
        });
    }

    #[test]
    fn a_nan_breaks_every_limit_it_touches() {
        let set = broken(&Load {
            total: f32::NAN,
            loads: &[f32::NAN],
            differences: [f32::NAN; 2],
            work_kj: f32::NAN,
            ..QUIET
        });
        for reason in Reason::ALL.iter().filter(|reason| reason.is_machine_limit()) {
            assert!(set.contains(*reason), "{reason:?}");
        }
    }

    #[test]
    fn capacity_follows_the_reference_table_at_every_height() {
        // 1000 kN rated at 6 mm, stroke 200, rod 500; source: project reference values §2a, computed.
        let (_, crank) = limits();
        for (height, allowed) in [(12.0, 720.938), (25.0, 522.031), (50.0, 405.807), (100.0, 366.802)] {
            let rate = crank.rate_mm(crank.closing_radians_at(height)) as f32;
            let load =
                |share: f32| Load { total: allowed as f32 * share, closing_rate_mm: Some(rate), ..QUIET };
            assert!(!broken(&load(0.9999)).contains(Reason::LoadOverCapacityCurve), "{height}");
            assert!(broken(&load(1.0001)).contains(Reason::LoadOverCapacityCurve), "{height}");
        }
    }

    #[test]
    fn what_breaks_a_limit_is_told_with_its_value_and_the_limit() {
        // Torque at 1000 kN rated at 6 mm: 37,241.2 kN·mm (project reference values §2a, computed); at 50 mm per radian
        // 744.8 kN are allowed.
        let off = [50.0, -50.0];
        let cases = [
            (Load { total: 1001.0, ..QUIET }, Reason::PeakOverRating, 1001.0, 1000.0),
            (Load { total: -101.0, ..QUIET }, Reason::ReverseOverLimit, 101.0, 100.0),
            (Load { total: 745.0, ..QUIET }, Reason::LoadOverCapacityCurve, 745.0, 744.824),
            (Load { differences: [0.0, -301.0], ..QUIET }, Reason::ImbalanceFrontRear, -301.0, 300.0),
            (Load { work_kj: 10.5, ..QUIET }, Reason::WorkOverEnergy, 10.5, 10.0),
            // u = 100/900: 1000/(1 + 1.5/9).
            (Load { total: 900.0, differences: off, ..QUIET }, Reason::OffCentre, 900.0, 857.143),
            (Load { total: -700.0, differences: [900.0, 900.0], ..QUIET }, Reason::OffCentre, -700.0, 0.0),
        ];
        for (load, reason, value, limit) in cases {
            let mut told = None;
            limits().0.check(&load, |r, column, value, limit| {
                if r == reason {
                    told = Some((column, value, limit));
                }
            });
            let (column, found, against) = told.unwrap();
            assert_eq!((column, found), (None, value), "{reason:?}");
            assert!((against - limit).abs() < 1e-3, "{reason:?}: {against}, not {limit}");
        }
        // Symmetric, the allowance is the rating itself, and only that is told.
        let over = broken(&Load { total: 1001.0, closing_rate_mm: None, ..QUIET });
        assert!(over.contains(Reason::PeakOverRating) && !over.contains(Reason::OffCentre));
    }

    #[test]
    fn what_keeps_all_limits_at_once_is_what_breaks_none_of_them_each() {
        let (limits, _) = limits();
        let kept = |loads: [f32; 4], total: f32, differences: [f32; 2]| {
            let open = Load { loads: &loads, total, closing_rate_mm: None, differences, work_kj: 0.0 };
            let mut none = true;
            limits.check(&open, |_, _, _, _| none = false);
            assert_eq!(limits.keep(&loads, total, differences), none, "{open:?}");
            none
        };
        // Each limit reached exactly, then just passed. 400 + 1.5 · (300 + 100) is the rating.
        assert!(kept([275.0; 4], 1000.0, [0.0; 2]) && kept([0.0; 4], -100.0, [0.0; 2]));
        assert!(kept([0.0; 4], 400.0, [300.0, -100.0]) && kept([0.0; 4], 400.0, [-100.0, 300.0]));
        for column in 0..4 {
            let mut loads = [275.0_f32; 4];
            loads[column] = loads[column].next_up();
            assert!(!kept(loads, 900.0, [0.0; 2]));
        }
        let up = f32::next_up;
        assert!(!kept([0.0; 4], up(1000.0), [0.0; 2]) && !kept([0.0; 4], -up(100.0), [0.0; 2]));
        assert!(!kept([0.0; 4], 0.0, [up(300.0), 0.0]) && !kept([0.0; 4], 0.0, [0.0, -up(300.0)]));
        assert!(!kept([0.0; 4], 400.1, [300.0, 100.0]) && !kept([0.0; 4], 400.1, [-100.0, -300.0]));
        for nan in [[f32::NAN, 0.0], [0.0, f32::NAN]] {
            assert!(!kept([0.0; 4], 0.0, nan) && !kept([nan[0], nan[1], 0.0, 0.0], 0.0, [0.0; 2]));
        }
        assert!(!kept([0.0; 4], f32::NAN, [0.0; 2]));
    }

    #[test]
    fn the_curve_does_not_bind_while_opening() {
        assert!(broken(&Load { total: 999.0, closing_rate_mm: None, ..QUIET }).is_empty());
    }
}
