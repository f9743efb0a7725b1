//! Stroke after stroke: crank, stock, faults, die, frame and gauges put together.
//!
//! Each step the crank moves on, the die's load is found for where the slide will stand if the last load goes on,
//! and the frame takes an exact step with it. What a step's own load moves the slide in that step is Δt²/6m a
//! newton; [`Simulator::new`] makes the step so short that this, times the stiffness of all contacts, is below
//! three percent: so much of a step's change of load comes a step late. Then the gauges are read.
//! Between the recorded parts of two turns the frame comes to rest and only the clock and the crank go on.

mod outage;
mod step_length;
mod stroke;
#[cfg(test)]
mod tests;

pub use stroke::{Energy, SimSample, SimStroke};

use outage::Outage;

use crate::drive::Drive;
use crate::element::Element;
use crate::faults::{Active, Changes, FaultPlan, has_place};
use crate::frame::{Frame, FrameChange, FrameForce, FrameState};
use crate::front_end::{ChannelScale, FrontEnd};
use crate::scenario::{Scenario, ScenarioError};
use crate::seed::{Purpose, normal, stream};
use crate::sensors::Sensors;
use crate::slide::SlideCurve;
use crate::station::{Site, Stock};
use crate::strip::{Seam, Stretch, Strip};
use crate::truth::{Kind, Truth};
use bolster_core::crank::CrankSlider;
use bolster_core::press::PressSpec;
use core::f64::consts::{PI, TAU};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::Rng as _;

/// Width of the index pulse at the top, radians.
const INDEX_RADIANS: f64 = 5.0 * PI / 180.0;

/// A run of a scenario: an iterator over its strokes, one in memory at a time.
#[derive(Debug, Clone)]
pub struct Simulator {
    scenario: Scenario,
    press: PressSpec,
    curve: SlideCurve,
    sites: Vec<Site>,
    drive: Drive,
    strip: Strip,
    plan: FaultPlan,
    frame: Frame,
    frame_change: FrameChange,
    front_end: FrontEnd,
    sensors: Sensors,
    losses: ChaCha8Rng,
    station_scatter: ChaCha8Rng,
    elements: Vec<Element>,
    substeps: u32,
    done: u32,
    /// Samples since the run began.
    tick: u64,
    /// Crank angle at that sample, radians from this stroke's top.
    angle: f64,
}

/// The moving parts at one instant.
#[derive(Clone, Copy)]
struct Instant {
    angle: f64,
    /// Speed of the crank, rad/s.
    omega: f64,
    height: f64,
    speed: f64,
    state: FrameState,
    /// The die's load alone.
    die: FrameForce,
    /// The die's load and the slide's inertia.
    force: FrameForce,
}

impl Simulator {
    /// Prepares a run.
    ///
    /// # Errors
    /// [`ScenarioError`] naming the field that cannot be.
    pub fn new(scenario: &Scenario) -> Result<Self, ScenarioError> {
        scenario.check()?;
        let press = crate::press::spec(scenario)?;
        let refuse = |field: &str, problem: String| ScenarioError::Field { field: field.to_owned(), problem };
        let crank = CrankSlider::new(press.stroke_mm, press.rod_mm)
            .map_err(|why| refuse("press", format!("is refused: {why}")))?;
        let material = crate::material::find(&scenario.strip.material)
            .ok_or_else(|| refuse("strip.material", "is not in the materials table".to_owned()))?;
        let sites = Site::all(&scenario.stations);
        let substeps = step_length::substeps(scenario, &press, &sites, material)
            .ok_or_else(|| refuse("frame.slide_mass_kg", "is too small for a die this stiff".to_owned()))?;
        let step_s = 1.0 / (scenario.sample_hz * f64::from(substeps));
        let frame_change = FrameChange::default();
        Ok(Self {
            press,
            curve: SlideCurve::new(&crank),
            drive: Drive::new(&scenario.drive, scenario.seed),
            strip: Strip::new(
                &scenario.strip,
                material,
                sites.iter().filter(|site| site.works_strip()).count(),
                scenario.seed,
            ),
            plan: FaultPlan::new(scenario, &press, &sites),
            frame: Frame::new(&press, &scenario.frame, &frame_change, step_s),
            frame_change,
            front_end: FrontEnd::new(&press, &scenario.front_end, scenario.sample_hz, scenario.seed),
            sensors: Sensors::new(&scenario.sensors, scenario.seed),
            losses: stream(scenario.seed, Purpose::Encoder),
            station_scatter: stream(scenario.seed.rotate_left(17), Purpose::Strip),
            elements: Vec::new(),
            substeps,
            done: 0,
            tick: 0,
            angle: 0.0,
            sites,
            scenario: scenario.clone(),
        })
    }

