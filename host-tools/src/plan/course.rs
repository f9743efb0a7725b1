//! One stroke, step by step: the crank drives the slide, the frame stretches and rings, the contacts answer.
//!
//! The slide hangs on the columns like a mass on springs; the die pushes it open by q and tilts it. With all
//! columns alike, opening, roll and pitch do not couple: each is a mass, a spring and a damper (m q'' + c q' +
//! k q = load), the tilts with a third of the mass (a plate as large as the gauge distances). Where no columns
//! stand to either side, guides half as stiff as the frame hold the slide upright (assumption). What the columns
//! feel, k·q, is the load a monitor sees: ringing, reverse load and all. Kinematics are the core's.
//! Left out: guides, unlike columns, plate bending, speed droop within the stroke.

use bolster_core::crank::CrankSlider;
use bolster_core::press::Columns;
use core::f64::consts::{PI, TAU};

use super::contact::{Contact, Variation, contacts};
use super::job::Job;
use super::press::Candidate;

/// A load with the place in the stroke where it stood.
#[derive(Debug, Clone, Copy, PartialEq, Default, serde::Serialize)]
pub struct Spot {
    /// Load, kN.
    pub kn: f64,
    /// Crank angle, degrees from the top.
    pub angle_deg: f64,
    /// Slide height above the bottom, mm.
    pub height_mm: f64,
}

/// One point of the course.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sample {
    /// Crank angle, degrees from the top.
    pub angle_deg: f64,
    /// Slide height, mm.
    pub height_mm: f64,
    /// What the columns feel together, kN.
    pub total_kn: f64,
    /// What the die gives, kN: the total without ringing.
    pub die_kn: f64,
    /// Load the capacity curve allows here, kN.
    pub allowed_kn: f64,
    /// Load of each column, kN, in the order of the press.
    pub columns_kn: Vec<f64>,
    /// Load centre from the column loads, mm; none while the total says nothing.
    pub centre_mm: Option<[f64; 2]>,
    /// Load of each station, kN.
    pub stations_kn: Vec<f64>,
}

/// What one station did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StationCourse {
    /// Highest load and where.
    pub peak: Spot,
    /// Lowest load (stripping), kN, negative.
    pub least_kn: f64,
    /// Work it took, kJ.
    pub work_kj: f64,
}

/// The whole stroke.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Course {
    /// Points for pictures and tables: of each short span the highest and the lowest.
    pub samples: Vec<Sample>,
    /// Highest total.
    pub peak: Spot,
    /// Highest load of the die without the frame's ringing, kN.
    pub die_peak_kn: f64,
    /// Load centre at the peak, mm.
    pub centre_mm: [f64; 2],
    /// The columns at the peak, kN.
    pub columns_at_peak_kn: Vec<f64>,
    /// Lowest total; a reverse load where negative.
    pub least: Spot,
    /// Highest load of each column, kN.
    pub column_peaks_kn: Vec<f64>,
    /// Greatest left-right and front-rear differences, kN.
    pub imbalance: [Spot; 2],
    /// Where load over allowed load is greatest on the way down, and what is allowed there, kN.
    pub closest: (Spot, f64),
    /// Integral of the total over slide travel, the slide's inertia left out, kJ.
    pub work_kj: f64,
    /// By station of the job; stations of another hit stay at zero.
    pub stations: Vec<StationCourse>,
    /// Extent of the load centre while the total is within 5 % of the peak, mm: least and greatest, x then y.
    pub centre_span_mm: [[f64; 2]; 2],
}

/// Spans of the stroke that leave two points each.
const SPANS: usize = 300;
/// Stiffness of the guides against tilt where no columns stand to either side, share of the frame's.
const GUIDES: f64 = 0.5;
/// Steps of a stroke at most.
const MOST_STEPS: f64 = 200_000.0;
/// Steps times contacts at most: what a course may cost.
const MOST_ANSWERS: f64 = 3e7;

struct Mode {
    mass: f64,
    stiffness: f64,
    damping: f64,
    place: f64,
    rate: f64,
}

impl Mode {
    fn step(&mut self, force: f64, dt: f64) {
        self.rate += (force - self.stiffness * self.place - self.damping * self.rate) / self.mass * dt;
        self.place += self.rate * dt;
    }
}

