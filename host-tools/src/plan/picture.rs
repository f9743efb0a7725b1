//! The pictures of a plan: what each station adds over slide height with the plate, and the load as the columns
//! feel it under the capacity curve.

use bolster_core::crank::CrankSlider;

use super::course::Sample;
use super::job::{Job, Station};
use super::{HitPlan, PressPlan};
use crate::figure::{Capacity, LoadUnit, Plan as PlanFigure, PlanStation};

/// Points of the capacity curve.
const CURVE_POINTS: usize = 240;

/// Height and allowed load, rising in height, to a little above the highest sample.
fn curve(plan: &PressPlan, samples: &[&Sample]) -> Vec<(f64, f64)> {
    let spec = &plan.press.spec;
    let highest = samples.iter().map(|s| s.height_mm).fold(3.0 * spec.rated_height_mm, f64::max);
    let highest = highest.min(spec.stroke_mm);
    // The card was checked when it was read.
    let Ok(crank) = CrankSlider::new(spec.stroke_mm, spec.rod_mm) else { return Vec::new() };
    (0..=CURVE_POINTS)
        .map(|i| highest * i as f64 / CURVE_POINTS as f64)
        .map(|h| (h, spec.rated_kn * crank.allowed_fraction(h, spec.rated_height_mm)))
        .collect()
}

fn subtitle(plan: &PressPlan, job: &Job, hit: &HitPlan) -> String {
    let which = if job.hits > 1 { format!(", hit {} of {}", hit.hit, job.hits) } else { String::new() };
    format!(
        "{} at {:.0} strokes a minute{which}; predicted loads are estimates",
        plan.press.name, plan.speed_spm
    )
}

fn closing(hit: &HitPlan) -> Vec<&Sample> {
    hit.course.samples.iter().filter(|s| s.angle_deg < 180.0).collect()
}

/// Heights finer than a micrometre only clutter labels.
fn micrometre(mm: f64) -> f64 {
    (mm * 1000.0).round() / 1000.0
}

/// The plate to draw: the gauges' distances, or where there is but one gauge a plate that holds the stations.
fn plate_mm(job: &Job, plan: &PressPlan) -> [f64; 2] {
    if plan.press.spec.columns.count() > 1 {
        return plan.press.spec.bolster_mm;
    }
    let reach = |place: fn(&Station) -> f64| {
        job.stations.iter().map(place).fold(50.0, |far: f64, mm| far.max(mm.abs()))
    };
    [2.4 * reach(|station| station.x_mm), 2.4 * reach(|station| station.y_mm)]
}

/// Stations over slide height, and the plate.
#[must_use]
pub fn stations(job: &Job, plan: &PressPlan, hit: &HitPlan, unit: LoadUnit) -> PlanFigure {
    let down = closing(hit);
    let list = job.stations.iter().enumerate().filter(|(_, s)| s.hit == hit.hit);
    let stations = list
        .map(|(index, station)| PlanStation {
            name: station.name.clone(),
            x_mm: station.x_mm,
            y_mm: station.y_mm,
            load_kn: down.iter().map(|s| s.stations_kn.get(index).copied().unwrap_or(0.0).max(0.0)).collect(),
        })
        .collect();
    let peak = hit.bands.peak_kn;
    let share = |edge: f64| if peak.nominal > 0.0 { edge / peak.nominal } else { 1.0 };
    let times = |factor: f64| down.iter().map(|s| s.die_kn.max(0.0) * factor).collect();
    PlanFigure {
        title: job.name.clone(),
        subtitle: subtitle(plan, job, hit),
        unit,
        height_mm: down.iter().map(|s| micrometre(s.height_mm)).collect(),
        stations,
        low_kn: times(share(peak.low)),
        high_kn: times(share(peak.high)),
        allowed: curve(plan, &down),
        columns: plan.press.spec.columns.count(),
        bolster_mm: plate_mm(job, plan),
        load_centre_mm: Some((hit.course.centre_mm[0], hit.course.centre_mm[1])),
    }
}

/// The load the columns feel, ringing included, under the capacity curve.
#[must_use]
pub fn capacity(job: &Job, plan: &PressPlan, hit: &HitPlan, unit: LoadUnit) -> Capacity {
    let down = closing(hit);
    Capacity {
        title: format!("{}: load under the capacity curve", job.name),
        subtitle: subtitle(plan, job, hit),
        unit,
        height_mm: down.iter().map(|s| micrometre(s.height_mm)).collect(),
        curve: "planned load".to_owned(),
        load_kn: down.iter().map(|s| s.total_kn).collect(),
        allowed: curve(plan, &down),
    }
}