    /// The press.
    #[must_use]
    pub fn press(&self) -> &PressSpec {
        &self.press
    }

    /// The scenario of this run.
    #[must_use]
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// The die's stations, repeats counted.
    #[must_use]
    pub fn sites(&self) -> &[Site] {
        &self.sites
    }

    /// Calibration of each gauge channel: how counts become kN.
    #[must_use]
    pub fn calibration(&self) -> &[ChannelScale; 4] {
        self.front_end.scale()
    }

    fn step_s(&self) -> f64 {
        1.0 / (self.scenario.sample_hz * f64::from(self.substeps))
    }

    /// The die's contacts for this stroke, highest first.
    fn load_die(&mut self, stretch: &Stretch, changes: &Changes) {
        let data = &self.scenario.strip;
        let material = self.strip.material();
        let half_depth = self.press.bolster_mm[1] / 2.0;
        let lower = changes.lower_mm + stretch.closing_mm;
        self.elements.clear();
        let mut worked = 0;
        for (i, (site, change)) in self.sites.iter().zip(&changes.stations).enumerate() {
            let sheet = match stretch.seam {
                Some(Seam::Joint(at)) if worked > at => &stretch.beyond,
                _ => &stretch.sheet,
            };
            worked += usize::from(site.works_strip());
            let across = 1.0 + sheet.wedge * site.y_mm / half_depth;
            let strength = sheet.strength * changes.strength;
            let stock = Stock {
                material,
                thickness_mm: data.thickness_mm * sheet.thickness * changes.thickness * across,
                nominal_mm: data.thickness_mm,
                shear_mpa: material.shear_mpa * strength,
                tensile_mpa: material.tensile_mpa * strength,
                yield_mpa: material.yield_mpa * strength,
                friction: stretch.friction,
                penetration: changes.penetration,
            };
            let own = 1.0 + data.scatter_station_percent / 100.0 * normal(&mut self.station_scatter);
            let mut change = *change;
            change.load *= own.max(0.0);
            change.dullness += stretch.wear;
            let first = self.elements.len();
            site.elements(i, &stock, &change, &self.frame, &mut self.elements);
            let shape = self.frame.shape(site.x_mm, site.y_mm);
            let raised = lower + changes.shims_mm[0] * shape[1] + changes.shims_mm[1] * shape[2];
            for element in self.elements.iter_mut().skip(first) {
                element.touch_mm += raised;
            }
        }
        self.elements.sort_by(|a, b| b.touch_mm.total_cmp(&a.touch_mm));
    }

    /// Height above which no contact is in reach: none lies beyond twice the columns' distance.
    #[inline]
    fn reach(height: f64, state: &FrameState) -> f64 {
        height + state[0] - 2.0 * (state[1].abs() + state[2].abs())
    }

    /// Whether any contact is in reach.
    #[inline]
    fn touches(&self, height: f64, state: &FrameState) -> bool {
        self.elements.first().is_some_and(|e| e.touch_mm >= Self::reach(height, state))
    }

    /// Settles the contacts with the slide at `height` and the frame in `state`; gives the die's load.
    #[inline]
    fn die_force(&mut self, height: f64, state: &FrameState) -> FrameForce {
        let mut force = [0.0; 3];
        let lowest = Self::reach(height, state);
        for element in &mut self.elements {
            if element.touch_mm < lowest {
                break;
            }
            let [_, roll, pitch] = element.shape;
            let load =
                element.settle(element.touch_mm - (height + state[0] + roll * state[1] + pitch * state[2]));
            force[0] += load;
            force[1] += load * roll;
            force[2] += load * pitch;
        }
        force
    }

    /// One step of crank and frame.
    fn step(&mut self, now: &Instant, step_s: f64) -> Instant {
        let omega = now.omega;
        let angle = now.angle + omega * step_s;
        let (height, rate) = self.curve.at(angle);
        let speed = rate * omega;
        let inertia = self.frame.inertia((speed - now.speed) / step_s);
        let with_inertia = |die: &FrameForce| [die[0] + inertia, die[1], die[2]];
        let known = self.frame.known(&now.state, &now.force);
        let guess = self.frame.complete(&known, &with_inertia(&now.die));
        if now.die == [0.0; 3] && !self.touches(height, &guess) {
            // Nothing is in reach and nothing was: the guess is exact.
            let force = with_inertia(&now.die);
            return Instant { angle, omega, height, speed, state: guess, die: now.die, force };
        }
        let die = self.die_force(height, &guess);
        let force = with_inertia(&die);
        let state = self.frame.complete(&known, &force);
        Instant { angle, omega, height, speed, state, die, force }
    }