struct March<'a> {
    press: &'a Candidate,
    crank: CrankSlider,
    rate_at_rated: f64,
    lever: [f64; 2],
    /// Whether columns to either side feel roll and pitch.
    tilts: [bool; 2],
    /// Whether the slide can roll and pitch at all, as far as is known.
    free: [bool; 2],
    modes: [Mode; 3],
    out: Course,
    columns: usize,
}

/// The course of one hit of a job on a press at a speed.
#[must_use]
pub fn march(job: &Job, hit: u32, press: &Candidate, speed_spm: f64, variation: &Variation) -> Course {
    march_in(job, hit, press, speed_spm, variation, SPANS)
}

/// As [`march`], with two points left of each of `spans` short spans of the stroke.
#[must_use]
pub fn march_in(
    job: &Job,
    hit: u32,
    press: &Candidate,
    speed_spm: f64,
    variation: &Variation,
    spans: usize,
) -> Course {
    let mut all = contacts(job, hit, variation);
    all.sort_by(|a, b| b.touch_mm.total_cmp(&a.touch_mm));
    let spec = &press.spec;
    // The card was checked when it was read.
    let Ok(crank) = CrankSlider::new(spec.stroke_mm, spec.rod_mm) else { return Course::default() };
    let (mass_of_all, whole) = (press.frame.slide_mass_kg * 1e-6, press.stiffness() * variation.stiffness);
    let mode = |mass: f64, stiffness: f64| {
        let damping = 2.0 * press.frame.damping * stiffness * (mass_of_all / whole).sqrt();
        Mode { mass, stiffness, damping, place: 0.0, rate: 0.0 }
    };
    let columns = spec.columns.count();
    let tilts = [spec.columns != Columns::Total, spec.columns == Columns::Corners];
    let tilt = |axis: usize| {
        let columns_hold = tilts.get(axis).copied().unwrap_or(false);
        mode(mass_of_all / 3.0, if columns_hold { whole } else { GUIDES * whole })
    };
    // A one-column card may leave the plate out; then nothing is known of tilting.
    let free = [spec.bolster_mm[0] > 1.0, spec.bolster_mm[1] > 1.0];
    let mut run = March {
        press,
        crank,
        rate_at_rated: crank.rate_mm(crank.closing_radians_at(spec.rated_height_mm)),
        lever: [spec.bolster_mm[0] / 2.0, spec.bolster_mm[1] / 2.0],
        tilts,
        free,
        modes: [mode(mass_of_all, whole), tilt(0), tilt(1)],
        out: Course {
            column_peaks_kn: vec![0.0; columns],
            stations: vec![StationCourse::default(); job.stations.len()],
            ..Course::default()
        },
        columns,
    };
    run.drive(&mut all, TAU * speed_spm / 60.0, spans);
    run.out
}

