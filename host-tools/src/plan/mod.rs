//! Plans a job on presses before the first stroke: loads, margins, what to change.
//!
//! [`job::Job`] is read from a file, [`press::Candidate`]s from press cards; [`plan`] runs each hit of the job on
//! each press ([`course`]), gives every number a band ([`band`]), puts it against every limit ([`limits`]), looks
//! for changes that help ([`advice`]) and ranks the presses. Predicted loads are estimates.

pub mod advice;
pub mod band;
mod contact;
pub mod course;
pub mod draft;
mod field;
pub mod formula;
pub mod job;
pub mod json;
pub mod limits;
mod operation;
pub mod picture;
pub mod press;
pub mod quantity;
mod read;
pub mod release;
pub mod report;

pub use contact::Variation;
pub use read::JobError;

use band::Bands;
use course::Course;
use job::{Job, Operation, Station};
use limits::{Check, OffCentre, Standing};
use press::Candidate;

/// Limits that say whether a job fits a press, not how hard it works it.
const GEOMETRY: [&str; 3] = ["speed-out-of-range", "contact-above-stroke", "station-beyond-columns"];

/// One hit of a job on one press.
#[derive(Debug, Clone, PartialEq)]
pub struct HitPlan {
    /// Which hit, from 1.
    pub hit: u32,
    /// The stroke with nominal stock.
    pub course: Course,
    /// Its bands.
    pub bands: Bands,
    /// The greatest release at fracture, by the closed form.
    pub release: Option<release::Release>,
    /// Off-centre allowance.
    pub off_centre: Option<OffCentre>,
}

/// A job on one press.
#[derive(Debug, Clone, PartialEq)]
pub struct PressPlan {
    /// The press.
    pub press: Candidate,
    /// Strokes a minute planned.
    pub speed_spm: f64,
    /// Each hit.
    pub hits: Vec<HitPlan>,
    /// Every limit, hit by hit.
    pub checks: Vec<Check>,
    /// What would help.
    pub advice: Vec<advice::Advice>,
    /// Finished parts an hour, no stops.
    pub parts_per_hour: f64,
    /// Mean speed of the strip, m/min.
    pub strip_m_per_min: Option<f64>,
    /// The worst standing of a binding limit.
    pub standing: Standing,
}

impl PressPlan {
    /// The binding limit that is used most, if any number is known.
    #[must_use]
    pub fn tightest(&self) -> Option<&Check> {
        let used = |check: &&Check| (check.standing, check.used_percent.unwrap_or(0.0));
        self.checks
            .iter()
            .filter(|c| c.binding && !GEOMETRY.contains(&c.code))
            .chain(self.checks.iter().filter(|c| c.standing == Standing::Over))
            .max_by(|a, b| {
                let ((sa, ua), (sb, ub)) = (used(a), used(b));
                sa.cmp(&sb).then(ua.total_cmp(&ub))
            })
    }
}

/// The whole plan: presses best first.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The job.
    pub job: Job,
    /// The presses, best first.
    pub presses: Vec<PressPlan>,
}

/// Formula lines of every operation of a station.
#[must_use]
pub fn formulas(station: &Station) -> Vec<formula::FormulaLine> {
    station
        .operations
        .iter()
        .flat_map(|operation| match operation {
            Operation::Cut(cut) => formula::of_cut(cut, &station.stock),
            Operation::Bend(bend) => formula::of_bend(bend, &station.stock),
            Operation::Draw(draw) => formula::of_draw(draw, &station.stock),
            Operation::Coin(coin) => formula::of_coin(coin),
            Operation::Pad(_) => Vec::new(),
        })
        .collect()
}

/// Strokes a minute of a job on a press: the job's, else as fast as the card allows.
#[must_use]
pub fn speed_on(job: &Job, press: &Candidate) -> f64 {
    job.speed_spm.unwrap_or(press.spec.speed_spm[1])
}

/// Finished parts an hour without stops: 60 · strokes a minute · parts a stroke / hits.
#[must_use]
pub fn parts_per_hour(speed_spm: f64, parts_per_stroke: f64, hits: u32) -> f64 {
    60.0 * speed_spm * parts_per_stroke / f64::from(hits)
}

fn plan_hit(job: &Job, hit: u32, press: &Candidate, speed_spm: f64) -> HitPlan {
    let course = course::march(job, hit, press, speed_spm, &Variation::default());
    let bands = band::bands(job, hit, press, speed_spm, &course);
    let release = release::greatest(job, hit, press, speed_spm);
    let mut plan = HitPlan { hit, course, bands, release, off_centre: None };
    plan.off_centre = limits::off_centre(job, press, &plan);
    plan
}

/// Plans a job on one press at a speed, without advice.
#[must_use]
pub fn plan_at(job: &Job, press: &Candidate, speed_spm: f64) -> PressPlan {
    let hits: Vec<HitPlan> = (1..=job.hits).map(|hit| plan_hit(job, hit, press, speed_spm)).collect();
    let checks: Vec<Check> = hits.iter().flat_map(|hit| limits::checks(job, press, speed_spm, hit)).collect();
    let standing = checks.iter().filter(|c| c.binding).map(|c| c.standing).max().unwrap_or(Standing::Unknown);
    PressPlan {
        press: press.clone(),
        speed_spm,
        hits,
        checks,
        advice: Vec::new(),
        parts_per_hour: parts_per_hour(speed_spm, job.parts_per_stroke, job.hits),
        // Each hit advances the strip once.
        strip_m_per_min: job.advance_mm.map(|advance| advance * speed_spm / 1000.0),
        standing,
    }
}

/// Plans a job on one press.
#[must_use]
pub fn plan_on(job: &Job, press: &Candidate) -> PressPlan {
    let mut plan = plan_at(job, press, speed_on(job, press));
    plan.advice = advice::advice(job, &plan);
    plan
}

/// Plans a job on every press and ranks them: fewest limits broken, then fewest close, then the most room.
#[must_use]
pub fn plan(job: Job, presses: &[Candidate]) -> Plan {
    let mut plans: Vec<PressPlan> = presses.iter().map(|press| plan_on(&job, press)).collect();
    let count = |plan: &PressPlan, standing: Standing| {
        plan.checks.iter().filter(|c| c.binding && c.standing == standing).count()
    };
    plans.sort_by(|a, b| {
        let used = |plan: &PressPlan| plan.tightest().and_then(|c| c.used_percent).unwrap_or(0.0);
        count(a, Standing::Over)
            .cmp(&count(b, Standing::Over))
            .then(count(a, Standing::Close).cmp(&count(b, Standing::Close)))
            .then(used(a).total_cmp(&used(b)))
    });
    Plan { job, presses: plans }
}