    /// Whether the recorded part is the whole turn: then the press is recorded while it stands as well.
    fn records_all(&self) -> bool {
        self.scenario.angle_from_deg == 0.0 && self.scenario.angle_to_deg == 360.0
    }

    /// Goes on to where the recorded part begins: crank at the first sample in it, frame at rest. `samples` takes
    /// the readings on the way, if the whole turn is recorded.
    fn enter(&mut self, changes: &Changes, samples: &mut Vec<SimSample>) -> Instant {
        let all = self.records_all();
        let sample_s = 1.0 / self.scenario.sample_hz;
        let from = self.scenario.angle_from_deg.to_radians();
        // At rest only the flywheel moves: a hundredth of a second at a time is fine enough for it.
        let rest = (self.scenario.sample_hz * 0.01).max(1.0) as u64;
        while self.angle < from || self.drive.stops_at_top() {
            if all {
                let [height, speed, omega] = [0.0; 3];
                let (state, force) = (self.frame.at_rest(0.0), [0.0; 3]);
                let now = Instant { angle: self.angle, omega, height, speed, state, die: force, force };
                samples.push(self.record(&now, changes));
            }
            let ticks = if self.drive.stands() && !all { rest } else { 1 };
            let span = ticks as f64 * sample_s;
            self.angle += self.drive.crank_speed() * span;
            let to_top = if self.angle < 0.0 { -self.angle } else { TAU - self.angle };
            self.drive.advance(to_top, 0.0, span);
            self.tick += ticks;
        }
        let (angle, omega) = (self.angle, self.drive.crank_speed());
        let (height, rate) = self.curve.at(angle);
        // The curve's second derivative over one step, as the steps themselves take it.
        let before = self.curve.at(angle - omega * self.step_s()).1;
        let inertia = self.frame.inertia((rate - before) * omega / self.step_s());
        let force = [inertia, 0.0, 0.0];
        let state = self.frame.at_rest(inertia);
        Instant { angle, omega, height, speed: rate * omega, state, die: [0.0; 3], force }
    }

    fn record(&mut self, now: &Instant, changes: &Changes) -> SimSample {
        let time_s = self.tick as f64 / self.scenario.sample_hz;
        let loads = self.frame.column_loads(&now.state);
        let (from, to) = (self.scenario.angle_from_deg.to_radians(), self.scenario.angle_to_deg.to_radians());
        let way = if now.angle < PI { PI - from } else { to - PI };
        let near_bottom = ((now.angle - PI).abs() / way.max(1e-9)).min(0.999_999);
        let (counts, kn) = self.front_end.read(time_s, &loads, &changes.gauges, near_bottom);
        let steps = f64::from(self.scenario.front_end.encoder_steps);
        let seen = now.angle / TAU + changes.encoder_deg / 360.0;
        let seen = if seen >= 1.0 { seen - 1.0 } else { seen };
        let angle_deg = floor(seen * steps) * 360.0 / steps;
        let sensors = self.sensors.at(now.angle.to_degrees());
        let index = now.angle < INDEX_RADIANS && !changes.no_index;
        SimSample { time_s, angle_deg, kn, counts, sensors, tick: self.tick, index }
    }

    /// Runs the recorded part from `now`; its readings go to `samples`.
    fn run(
        &mut self,
        mut now: Instant,
        changes: &Changes,
        truth: &mut Truth,
        samples: &mut Vec<SimSample>,
    ) -> Energy {
        let to = self.scenario.angle_to_deg.to_radians();
        let step_s = self.step_s();
        let expected = (to - now.angle) / now.omega.max(0.1) * self.scenario.sample_hz;
        samples.reserve(expected.clamp(0.0, 1e6) as usize + 64);
        let mut outage = Outage::new(changes, &self.scenario, &mut self.losses);
        let mut energy = Energy::default();
        let stored =
            |f: &Frame, i: &Instant| f.elastic_energy(&i.state) + f.kinetic_energy(&i.state, i.speed);
        let at_start = stored(&self.frame, &now);
        let (mut drive, mut lost) =
            (self.frame.drive_force(&now.state), self.frame.damping_power(&now.state));
        let mut past_bottom = false;
        while now.angle < to {
            let sample = self.record(&now, changes);
            let powered = outage.is_over_at(now.angle, &mut self.front_end);
            if powered && (changes.lost == 0.0 || !self.loses(changes.lost)) {
                samples.push(sample);
            }
            let total: f64 = self.frame.column_loads(&now.state).iter().sum();
            truth.peak_kn = truth.peak_kn.max(total);
            truth.reverse_kn = truth.reverse_kn.max(-total);
            if !past_bottom && now.angle > PI {
                past_bottom = true;
                self.drive.end_stroke();
            }
            for _ in 0..self.substeps {
                let mut next = self.step(&now, step_s);
                let (drive_next, lost_next) =
                    (self.frame.drive_force(&next.state), self.frame.damping_power(&next.state));
                let crank_j = -0.5 * (drive + drive_next) * (next.height - now.height);
                energy.crank_j += crank_j;
                energy.damped_j += 0.5 * (lost + lost_next) * step_s;
                energy.die_j += die_work(&now, &next);
                self.drive.advance(TAU - next.angle, crank_j / step_s, step_s);
                next.omega = self.drive.crank_speed();
                (now, drive, lost) = (next, drive_next, lost_next);
            }
            self.tick += 1;
        }
        energy.stored_j = stored(&self.frame, &now) - at_start;
        energy.drive = self.drive.take_energy();
        self.angle = now.angle - TAU;
        energy
    }

