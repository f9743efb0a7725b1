//! What turns the crank: motor, flywheel, clutch and brake, and the order in which they are used.
//!
//! The flywheel's energy is E = ½Jω² (speeds are brought to the crank). It gives up the work of the stroke,
//! loses friction, and is refilled by a motor whose torque rises with slip:
//! P = P_rated · slip/rated slip · ω/ω₀, no more than two and a half times its rating, never generating.
//! The crank turns at c·ω, c being 1 when coupled; it rises linearly over the clutch time and falls linearly over
//! the brake time. While the clutch slips it turns the power share 1/c − 1 into heat.
//! Left out: belt stretch, the inertia of crank and gears (counted with the flywheel when coupled), backlash.
//!
//! With no flywheel given the speed does not droop.

use crate::scenario::{DriveData, Mode};
use crate::seed::{Purpose, bounded_normal, stream};
use core::f64::consts::TAU;
use rand_chacha::ChaCha8Rng;

/// Most motor power, in ratings.
const BREAKDOWN: f64 = 2.5;

/// Energy of a flywheel, J: `inertia` kg·m², `omega` rad/s.
#[must_use]
pub fn flywheel_j(inertia: f64, omega: f64) -> f64 {
    0.5 * inertia * omega * omega
}

/// Share of a flywheel's energy that comes free when it slows by this fraction: 1 − (1 − s)².
#[must_use]
pub fn usable_share(slow_down: f64) -> f64 {
    1.0 - (1.0 - slow_down) * (1.0 - slow_down)
}

/// Where the drive's energy went since this was last taken, J: `motor = friction + clutch + crank + flywheel`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct DriveEnergy {
    /// Given by the motor.
    pub motor_j: f64,
    /// Lost in bearings and guides.
    pub friction_j: f64,
    /// Lost in the slipping clutch.
    pub clutch_j: f64,
    /// Given to the crank.
    pub crank_j: f64,
    /// Gained by the flywheel (negative where it slowed down).
    pub flywheel_j: f64,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Phase {
    /// Clutch in; for how long, in inch mode.
    Coupled { for_s: f64 },
    /// Brake on.
    Braking,
    /// At rest.
    Standing { left_s: f64 },
}

/// The drive of one press.
#[derive(Debug, Clone)]
pub struct Drive {
    data: DriveData,
    random: ChaCha8Rng,
    slow: f64,
    /// Idle speed of this stroke, rad/s of the crank.
    idle: f64,
    /// Flywheel speed, rad/s of the crank.
    omega: f64,
    /// Flywheel inertia, J·s²; 0 for none.
    inertia: f64,
    /// 2/inertia, 1/idle speed, and share of the motor's rating for a whole speed's slip: divided once, not in every step.
    per_half_inertia: f64,
    per_idle: f64,
    share_of_slip: f64,
    coupling: f64,
    /// −1 during a pulse backwards in inch mode, else 1.
    direction: f64,
    pulses: u32,
    phase: Phase,
    /// Whether the press is to stop at the next top.
    stop_due: bool,
    strokes: u32,
    energy: DriveEnergy,
}

impl Drive {
    /// The drive of a checked scenario, flywheel up to speed; crank at rest unless it runs continuously.
    #[must_use]
    pub fn new(data: &DriveData, seed: u64) -> Self {
        let inch = if data.mode == Mode::Inch { data.inch_speed } else { 1.0 };
        let idle = TAU * data.speed_spm * inch / 60.0;
        let nominal = TAU * data.speed_spm / 60.0;
        let running = data.mode == Mode::Continuous;
        let inertia = data.flywheel_kj.map_or(0.0, |kj| 2000.0 * kj / (nominal * nominal));
        Self {
            random: stream(seed, Purpose::Drive),
            slow: 0.0,
            idle,
            omega: idle,
            inertia,
            per_half_inertia: if inertia > 0.0 { 2.0 / inertia } else { 0.0 },
            per_idle: 1.0 / idle,
            share_of_slip: 100.0 / data.slip_percent,
            coupling: if running { 1.0 } else { 0.0 },
            direction: 1.0,
            pulses: 0,
            phase: Phase::Coupled { for_s: 0.0 },
            stop_due: false,
            strokes: 0,
            energy: DriveEnergy::default(),
            data: data.clone(),
        }
    }