impl March<'_> {
    fn drive(&mut self, contacts: &mut [Contact], omega: f64, spans: usize) {
        let Some(highest) = contacts.first().map(|c| c.touch_mm) else { return };
        let mass = self.modes[0].mass;
        // The highest frequency there can be: every contact stiff at once, as roll and pitch feel it.
        let felt: f64 = contacts
            .iter()
            .map(|c| {
                let (x, y) = (c.x_mm / self.lever[0], c.y_mm / self.lever[1]);
                let (x, y) = (if self.free[0] { x } else { 0.0 }, if self.free[1] { y } else { 0.0 });
                c.stiffness * (1.0 + 3.0 * (x * x + y * y))
            })
            .sum();
        let fastest = ((felt + 3.0 * self.modes[0].stiffness) / mass).sqrt();
        let period = self.press.period_s();
        let from = self.crank.closing_radians_at(highest + 1.0);
        // Past the height of contact on the way up, and ten periods of ringing more.
        let to = (TAU - from + 10.0 * period * omega).min(1.9 * PI);
        let span_s = (to - from) / omega;
        let wanted = (0.3 / fastest).min(period / 150.0);
        let most = (MOST_ANSWERS / contacts.len() as f64).clamp(10_000.0, MOST_STEPS);
        let steps = (span_s / wanted).ceil().clamp(1.0, most) as usize;
        let dt = span_s / steps as f64;
        // A stroke too slow for so fine a step gets a heavier slide: it rings slower, and as high.
        let heavier = (dt / wanted).max(1.0);
        for mode in &mut self.modes {
            mode.mass *= heavier * heavier;
            mode.damping *= heavier;
        }
        let mut bins = Bins::new(steps, spans);
        let mut stations = vec![0.0; self.out.stations.len()];
        let at = |angle: f64| {
            let sign = if angle < PI { -1.0 } else { 1.0 };
            (self.crank.height_mm(angle), sign * self.crank.rate_mm(angle) * omega)
        };
        let (mut height, mut speed) = at(from);
        let (first_speed, mut peak_centre) = (speed, Vec::new());
        let start = mass * (first_speed - at(from - omega * dt).1) / dt;
        self.modes[0].place = -start / self.modes[0].stiffness;
        let mut before = vec![0.0; stations.len()];
        for step in 1..=steps {
            let angle = from + omega * dt * step as f64;
            let sign = if angle < PI { -1.0 } else { 1.0 };
            let (next_height, next_speed) =
                (self.crank.height_mm(angle), sign * self.crank.rate_mm(angle) * omega);
            let inertia = -mass * (next_speed - speed) / dt;
            let travel = height - next_height;
            (height, speed) = (next_height, next_speed);
            stations.fill(0.0);
            let [die, roll, pitch] = self.die(contacts, height, &mut stations);
            self.modes[0].step(die + inertia, dt);
            if self.free[0] {
                self.modes[1].step(roll, dt);
            }
            if self.free[1] {
                self.modes[2].step(pitch, dt);
            }
            let sample = self.sample(angle.to_degrees(), height, angle, die);
            // The slide's inertia gives back over the turn what it takes: it is no work of the stroke.
            self.out.work_kj += (sample.total_kn - inertia) * travel / 1000.0;
            self.note(&sample, travel, &stations, &mut before, &mut peak_centre);
            bins.take(step - 1, sample, &stations);
        }
        self.out.samples = bins.finish();
        self.span(&peak_centre);
    }

    /// Die load, and its moments by the columns' distance, kN.
    fn die(&self, contacts: &mut [Contact], height: f64, stations: &mut [f64]) -> [f64; 3] {
        let [q, a, b] = [self.modes[0].place, self.modes[1].place, self.modes[2].place];
        let lowest = height + q - 2.0 * (a.abs() + b.abs());
        let mut force = [0.0; 3];
        for contact in contacts.iter_mut() {
            if contact.touch_mm < lowest {
                break;
            }
            let (x, y) = (contact.x_mm / self.lever[0], contact.y_mm / self.lever[1]);
            let load = contact.load(contact.touch_mm - height - q - x * a - y * b);
            force[0] += load;
            force[1] += load * x;
            force[2] += load * y;
            if let Some(station) = stations.get_mut(contact.station) {
                *station += load;
            }
        }
        force
    }

    fn sample(&self, angle_deg: f64, height_mm: f64, angle: f64, die_kn: f64) -> Sample {
        let [q, a, b] = [self.modes[0].place, self.modes[1].place, self.modes[2].place];
        let stiffness = self.modes[0].stiffness;
        let total_kn = stiffness * q;
        let sides = self.press.spec.columns;
        let share = stiffness / self.columns as f64;
        let columns_kn: Vec<f64> = sides
            .side_x()
            .iter()
            .zip(sides.side_y())
            .map(|(x, y)| share * (q + f64::from(*x) * a + f64::from(*y) * b))
            .collect();
        let spec = &self.press.spec;
        let rate = self.crank.rate_mm(angle);
        let share = if height_mm <= spec.rated_height_mm || rate <= self.rate_at_rated {
            1.0
        } else {
            self.rate_at_rated / rate
        };
        let enough = total_kn > 0.02 * spec.rated_kn;
        let centre_mm = (enough && self.tilts[0])
            .then(|| [self.lever[0] * a / q, if self.tilts[1] { self.lever[1] * b / q } else { 0.0 }]);
        Sample {
            angle_deg,
            height_mm,
            total_kn,
            die_kn,
            allowed_kn: spec.rated_kn * share,
            columns_kn,
            centre_mm,
            stations_kn: Vec::new(),
        }
    }

    fn note(
        &mut self,
        now: &Sample,
        travel: f64,
        stations: &[f64],
        before: &mut [f64],
        near_peak: &mut Vec<(f64, [f64; 2])>,
    ) {
        let spot = |kn: f64| Spot { kn, angle_deg: now.angle_deg, height_mm: now.height_mm };
        let out = &mut self.out;
        out.die_peak_kn = out.die_peak_kn.max(now.die_kn);
        for (peak, kn) in out.column_peaks_kn.iter_mut().zip(&now.columns_kn) {
            *peak = peak.max(*kn);
        }
        if now.total_kn > out.peak.kn {
            out.peak = spot(now.total_kn);
            out.centre_mm = now.centre_mm.unwrap_or_default();
            out.columns_at_peak_kn.clone_from(&now.columns_kn);
        }
        if let Some(centre) = now.centre_mm
            && now.total_kn > 0.95 * out.peak.kn
        {
            near_peak.push((now.total_kn, centre));
        }
        if now.total_kn < out.least.kn {
            out.least = spot(now.total_kn);
        }
        if now.angle_deg < 180.0 && now.total_kn * out.closest.1 > out.closest.0.kn * now.allowed_kn
            || out.closest.1 == 0.0
        {
            out.closest = (spot(now.total_kn), now.allowed_kn);
        }
        let stiffness = self.modes[0].stiffness;
        for ((worst, mode), felt) in
            out.imbalance.iter_mut().zip([&self.modes[1], &self.modes[2]]).zip(self.tilts)
        {
            let difference = if felt { stiffness * mode.place.abs() } else { 0.0 };
            if difference > worst.kn {
                *worst = spot(difference);
            }
        }
        for ((station, kn), was) in out.stations.iter_mut().zip(stations).zip(before) {
            if *kn > station.peak.kn {
                station.peak = spot(*kn);
            }
            station.least_kn = station.least_kn.min(*kn);
            station.work_kj += 0.5 * (*kn + *was) * travel / 1000.0;
            *was = *kn;
        }
    }

    fn span(&mut self, near_peak: &[(f64, [f64; 2])]) {
        let mut span = [[self.out.centre_mm[0]; 2], [self.out.centre_mm[1]; 2]];
        for (total, centre) in near_peak {
            if *total > 0.95 * self.out.peak.kn {
                for (range, place) in span.iter_mut().zip(centre) {
                    *range = [range[0].min(*place), range[1].max(*place)];
                }
            }
        }
        self.out.centre_span_mm = span;
    }
}