    fn loses(&mut self, chance: f64) -> bool {
        f64::from(self.losses.next_u32()) < chance * 4_294_967_296.0
    }
}

/// [`f64::floor`] of a number of some millions at most; without special instructions the library's own is a call.
#[inline]
fn floor(value: f64) -> f64 {
    let cut = value as i64 as f64;
    if cut > value { cut - 1.0 } else { cut }
}

/// Work of the die's load over one step, J, by the trapezoid.
fn die_work(now: &Instant, next: &Instant) -> f64 {
    let mut work = -0.5 * (now.die[0] + next.die[0]) * (next.height - now.height);
    for i in 0..3 {
        work -= 0.5 * (now.die[i] + next.die[i]) * (next.state[i] - now.state[i]);
    }
    work
}

/// The truth about a stroke with these faults, before it is run.
fn truth_of(faults: &[Active], press: &PressSpec, thickness_mm: f64) -> Truth {
    let mut truth = Truth {
        kind: Kind::Good,
        severity: 0.0,
        station: None,
        column: None,
        peak_kn: 0.0,
        reverse_kn: 0.0,
        work_kj: 0.0,
        thickness_mm,
    };
    for fault in faults {
        if fault.severity > truth.severity {
            let (station, column) = has_place(fault.kind);
            truth.kind = fault.kind;
            truth.severity = fault.severity;
            truth.station = station.then_some(fault.station + 1);
            truth.column = if column { press.columns.names().get(fault.column).copied() } else { None };
        }
    }
    truth
}

impl Iterator for Simulator {
    type Item = SimStroke;

    fn next(&mut self) -> Option<SimStroke> {
        if self.done >= self.scenario.strokes {
            return None;
        }
        self.done += 1;
        let stretch = self.strip.next_stroke();
        let faults = self.plan.of_stroke(self.done, &self.press);
        let nominal = self.scenario.strip.thickness_mm;
        let mut changes = Changes::none(self.sites.len());
        for fault in &faults {
            changes.apply(fault, &self.sites, nominal);
        }
        let joint = self.scenario.strip.joint_severity;
        let passing = stretch.seam.map(|seam| changes.pass(&seam, &self.sites, joint));
        if changes.frame != self.frame_change {
            self.frame = Frame::new(&self.press, &self.scenario.frame, &changes.frame, self.step_s());
            self.frame_change = changes.frame;
        }
        self.load_die(&stretch, &changes);
        self.drive.start_stroke();
        self.sensors.start_stroke(&changes.sensors);
        let (all, mut samples) = (self.records_all(), Vec::new());
        if all {
            self.front_end.start_stroke(self.tick as f64 / self.scenario.sample_hz);
        }
        let entry = self.enter(&changes, &mut samples);
        let speed_spm = entry.omega * 60.0 / TAU;
        if !all {
            self.front_end.start_stroke(self.tick as f64 / self.scenario.sample_hz);
        }
        let mut truth = truth_of(&faults, &self.press, nominal * stretch.sheet.thickness * changes.thickness);
        if let Some((kind, severity, station)) = passing.filter(|(_, severity, _)| *severity > truth.severity)
        {
            truth = Truth { kind, severity, station: station.map(|i| i + 1), column: None, ..truth };
        }
        let energy = self.run(entry, &changes, &mut truth, &mut samples);
        truth.work_kj = energy.die_j / 1000.0;
        Some(SimStroke { number: self.done, coil: stretch.coil, speed_spm, truth, energy, samples })
    }
}