    /// Starts the next stroke: mains and belts wander a little, and a stop may be due at its end.
    pub fn start_stroke(&mut self) {
        // Nine tenths of a deviation stay for the next stroke.
        self.slow = 0.9 * self.slow + bounded_normal(&mut self.random) * f64::sqrt(1.0 - 0.81);
        let inch = if self.data.mode == Mode::Inch { self.data.inch_speed } else { 1.0 };
        let idle = TAU * self.data.speed_spm * inch / 60.0;
        self.idle = idle * (1.0 + self.data.scatter_percent / 100.0 * self.slow);
        self.per_idle = 1.0 / self.idle;
        if self.inertia == 0.0 {
            self.omega = self.idle;
        }
        self.strokes += 1;
    }

    /// Decides at the end of a stroke's recorded part whether the press stops at the top that follows.
    pub fn end_stroke(&mut self) {
        self.stop_due = match self.data.mode {
            Mode::Single => true,
            Mode::Continuous => self.data.stop_every > 0 && self.strokes.is_multiple_of(self.data.stop_every),
            Mode::Inch => false,
        };
    }

    /// Speed of the crank, rad/s; negative while it is inched backwards.
    #[must_use]
    #[inline]
    pub fn crank_speed(&self) -> f64 {
        self.direction * self.coupling * self.omega
    }

    /// Whether the press is coming to rest, or rests, at the top.
    #[must_use]
    pub fn stops_at_top(&self) -> bool {
        self.data.mode != Mode::Inch && !matches!(self.phase, Phase::Coupled { .. })
    }

    /// Whether the crank stands still.
    #[must_use]
    pub fn stands(&self) -> bool {
        matches!(self.phase, Phase::Standing { .. })
    }

    /// Goes on by `step_s` while the crank gives `crank_w` (J/s) to the slide, `to_top` radians before the top.
    #[inline]
    pub fn advance(&mut self, to_top: f64, crank_w: f64, step_s: f64) {
        self.operate(to_top, step_s);
        self.turn_flywheel(crank_w, step_s);
    }

    fn operate(&mut self, to_top: f64, step_s: f64) {
        match &mut self.phase {
            Phase::Coupled { for_s } => {
                *for_s += step_s;
                let inched = self.data.mode == Mode::Inch && *for_s > self.data.inch_on_s;
                if self.coupling < 1.0 {
                    self.coupling = (self.coupling + step_s / self.data.clutch_s).min(1.0);
                }
                // A little late, so that it stops past the top and not before it.
                let way = 0.48 * self.omega * self.data.brake_s;
                if inched || (self.stop_due && to_top < way) {
                    self.phase = Phase::Braking;
                }
            }
            Phase::Braking => {
                self.coupling -= step_s / self.data.brake_s;
                if self.coupling <= 0.0 {
                    self.coupling = 0.0;
                    self.stop_due = false;
                    let left_s = match self.data.mode {
                        Mode::Single => self.data.pause_s,
                        Mode::Continuous => self.data.stop_s,
                        Mode::Inch => self.data.inch_off_s,
                    };
                    self.phase = Phase::Standing { left_s };
                }
            }
            Phase::Standing { left_s } => {
                *left_s -= step_s;
                if *left_s <= 0.0 {
                    self.pulses += 1;
                    let every = self.data.inch_back_every;
                    let back = self.data.mode == Mode::Inch && every > 0 && self.pulses.is_multiple_of(every);
                    self.direction = if back { -1.0 } else { 1.0 };
                    self.phase = Phase::Coupled { for_s: 0.0 };
                }
            }
        }
    }