/// Keeps the highest and the lowest sample of each span of steps.
struct Bins {
    each: usize,
    high: Option<(usize, Sample)>,
    low: Option<(usize, Sample)>,
    samples: Vec<Sample>,
}

impl Bins {
    fn new(steps: usize, spans: usize) -> Self {
        Self { each: steps.div_ceil(spans.max(1)).max(1), high: None, low: None, samples: Vec::new() }
    }

    fn take(&mut self, step: usize, sample: Sample, stations: &[f64]) {
        let with = |mut sample: Sample| {
            sample.stations_kn = stations.to_vec();
            (step, sample)
        };
        let higher = self.high.as_ref().is_none_or(|(_, best)| sample.total_kn > best.total_kn);
        let lower = self.low.as_ref().is_none_or(|(_, best)| sample.total_kn <= best.total_kn);
        match (higher, lower) {
            (true, true) => {
                self.low = Some(with(sample.clone()));
                self.high = Some(with(sample));
            }
            (true, false) => self.high = Some(with(sample)),
            (false, true) => self.low = Some(with(sample)),
            (false, false) => {}
        }
        if (step + 1).is_multiple_of(self.each) {
            self.flush();
        }
    }

    fn flush(&mut self) {
        let mut pair: Vec<(usize, Sample)> =
            [self.high.take(), self.low.take()].into_iter().flatten().collect();
        pair.sort_by_key(|(step, _)| *step);
        pair.dedup_by_key(|(step, _)| *step);
        self.samples.extend(pair.into_iter().map(|(_, sample)| sample));
    }

    fn finish(mut self) -> Vec<Sample> {
        self.flush();
        self.samples
    }
}