    fn turn_flywheel(&mut self, crank_w: f64, step_s: f64) {
        if self.inertia == 0.0 {
            return;
        }
        let clutch_w = match self.phase {
            // The slip share is bounded where the crank barely moves: its power is as small there.
            Phase::Coupled { .. } if self.coupling < 1.0 => {
                crank_w.max(0.0) * (1.0 / self.coupling.max(0.02) - 1.0)
            }
            _ => 0.0,
        };
        // With the brake on the clutch is out: what the slide gives or takes is the brake's affair.
        let taken_w = if matches!(self.phase, Phase::Coupled { .. }) { crank_w } else { 0.0 };
        let speed = self.omega * self.per_idle;
        let motor_share = (1.0 - speed) * self.share_of_slip * speed;
        let motor_w = self.data.motor_kw * 1000.0 * motor_share.clamp(0.0, BREAKDOWN);
        let friction_w = self.data.friction_j * (1.0 / TAU) * self.crank_speed().abs();
        let before = flywheel_j(self.inertia, self.omega);
        let gain = (motor_w - friction_w - clutch_w - taken_w) * step_s;
        let after = (before + gain).max(1e-6 * before);
        self.omega = f64::sqrt(after * self.per_half_inertia);
        self.energy.motor_j += motor_w * step_s;
        self.energy.friction_j += friction_w * step_s;
        self.energy.clutch_j += clutch_w * step_s;
        self.energy.crank_j += taken_w * step_s;
        self.energy.flywheel_j += after - before;
    }

    /// Takes the account since the last call.
    pub fn take_energy(&mut self) -> DriveEnergy {
        core::mem::take(&mut self.energy)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn data() -> DriveData {
        DriveData { speed_spm: 60.0, flywheel_kj: Some(25.0), motor_kw: 10.0, ..DriveData::default() }
    }

    #[test]
    fn a_flywheel_holds_and_gives_the_reference_energies() {
        // 50 kg·m² at 300 a minute; source: computed.
        let energy = flywheel_j(50.0, TAU * 5.0);
        assert!((energy - 24_674.011).abs() < 1e-3, "{energy}");
        for (slow_down, joules) in [(0.10, 4_688.062), (0.15, 6_847.038), (0.20, 8_882.644)] {
            let found = energy * usable_share(slow_down);
            assert!((found - joules).abs() < 1e-3, "{slow_down}: {found}");
        }
    }

    #[test]
    fn work_slows_the_flywheel_and_the_motor_brings_it_back() {
        let mut drive = Drive::new(&data(), 1);
        drive.start_stroke();
        // 4 kJ within 50 ms, then five seconds of nothing.
        for _ in 0..500 {
            drive.advance(TAU, 80_000.0, 1e-4);
        }
        let low = drive.crank_speed() / TAU;
        // (1 − 4/25)^½ = 0.9165 without the motor, which gives up to 25 kW for 50 ms: no more than +0.03.
        assert!(low > 0.916 && low < 0.95, "{low}");
        for _ in 0..50_000 {
            drive.advance(TAU, 0.0, 1e-4);
        }
        let back = drive.crank_speed() / TAU;
        assert!(back > 0.99 && back <= 1.0, "{back}");
        let e = drive.take_energy();
        let open = e.motor_j - e.friction_j - e.clutch_j - e.crank_j - e.flywheel_j;
        assert!(open.abs() < 1e-6 * e.motor_j, "{e:?}");
    }

    #[test]
    fn a_single_stroke_starts_by_the_clutch_and_stops_by_the_brake_past_the_top() {
        let mut drive = Drive::new(
            &DriveData { mode: Mode::Single, clutch_s: 0.2, brake_s: 0.1, pause_s: 1.0, ..data() },
            1,
        );
        drive.start_stroke();
        let (mut angle, mut ticks, mut coupled_at) = (0.0, 0, None);
        while !drive.stands() {
            if angle > 4.0 && !drive.stop_due {
                drive.end_stroke();
            }
            angle += drive.crank_speed() * 1e-4;
            drive.advance(TAU - angle, 0.0, 1e-4);
            ticks += 1;
            if drive.coupling >= 1.0 && coupled_at.is_none() {
                coupled_at = Some(ticks);
            }
            assert!(ticks < 20_000, "never stopped; angle {angle}");
        }
        let coupled = coupled_at.unwrap();
        assert!((coupled - 2000_i32).abs() <= 1, "clutch in after {coupled} ticks of 0.1 ms");
        // Brake distance ½·ω·0.1 s = 18°; begun 4 % late: stops 0.7° past the top.
        let past = (angle - TAU).to_degrees();
        assert!(past > 0.0 && past < 2.0, "stopped {past}° past the top");
    }
}
